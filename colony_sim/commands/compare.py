"""``colony-sim compare``."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from colony_sim.commands.show import console, progress_bar, show_comparison
from colony_sim.experiment.compare import RunsFailed, compare_plan
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.experiment.runner import Interrupted, check_workers


def command_line() -> str:
    """The command as typed."""
    return shlex.join(["colony-sim", *sys.argv[1:]])


def run_compare(
    file: Path,
    *,
    quick: bool,
    workers: int | None,
    out: Path | None,
    fresh: bool,
    replicates: int | None,
    seed: int | None,
) -> int:
    """Compare the policies of an experiment file; returns the exit code."""
    workers = check_workers(workers)
    plan = expand(load(file), quick=quick, replicates=replicates, seed=seed)
    folder = out if out is not None else Path("results") / plan.name
    try:
        with progress_bar(plan.name) as on_progress:
            result = compare_plan(
                plan,
                folder,
                workers=workers,
                fresh=fresh,
                on_progress=on_progress,
                draw=draw,
                command=command_line(),
            )
    except Interrupted as stopped:
        again = "the same command without --fresh" if fresh else "the same command"
        print(
            f"colony-sim: Stopped. {stopped.done} of {stopped.total} runs are finished and kept "
            f"in {folder / 'runs'}; {again} goes on from there.",
            file=sys.stderr,
        )
        return 130
    except RunsFailed as error:
        print(f"colony-sim: {error}", file=sys.stderr)
        return 1
    to = console()
    show_comparison(result, to)
    to.print(f"Results: {folder}", highlight=False, markup=False, soft_wrap=True)
    return 0


def draw(folder: Path) -> None:
    """Draw the figures of a results folder."""
    try:
        from colony_sim.figures import comparison
    except ImportError:
        return

    comparison.draw(folder)
