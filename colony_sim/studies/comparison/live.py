"""Lives the runs of a comparison: as planned, stage by stage over worlds, or to a precision."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.atomic import remove, write_text
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.measuring.series import WholeSeries
from colony_sim.running.executor import PointRun, run_all_points
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import OutcomeStore
from colony_sim.running.whole import Whole
from colony_sim.statistics.over_worlds import WorldsVerdict
from colony_sim.studies import precision
from colony_sim.studies.comparison.over_worlds import verdicts_on_yield
from colony_sim.studies.comparison.stages import WorldsRule, expected_runs, next_stage
from colony_sim.studies.comparison.stored import measured, place, planned

ERRORS = "failed_runs.txt"
"""File with the whole errors of runs that failed."""


class RunsFailed(Exception):
    """Some runs raised; the runs that finished are stored, the tables were not touched.

    Attributes
    ----------
    failures : tuple of (str, int, str)
        Policy, seed and traceback of each, in the order of the plan.
    total : int
        Runs of the plan.
    """

    def __init__(
        self, failures: Sequence[tuple[str, int, str]], total: int, file: Path | None
    ) -> None:
        self.failures, self.total = tuple(failures), total
        policy, seed, error = failures[0]
        more = "" if file is None else f" (whole error in {file})"
        super().__init__(
            f"{len(failures)} of {total} runs failed; the first: policy {policy}, "
            f"seed {seed}: {error.strip().splitlines()[-1]}{more}"
        )


def run_series(
    plan: Plan,
    folder: Path,
    store: OutcomeStore,
    executor: Executor,
    fresh: bool = False,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> None:
    """Run a plan and store the daily series of its runs.

    Raises
    ------
    RunsFailed
        If runs raised; the others are run and stored first. Their whole errors are in the folder.
    """
    runs = {
        run.key: PointRun(1, run.policy, run.replicate, run.key, run.scenario)
        for run in planned(plan)
    }
    ended = run_all_points(
        runs.values(), len(runs), store, executor, WholeSeries(), on_progress,
        fresh=fresh, retry=False,
    )  # fmt: skip
    failed = {(run.policy, run.seed): run.error for run in ended if run.error is not None}
    places = [(run.policy, run.scenario.seed) for run in runs.values()]
    failures = [(*place, failed[place]) for place in places if place in failed]
    file = folder / ERRORS
    if failures:
        texts = [f"Policy {policy}, seed {seed}\n{error}" for policy, seed, error in failures]
        write_text(file, "\n".join(texts))
        raise RunsFailed(failures, len(runs), file)
    remove(file)


@dataclass(frozen=True)
class Stage:
    """What is known after a stage of a comparison over worlds.

    Attributes
    ----------
    worlds : int
        Worlds lived in.
    verdicts : tuple of WorldsVerdict
        In g/day, on every pair of policies (see `over_worlds.all_pairs`).
    first, last : bool
        Whether no stage came before, or none follows.
    """

    worlds: int
    verdicts: tuple[WorldsVerdict, ...]
    first: bool
    last: bool


def run_stages(
    plan: Plan,
    rule: WorldsRule,
    store: OutcomeStore,
    run: Callable[..., None],
    on_progress: Callable[[Progress], None],
    on_stage: Callable[[Stage], None],
) -> tuple[Plan, bool]:
    """Live in worlds by the rule; the plan with those that were lived, and whether Ctrl-C ended it.

    Raises
    ------
    Interrupted
        On Ctrl-C in the first stage.
    """
    names = [policy.name for policy in plan.policies]
    rows: list[dict[str, Any]] = []
    worlds: list[int] = []
    verdicts: list[WorldsVerdict] = []
    coming = next_stage(rule, (), ())
    whole, stopped = Whole(on_progress), False
    try:
        while coming:
            lived = len(worlds)
            seeds = replicate_seeds(plan.seed, lived + len(coming))
            added = replace(plan, seeds=seeds[lived:], first=lived + 1, worlds=tuple(coming))
            whole.total = len(names) * expected_runs(rule, _counts(worlds), verdicts)
            run(added, on_progress=whole.report)
            whole.next()
            new = [place(added, each) | measured(each, store)[1] for each in planned(added)]
            verdicts = verdicts_on_yield(pd.DataFrame([*rows, *new]), names, rule.zone)
            rows, worlds = [*rows, *new], [*worlds, *coming]
            coming = next_stage(rule, _counts(worlds), verdicts)
            on_stage(Stage(max(worlds), tuple(verdicts), not lived, not coming))
    except KeyboardInterrupt:
        if not worlds:
            raise
        stopped = True
    seeds = replicate_seeds(plan.seed, len(worlds))
    assert plan.profile is not None
    # What was lived is all that the manifest and a repetition need.
    profile = plan.profile.first(max(worlds))
    return replace(plan, seeds=seeds, worlds=tuple(worlds), profile=profile), stopped


def _counts(worlds: Sequence[int]) -> list[int]:
    """How often each world was lived, from the first."""
    return [worlds.count(world) for world in range(1, max(worlds, default=0) + 1)]


def run_until(
    plan: Plan, rule: precision.StoppingRule, store: OutcomeStore, run: Callable[[Plan], None]
) -> tuple[Plan, pd.DataFrame]:
    """Add replicates by the rule; the plan with those that were run, and what was reached."""
    names = [policy.name for policy in plan.policies]
    seeds = replicate_seeds(plan.seed, rule.most)
    rows: list[dict[str, Any]] = []
    done, goal = 0, rule.least
    while True:
        added = replace(plan, seeds=seeds[done:goal], first=done + 1)
        run(added)
        for each in planned(added):
            _, outcome = measured(each, store)
            place = {"point": 1, "policy": each.policy, "seed": each.scenario.seed}
            rows.append({**place, **outcome})
        table = precision.reached(pd.DataFrame(rows), names, plan.baseline, rule)
        done, goal = goal, precision.next_replicates(table, rule)
        if goal == done:
            return replace(plan, seeds=seeds[:done]), table
