"""The published experiments, lived by the model, as a kind of study."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from itertools import count
from pathlib import Path

import pandas as pd

from colony_sim.biology.parameters import Parameters, Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.evidence import keepers, words
from colony_sim.evidence.registry import replications
from colony_sim.evidence.run import run
from colony_sim.evidence.teeth import moves, shipped, teeth
from colony_sim.results import findings, manifest
from colony_sim.results.findings import Finding
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.runner import Progress, check_workers
from colony_sim.studies.study import Said, Study, StudyResult

NAME = "evidence"


def run_evidence(
    folder: Path,
    *,
    values: dict[str, Value] | None = None,
    seed: int = 1,
    workers: int | None = None,
    bite: bool = False,
    keys: Sequence[str] | None = None,
    figures: bool = True,
    command: str = "",
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> StudyResult:
    """Live every replication, judge the published numbers and write the results folder.

    Parameters
    ----------
    folder : Path
        Results folder; made if it is not there.
    values : dict, optional
        Values of the biology in place of the defaults.
    seed : int
    workers : int, optional
        Worker processes; default: one per core.
    bite : bool
        Also move each value alone, to see which numbers tell.
    keys : sequence of str, optional
        With `bite`: these values only.
    figures : bool
        Draw the figure as well.
    command : str
        Command line, for the manifest.
    on_progress : callable
        Told how far the replications are.

    Raises
    ------
    InputError
        If a value is not allowed or the folder cannot be used.
    """
    workers, values = check_workers(workers), values or {}
    p = Parameters.default().with_values(values, "values")
    if keys is not None and not bite:
        raise InputError(ARGUMENT, "keys", ",".join(keys), "only with `teeth`")
    wanted = moves(p, keys) if bite else []

    began: dict[int, float] = {}

    def tell(lived: int, of: int) -> None:
        """Of the replications, then of the values moved alone; either begins with 0."""
        now = time.monotonic()
        each = (now - began.setdefault(of, now)) / lived if lived else None
        on_progress(Progress(lived, of, 0, 0, None if each is None else each * (of - lived)))

    with claim(folder, NAME, STUDY.files):
        lived_so_far = count(1)
        tell(0, len(replications()))
        table = run(
            p,
            seed,
            workers=workers,
            done=lambda name: tell(next(lived_so_far), len(replications())),
        )
        lived = keepers.grid(p, seed)
        tables = {"evidence": table, "keepers": keepers.table(lived, p), "keepers_grid": lived}
        if wanted:
            tell(0, len(wanted))
            tables["informed"] = teeth(p, seed, keys=keys, workers=workers, done=tell)
        said = say(tables, defaults=not values)
        with replace_tables(folder) as staged:
            for name, frame in tables.items():
                write_table(staged, name, frame)
            told = [Finding("answer", f"{said.headline}."), Finding("detail", said.text)]
            findings.write_text(staged, told[1:])
            if figures:
                _draw(table, staged)
            data = manifest.build_evidence(NAME, p, values, seed, command)
            manifest.write(
                staged, {**data, "design": design(table), "findings": findings.as_data(told)}
            )
    return StudyResult(
        STUDY.kind, NAME, folder, said.headline, said.text, tables, table, said.plain
    )


def say(tables: dict[str, pd.DataFrame], plan: object = None, *, defaults: bool = True) -> Said:
    """How many numbers come out, and a line for each."""
    table = tables["evidence"]
    text = [words.headline(table), *words.lines(table)]
    text += ["", *words.keeper_lines(tables["keepers"])]
    if "informed" in tables:
        text += ["", "Values moved alone", *words.teeth_lines(tables["informed"])]
    elif defaults:
        # The table of the package is that of the defaults.
        text += ["", words.uninformed_line(shipped())]
    screen = tuple(words.plain(table, tables["keepers"]))
    return Said(words.headline(table).rstrip("."), "\n".join(text), screen)


def design(table: pd.DataFrame) -> str:
    """What was lived and how it was judged."""
    return (
        f"{len(replications())} published experiments were simulated as their papers describe "
        f"them, and {len(table)} published numbers set beside the model's; where a paper leaves a "
        "condition open, it was drawn, and the model's median is given with its 5 to 95 % range."
    )


def _draw(table: pd.DataFrame, folder: Path) -> None:
    from colony_sim.evidence.draw import draw
    from colony_sim.figures import style

    with style.theme():
        style.save(draw(table), folder, NAME)


STUDY = Study(
    kind="evidence",
    tables=("evidence", "keepers", "keepers_grid", "informed"),
    figures=(NAME,),
    run=run_evidence,
    findings=lambda folder, data: pd.read_parquet(folder / "evidence.parquet"),
    say=say,
    slides=None,
)
