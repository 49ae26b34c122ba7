"""``colony-sim compare``."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

from colony_sim.commands.ending import Ending
from colony_sim.commands.profile import profile_of
from colony_sim.commands.show import Bars, console, show_comparison, show_tables
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand, whole
from colony_sim.experiment.worlds import SHIPPED, read_worlds
from colony_sim.results.folder import folder_of
from colony_sim.running.runner import Interrupted, WorkerDied, check_workers
from colony_sim.studies.comparison.run import RunsFailed, compare_plan
from colony_sim.studies.comparison.study import STUDY
from colony_sim.studies.precision import make_rule


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
    assumptions: bool = True,
    until: Sequence[str] = (),
    least: int | None = None,
    most: int | None = None,
    profile: Path | None = None,
    worlds: int | None = None,
    full: bool = False,
) -> None:
    """Compare the policies of an experiment file."""
    workers = check_workers(workers)
    rule = make_rule(until, least, most, replicates)
    draws = profile_of(profile)
    if worlds is not None:
        draws = (draws or read_worlds(SHIPPED)).first(worlds)
        replicates = worlds * whole("replicates", replicates, 1, 1000, 1)
    plan = expand(load(file), quick=quick, replicates=replicates, seed=seed, profile=draws)
    folder = folder_of(plan.name, out)
    bars = Bars()
    try:
        with bars:
            result = compare_plan(
                plan,
                folder,
                workers=workers,
                fresh=fresh,
                on_progress=bars.of(plan.name),
                draw=STUDY.draw,
                command=command_line(),
                until=rule,
                assumptions=assumptions and not quick,
                without="--quick" if quick else "--no-assumptions",
                on_assumptions=bars.of("assumptions"),
            )
    except KeyboardInterrupt as stopped:
        done = stopped.done if isinstance(stopped, Interrupted) else "All"
        total = stopped.total if isinstance(stopped, Interrupted) else len(list(plan.runs()))
        again = "the same command without --fresh" if fresh else "the same command"
        raise Ending(
            f"Stopped. {done} of {total} runs are finished and kept in {folder}; "
            f"{again} goes on from there.",
            130,
        ) from None
    except WorkerDied as error:
        raise Ending(
            f"{error} and are kept in {folder}; the same command with fewer --workers "
            "goes on from there.",
            1,
        ) from None
    except RunsFailed as error:
        raise Ending(str(error), 1) from None
    to = console()
    show_comparison(result, to)
    if full:
        show_tables(result, to)
    else:
        to.print("Every measure: --full, or policies.csv and differences.csv of the results.")
    to.print(f"Results: {folder}", highlight=False, markup=False, soft_wrap=True)
