"""Run handling candidates through start-up and steady running, over the same seeds.

A forecast is what a candidate came to over its runs: arrays with one row a run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Value
from colony_sim.colony.simulate import RunRecord, Scenario
from colony_sim.experiment.plan import Plan
from colony_sim.planning.buying import Buys, buyer
from colony_sim.planning.measuring import PlanMeasuring
from colony_sim.planning.wants import STRETCH_DAYS, Have, Want, stretches
from colony_sim.running.executor import PointRun, point_plan, run_all_points, runs_of
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import OutcomeStore
from colony_sim.running.whole import Whole
from colony_sim.studies.points import PointsFailed

Seeds = Sequence[tuple[int, int]]
"""Numbers of replicates with their seeds."""


@dataclass(frozen=True)
class Case:
    """Handling to try: values of keys (``start.breeders`` included) in a room.

    Attributes
    ----------
    values : dict
    climate : Climate
    buys : tuple of (int, int)
        Days of the run on which beetles are bought, and how many.
    """

    values: Mapping[str, Value]
    climate: Climate
    buys: Buys = ()


@dataclass(frozen=True)
class Forecast:
    """What a case came to.

    Attributes
    ----------
    case : Case
    seeds : tuple of int
        Of the runs, in order.
    outcomes : tuple of dict
        One a run (see ``PlanMeasuring.of_record``).
    """

    case: Case
    seeds: tuple[int, ...]
    outcomes: tuple[Mapping[str, Any], ...]

    @property
    def runs(self) -> int:
        """Number of runs."""
        return len(self.outcomes)

    @cached_property
    def harvest(self) -> np.ndarray:
        """Live larvae harvested (g), shape (runs, days)."""
        return np.array([o["harvest"] for o in self.outcomes], dtype=float)

    @property
    def days(self) -> int:
        """Days of a run."""
        return self.harvest.shape[1]

    def weeks(self, name: str) -> np.ndarray:
        """A weekly series, shape (runs, weeks)."""
        return np.array([o["weeks"][name] for o in self.outcomes], dtype=float)

    def months(self, name: str) -> np.ndarray:
        """A monthly series, shape (runs, months)."""
        return np.array([o["months"][name] for o in self.outcomes], dtype=float)

    def stretch_yields(self, after_days: int) -> np.ndarray:
        """Harvest (g a day) of each stretch after a day, shape (runs, stretches)."""
        count = stretches(after_days, self.days)
        part = self.harvest[:, after_days : after_days + count * STRETCH_DAYS]
        return part.reshape(self.runs, count, STRETCH_DAYS).mean(axis=2)

    def sure(self, after_days: int) -> np.ndarray:
        """Harvest (g a day) of the poorest stretch of each run, shape (runs,).

        A run meets a want exactly where this reaches it.
        """
        return self.stretch_yields(after_days).min(axis=1)

    def mean_yield(self, after_days: int) -> np.ndarray:
        """Mean harvest (g a day) over the stretches of each run, shape (runs,)."""
        return self.stretch_yields(after_days).mean(axis=1)

    def missing(self, want: Want) -> np.ndarray:
        """What is short of the want (g a day), mean over the stretches of each run, (runs,)."""
        lack = want.grams_per_day - self.stretch_yields(want.after_days)
        return np.maximum(lack, 0.0).mean(axis=1)

    def minutes(self, after_days: int) -> np.ndarray:
        """Mean work (min a week) of each run over whole weeks after a day, shape (runs,)."""
        first, last = -(-after_days // 7), self.days // 7
        return self.weeks("minutes")[:, first:last].mean(axis=1)

    def met(self, want: Want, have: Have) -> np.ndarray:
        """Whether each run meets the want within the minutes (bool, shape (runs,))."""
        return (self.sure(want.after_days) >= want.grams_per_day) & self.in_time(want, have)

    def in_time(self, want: Want, have: Have) -> np.ndarray:
        """Whether each run stays within the minutes a week (bool, shape (runs,))."""
        if have.minutes_per_week is None:
            return np.ones(self.runs, bool)
        return self.minutes(want.after_days) <= have.minutes_per_week


def cost_of(days: int, whole: int) -> float:
    """About what a run of so many days costs, where one of `whole` days costs 1.

    A colony grows for a year or so, so that later days cost more than the first.
    """
    return float((days / whole) ** 1.2)


class Forecaster:
    """Runs cases; finished runs are kept in the folder's store and never run again.

    Parameters
    ----------
    plan : Plan
        With one policy, on which the values of a case are laid.
    measuring : PlanMeasuring
        How a run is lived and measured.
    store, executor
        Open, see ``executor.run_points``.
    on_progress : callable
        Told how far all runs are that are expected.
    """

    def __init__(
        self,
        plan: Plan,
        measuring: PlanMeasuring,
        store: OutcomeStore,
        executor: Executor,
        on_progress: Callable[[Progress], None] = lambda progress: None,
    ) -> None:
        self._plan, self._store, self._executor = plan, store, executor
        self._measuring = measuring
        self.whole = Whole(on_progress)

    @property
    def days(self) -> int:
        """Days of a whole run."""
        return self._plan.days

    def run(self, cases: Sequence[Case], seeds: Seeds, days: int | None = None) -> list[Forecast]:
        """Forecasts in the order of the cases; all over the same seeds.

        Parameters
        ----------
        cases : sequence of Case
        seeds : sequence of (int, int)
        days : int, optional
            Of a run; default: all of the plan.

        Raises
        ------
        InputError
            If a value is not allowed.
        points.PointsFailed
            If a run raised; the others are kept.
        """
        plans = [self._laid(case, days) for case in cases]

        def runs() -> Iterator[PointRun]:
            for number, plan in enumerate(plans):
                for pair in seeds:
                    yield from runs_of(plan, number, [pair], self._measuring)

        self.whole.cost = cost_of(plans[0].days, self.days) if plans else 1.0
        total = len(cases) * len(seeds)
        place = {seed: i for i, (_, seed) in enumerate(seeds)}
        found: list[list[Any]] = [[None] * len(seeds) for _ in cases]
        failed: list[tuple[int, int, str, int, str]] = []
        for ended in run_all_points(
            runs(), total, self._store, self._executor, self._measuring, self.whole.report
        ):
            if ended.error is not None:
                failed.append((ended.point, ended.replicate, ended.policy, ended.seed, ended.error))
            found[ended.point][place[ended.seed]] = ended.outcome
        self.whole.next()
        if failed:
            _, _, policy, own_seed, error = min(failed)
            raise PointsFailed(len(failed), total, policy, own_seed, error)
        only = tuple(seed for _, seed in seeds)
        return [
            Forecast(case, only, tuple(outcomes))
            for case, outcomes in zip(cases, found, strict=True)
        ]

    def scenario(self, case: Case, replicate: int, seed: int) -> Scenario:
        """The scenario of one run of a case."""
        plan = self._laid(case)
        return plan.scenario(plan.policies[0], replicate, seed)

    def record(self, case: Case, replicate: int, seed: int) -> RunRecord:
        """One run of a case, lived again in this process."""
        return self._measuring.live(self.scenario(case, replicate, seed))

    def _laid(self, case: Case, days: int | None = None) -> Plan:
        plan = replace(
            self._plan, climate=case.climate, days=days or self._plan.days,
            keeper=buyer(case.buys),
        )  # fmt: skip
        return point_plan(plan, case.values, "plan")
