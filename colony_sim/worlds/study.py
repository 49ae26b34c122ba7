"""The worlds as a kind of study: those of the package shown, or all made again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd

from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.worlds import SHIPPED, read_worlds, write_worlds
from colony_sim.results import findings, manifest
from colony_sim.results.findings import Finding
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.runner import Progress, check_workers
from colony_sim.studies.study import Said, Study, StudyResult
from colony_sim.worlds import words
from colony_sim.worlds.remake import Remade, Sizes, remake
from colony_sim.worlds.shipped import TABLES, shipped

NAME = "worlds"
#: Figure and table of how often verdicts come true.
RELIABILITY = "reliability"


def run_worlds(
    folder: Path,
    *,
    anew: bool = False,
    seed: int = 1,
    sizes: Sizes | None = None,
    workers: int | None = None,
    figures: bool = True,
    command: str = "",
    tell: Callable[[str, Progress], None] = lambda stage, progress: None,
) -> StudyResult:
    """Write the worlds, their tables and the figures to a results folder.

    Parameters
    ----------
    folder : Path
        Made if it is not there. What is lived for a remake is kept in it, so that one which was
        stopped goes on.
    anew : bool
        Make them again; else those of the package.
    seed, sizes
        Of a remake, see `remake.remake`.
    workers : int, optional
        Worker processes; default: one per core.
    figures : bool
        Draw the figure as well.
    command : str
        Command line, for the manifest.
    tell : callable
        Told the stage and how far it is.

    Raises
    ------
    InputError
        If an argument is not allowed or the folder cannot be used.
    """
    workers = check_workers(workers)
    files = STUDY.files | {f"{SHIPPED}.csv"}
    with claim(folder, NAME, files):
        made = remake(seed, folder, sizes, workers=workers, tell=tell) if anew else shipped()
        said = say(made)
        with replace_tables(folder) as staged:
            for name, frame in made.tables.items():
                write_table(staged, name, frame)
            write_worlds(staged / f"{SHIPPED}.csv", made.worlds)
            told = [Finding("answer", f"{said.headline}."), Finding("detail", said.text)]
            findings.write_text(staged, told[1:])
            if figures:
                _draw(made, staged)
            data = manifest.build_evidence(
                NAME, Parameters.default(), {}, int(str(made.worlds.facts["seed"])), command
            )
            manifest.write(
                staged, {**data, "design": design(made), "findings": findings.as_data(told)}
            )
    return StudyResult(NAME, NAME, folder, said.headline, said.text, made.tables, made)


def say(found: Remade, plan: object = None) -> Said:
    """The answer, and one screen."""
    return Said(words.headline(found).rstrip("."), "\n".join(words.lines(found)))


def design(found: Remade) -> str:
    """How worlds were drawn."""
    facts = found.worlds.facts
    reliable = ""
    if RELIABILITY in found.tables:
        reliable = (
            " Verdicts given after literatures made up from lived draws were counted by their "
            "probability (reliability diagram, Brier score, Spiegelhalter's test, Cox's slope)."
        )
    return (
        f"Joint draws of all uncertain values and structures of the biology were conditioned on "
        f"the published numbers used: {facts['rows']} draws from the plausible ranges and "
        f"{facts['wave']} from where surfaces fitted to them did not rule them out were lived "
        "through the replicated experiments, each with a strain of its own and circumstances "
        "drawn from what its paper leaves open; worlds were drawn by tempered sequential Monte "
        "Carlo from polynomial surfaces of the results. Published numbers were compared with "
        f"what the worlds predict for a new study.{reliable}"
    )


def _read(folder: Path) -> Remade:
    tables = {
        name: pd.read_parquet(path)
        for name in TABLES
        if (path := folder / f"{name}.parquet").is_file()
    }
    return Remade(read_worlds(folder / f"{SHIPPED}.csv"), tables)


def _draw(made: Remade, folder: Path) -> None:
    from colony_sim.figures import style
    from colony_sim.worlds import diagram
    from colony_sim.worlds.draw import draw

    with style.theme():
        style.save(draw(made.tables["numbers"], words.headline(made)), folder, NAME)
        if RELIABILITY in made.tables:
            title = words.reliable(made.tables)
            style.save(diagram.draw(made.tables[RELIABILITY], title), folder, RELIABILITY)


STUDY = Study(
    kind=NAME,
    tables=TABLES,
    figures=(NAME, RELIABILITY),
    run=run_worlds,
    findings=lambda folder, data: _read(folder),
    say=say,
    slides=None,
)
