"""Run a plan, measure every run, compare the policies and write the results folder."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from functools import partial
from pathlib import Path

import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.experiment.units import using
from colony_sim.measuring.outcome import IN_WORDS
from colony_sim.results import findings, manifest
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.executor import open_executor
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress, check_workers
from colony_sim.running.store import open_store
from colony_sim.studies import precision
from colony_sim.studies.comparison.assumptions import (
    compared,
    find_assumptions,
)
from colony_sim.studies.comparison.found import Comparison
from colony_sim.studies.comparison.live import Stage, run_series, run_stages, run_until
from colony_sim.studies.comparison.stages import WorldsRule
from colony_sim.studies.comparison.stored import planned
from colony_sim.studies.comparison.write import (
    FILES,
    write_answer,
    write_assumptions,
    write_tables,
)
from colony_sim.studies.points import PointRunner

DESIGN = (
    f"{IN_WORDS} "
    "Estimands: mean of each measure over all runs for which it has a meaning, and mean difference "
    "between policies paired by seed, each with its 95 % t interval; p values are adjusted by Holm."
)
OVER_WORLDS = (
    " Every pair of runs lived in a world: a joint draw of all uncertain values, the same for "
    "every policy, with the same seed. Probabilities are shares of worlds by expected gain, chance "
    "within a world taken off by the split of variance of worlds that were lived more than once "
    "(Thomas & Hultquist 1978; Louis 1984). Means and intervals take one run a world."
)


def compare_plan(
    plan: Plan,
    folder: Path,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    fresh: bool = False,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    draw: Callable[[Path], object] | None = None,
    command: str = "",
    until: precision.StoppingRule | None = None,
    rule: WorldsRule | None = None,
    on_stage: Callable[[Stage], None] = lambda stage: None,
    handling: pd.DataFrame | None = None,
    assumptions: bool = False,
    without: str = "not asked for",
    on_assumptions: Callable[[Progress], None] = lambda progress: None,
) -> Comparison:
    """Run every policy with every seed and write the results folder.

    With a keeper's profile, the two policies compared are run with the default biology as well.

    Parameters
    ----------
    plan : Plan
        What to run.
    folder : Path
        Results folder; made if it is not there.
    workers : int, optional
        Worker processes; default: one per core.
    executor : Executor, optional
        An open one in their place; it stays open.
    fresh : bool
        Run again what is finished already.
    on_progress : callable
        Told how far the runs are.
    draw : callable, optional
        Draws the figures of a folder of tables into that folder.
    command : str
        Command line, for the manifest.
    until : precision.StoppingRule, optional
        Add replicates until paired intervals are as narrow as asked; their number is then that
        of the rule, not that of the plan.
    rule : WorldsRule, optional
        How many of the plan's worlds to live in, stage by stage; for a plan with a profile. Ctrl-C
        then ends the runs, not the comparison: it has the whole stages before, if there is one.
    on_stage : callable
        Told what is known after each stage.
    handling : pandas.DataFrame, optional
        What a search at equal means changed in the policies, written as a table.
    assumptions : bool
        Look for the assumptions that the verdict leans on most; takes some minutes.
    without : str
        Why not, said in the verdict otherwise.
    on_assumptions : callable
        Told how far the runs for that are.

    Raises
    ------
    InputError
        If the folder cannot be used.
    RunsFailed
        If a run raised.
    runner.Interrupted
        On Ctrl-C.
    runner.WorkerDied
        If a worker process was killed.
    """
    workers = check_workers(workers)
    with (
        using(plan.house),
        claim(folder, plan.name, FILES),
        open_store(folder) as store,
        nullcontext(executor) if executor else open_executor(workers) as lived_by,
    ):
        run = partial(
            run_series, folder=folder, store=store, executor=lived_by, fresh=fresh,
            on_progress=on_progress,
        )  # fmt: skip
        reached, stopped = None, False
        if rule is not None:
            plan, stopped = run_stages(plan, rule, store, run, on_progress, on_stage)
        elif until is not None:
            plan, reached = run_until(plan, until, store, run)
        else:
            run(plan)
        runs = list(planned(plan))
        with replace_tables(folder) as staged:
            comparison = write_tables(plan, runs, store, staged)
            lean = None
            pair = compared(plan, comparison["policies"])
            zone = rule.zone if rule else 0.0
            later = None if stopped else run
            comparison |= write_answer(
                plan, pair, comparison["runs"], zone, store, later, staged, handling is not None
            )
            if assumptions:
                without = "there are not two policies to compare"
                if pair is not None:
                    points = PointRunner(store, lived_by)
                    lean = find_assumptions(plan, pair, points, on_progress=on_assumptions)
            without = "" if lean else without
            comparison |= write_assumptions(lean, without, staged)
            if handling is not None:
                write_table(staged, "handling", handling)
            if until is not None and reached is not None:
                write_table(staged, "precision", reached.drop(columns="point"))
                comparison["precision"] = tuple(precision.in_words(reached, until))
            found = Comparison(folder=folder, stopped=stopped, **comparison)
            findings.write_text(staged, found.findings, plan.question)
            data = manifest.build(plan, runs, command) | {
                "design": DESIGN + (OVER_WORLDS if found.found else ""),
                "findings": findings.as_data(found.findings),
                "assumptions": {"looked_for": not without, "why_not": without},
                "precision": until.as_dict() if until else None,
                "over_worlds": rule and {**rule.as_dict(), "stopped": stopped},
            }
            # The figure is drawn from the tables and the manifest, as it would be later.
            manifest.write(staged, data)
            if draw is not None:
                draw(staged)
                manifest.write(staged, data)
    return found
