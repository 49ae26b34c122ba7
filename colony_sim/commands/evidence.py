"""``colony-sim evidence``: do published experiments come out when the model lives them?"""

from __future__ import annotations

from pathlib import Path

from colony_sim.biology.parameters import Parameters, Value, find
from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import Ending
from colony_sim.commands.show import console, progress_bar
from colony_sim.errors import InputError
from colony_sim.evidence import keepers, words
from colony_sim.evidence.registry import replications
from colony_sim.evidence.run import run
from colony_sim.evidence.teeth import moves, shipped, teeth
from colony_sim.experiment.design import parse_vary
from colony_sim.experiment.files import LARGEST_SEED
from colony_sim.experiment.plan import whole
from colony_sim.results import manifest
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.runner import MOST_WORKERS, Progress, default_workers

_NAME = "evidence"


def changed(specs: list[str]) -> dict[str, Value]:
    """Values of ``--set``; InputError for what is no single allowed value of the biology."""
    found: dict[str, Value] = {}
    for spec in specs:
        key = spec.partition("=")[0].strip()
        if key:
            find(key, "--set", "biology")
        values = parse_vary(spec, "--set").values
        if len(values) != 1:
            raise InputError("--set", "KEY=VALUE", spec, "one value")
        if key in found:
            raise InputError("--set", key, "given twice", "every key once")
        found[key] = values[0]
    return found


def run_evidence(
    *,
    values: list[str],
    seed: int | None,
    workers: int | None,
    out: Path | None,
    bite: bool = False,
    keys: list[str] | None = None,
) -> None:
    """Live every replication, print a line a number, and write the table and its figure."""
    p = Parameters.default().with_values(changed(values), "--set")
    seed = whole("--seed", seed, 0, LARGEST_SEED, 1)
    workers = whole("--workers", workers, 1, MOST_WORKERS, default_workers())
    if keys is not None and not bite:
        raise InputError("command line", "--keys", ",".join(keys), "only with --teeth")
    wanted = moves(p, keys) if bite else []
    folder = out if out is not None else Path("results") / _NAME
    try:
        with claim(folder, _NAME), progress_bar(_NAME) as on_progress:
            table = run(p, seed, workers=workers, done=_counter(on_progress, len(replications())))
            lived = keepers.grid(p, seed)
            tables = {"evidence": table, "keepers": keepers.table(lived, p), "keepers_grid": lived}
            if wanted:
                tables["informed"] = teeth(
                    p, seed, keys=keys, workers=workers, done=_shown(on_progress)
                )
            text = [words.headline(table), *words.lines(table)]
            text += ["", *words.keeper_lines(tables["keepers"])]
            if wanted:
                text += ["", "Values moved alone", *words.teeth_lines(tables["informed"])]
            elif not values:
                # The table of the package is that of the defaults.
                text += ["", words.uninformed_line(shipped())]
            _write(folder, tables, "\n".join(text), p, seed, changed(values))
    except KeyboardInterrupt:
        raise Ending("Stopped; nothing was written.", 130) from None
    to = console()
    for line in text:
        to.print(line, highlight=False, markup=False, soft_wrap=True)
    to.print(f"Results: {folder}", highlight=False, markup=False, soft_wrap=True)


def _counter(on_progress, total: int):
    lived: list[str] = []

    def done(name: str) -> None:
        lived.append(name)
        on_progress(Progress(len(lived), total, 0, 0, None))

    return done


def _shown(on_progress):
    return lambda lived, of: on_progress(Progress(lived, of, 0, 0, None))


def _write(folder: Path, tables, text: str, p: Parameters, seed: int, values) -> None:
    from colony_sim.evidence import draw as figure
    from colony_sim.figures import style

    with replace_tables(folder) as staged:
        for name, table in tables.items():
            write_table(staged, name, table)
        (staged / "verdict.txt").write_text(text + "\n", encoding="utf-8", newline="\n")
        with style.theme():
            style.save(figure.draw(tables["evidence"]), staged, _NAME)
        data = manifest.build_evidence(_NAME, p, values, seed, command_line())
        manifest.write(staged, manifest.listing(data, staged))
