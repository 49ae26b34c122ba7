"""Paired runs of a plan's policies at points of parameter space, measured over a fixed window.

A point is a dict of parameter keys, biology or handling, laid over every policy of the plan;
the keys ``start.breeders`` and ``start.larvae`` change the founders. Every point is run with the
same seeds (common random numbers), so that differences between policies, and changes of such a
difference from point to point, are measured on pairs.

Runs are short and many, and steady-state detection would drop some of them at some points only.
So the window is fixed: the last days of the run, a whole number of handling periods. A colony
that died out yields nothing on the days it did not live.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Entry, Parameters, Value, find
from colony_sim.colony.simulate import Scenario
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import START
from colony_sim.experiment.plan import Plan
from colony_sim.measuring import catalogue as measures_module
from colony_sim.measuring import outcome
from colony_sim.measuring.catalogue import catalogue, run_measures
from colony_sim.measuring.outcome import Measuring, handling_period, whole_period
from colony_sim.running.executor import open_executor, run_points
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import OutcomeStore, open_store
from colony_sim.source import source_bytes
from colony_sim.statistics import core

Point = Mapping[str, Value]


class PointsFailed(Exception):
    """Some runs raised; the runs that finished are stored."""

    def __init__(self, failed: int, total: int, policy: str, seed: int, error: str) -> None:
        last = error.strip().splitlines()[-1]
        super().__init__(
            f"{failed} of {total} runs failed; the first: policy {policy}, seed {seed}: {last}"
        )
        self.error = error


MOST_RUNS = 1_000_000
"""Of a study: months on one machine."""
MOST_DAYS = 36_500
"""Of a warm-up and of a measured span, as of an experiment."""


@dataclass(frozen=True)
class Window:
    """Days of a short run: it lasts `days`, and those after `warm_up` are measured."""

    warm_up: int
    days: int

    @property
    def used(self) -> int:
        """Days measured."""
        return self.days - self.warm_up


@dataclass(frozen=True)
class WindowMeasuring(Measuring):
    """Measures over a fixed window (see ``outcome.Measuring``).

    At its start so many days are left out that whole handling periods of the run itself remain:
    the point may have changed an interval, and half a period can hold a whole pulse of harvest.
    """

    span: Window

    @property
    def digest(self) -> str:
        """Hash of the window and of the source that measures in it."""
        digest = hashlib.sha256(f"{self.span.warm_up} {self.span.days}\n".encode())
        for path in (measures_module.__file__, outcome.__file__, __file__):
            digest.update(source_bytes(path))
        return digest.hexdigest()

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Day the colony died out, and every measure."""
        died = None if died_out_day is None else int(died_out_day)
        span = self.span
        period = whole_period(scenario)
        warm_up = span.warm_up + (span.used % period if period <= span.used else 0)
        return {"died_out_day": died, **run_measures(daily, warm_up, span.days)}


def window(plan: Plan, warm_up: int, used: int, most_days: int | None = None) -> Window:
    """A window of about `used` days after about `warm_up`, whole handling periods of the plan.

    The period is the least common multiple of those of the policies, where that goes into `used`,
    else one day; a run is measured over whole periods of its own anyway (`WindowMeasuring`). Under
    a yearly wave of temperature whole years are measured. A run is no longer than `most_days`: the
    measured days are kept, the warm-up gives way.
    """
    for option, days, least in (("warm_up", warm_up, 0), ("used", used, 1)):
        if not least <= days <= MOST_DAYS:
            raise InputError(ARGUMENT, option, days, f"{least} to {MOST_DAYS} days")
    period = 1
    season = plan.climate.period_days
    if season > 1:
        used = season * math.ceil(used / season)
    else:
        multiple = math.lcm(*(handling_period(p.parameters) for p in plan.policies))
        period = multiple if multiple <= used else 1
    days = warm_up + used if most_days is None else min(warm_up + used, most_days)
    used = min(used, days)
    used = max(used - used % period, min(period, days))
    return Window(days - used, days)


def range_end(parameters: Parameters, key: str | Entry, end: str) -> float:
    """Low or high end of the plausible range of `key`, drawn in until it fits the other keys.

    An `Entry` brings its own range. Some keys must stay in order (a lower limit below the reference
    temperature, say). Where the end breaks that order, the last value that keeps it is found by
    bisection between the present value and the end, and a twentieth of the way is left free.
    """
    entry = find(key, "range") if isinstance(key, str) else key
    key = entry.key
    low, high = entry.ends
    goal = float(low if end == "low" else high)
    here = float(parameters[key])
    if fits(parameters, {key: goal}):
        return goal
    inside, outside = 0.0, 1.0
    for _ in range(40):
        middle = (inside + outside) / 2
        if fits(parameters, {key: here + middle * (goal - here)}):
            inside = middle
        else:
            outside = middle
    return here + 0.95 * inside * (goal - here)


def in_order(parameters: Parameters, values: Mapping[str, Value]) -> dict[str, Value]:
    """`values` drawn towards `parameters`, all by one share, until they keep the order of keys."""
    if fits(parameters, values):
        return dict(values)
    inside, outside = 0.0, 1.0
    for _ in range(20):
        middle = (inside + outside) / 2
        if fits(parameters, _between(parameters, values, middle)):
            inside = middle
        else:
            outside = middle
    return _between(parameters, values, inside)


def _between(parameters: Parameters, values: Mapping[str, Value], share: float) -> dict[str, Value]:
    drawn: dict[str, Value] = {}
    for key, value in values.items():
        here = parameters[key]
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = here + share * (value - here)
            if isinstance(here, int):
                value = round(value)
        drawn[key] = value
    return drawn


def fits(parameters: Parameters, values: Mapping[str, Value]) -> bool:
    """Whether the values are allowed, together with the other parameters."""
    try:
        parameters.with_values(values, where="range")
    except InputError:
        return False
    return True


class PointRunner:
    """Runs points in worker processes that stay up from one call to the next.

    Use :func:`open_points`.
    """

    def __init__(self, store: OutcomeStore, executor: Executor) -> None:
        self._store, self._executor = store, executor

    def run(
        self,
        plan: Plan,
        points: Sequence[Point],
        seeds: Sequence[int],
        span: Window,
        *,
        measures: Sequence[str] | None = None,
        skip_failed: bool = False,
        on_progress: Callable[[Progress], None] = lambda progress: None,
    ) -> pd.DataFrame:
        """Run all policies of the plan at all points with all seeds and measure each run.

        Parameters
        ----------
        plan : Plan
            Policies, climate and founders.
        points : sequence of mapping
            Values laid over every policy; an empty one is the plan itself.
        seeds : sequence of int
            The same for every point and policy; the first is that of replicate ``plan.first``.
        span : Window
            Length of the runs and days measured.
        measures : sequence of str, optional
            Keys of ``measures.catalogue()`` to keep; default: all.
        skip_failed : bool
            Give NaN for runs that raised, instead of raising.
        on_progress : callable
            Told how far the runs are.

        Returns
        -------
        pandas.DataFrame
            One row per point (from 0), seed and policy: point, policy, seed, died_out_day,
            measures.

        Raises
        ------
        InputError
            If a point is not allowed.
        PointsFailed
            If a run raised; all others are run and stored first.
        """
        asked = len(points) * len(seeds) * len(plan.policies)
        if asked > MOST_RUNS:
            raise InputError(ARGUMENT, "runs", asked, f"at most {MOST_RUNS}")
        kept = list(catalogue()) if measures is None else list(measures)
        rows, failed, total = [], [], 0
        ended = run_points(
            replace(plan, days=span.days), points, self._store, seeds=seeds,
            measuring=WindowMeasuring(span), executor=self._executor, on_progress=on_progress,
        )  # fmt: skip
        for run in ended:
            total += 1
            found = run.outcome or {"died_out_day": None, **dict.fromkeys(kept, math.nan)}
            if run.error is not None:
                failed.append((run.policy, run.seed, run.error))
            rows.append({
                "point": run.point - 1, "policy": run.policy, "seed": run.seed,
                "replicate": run.replicate,
                **{key: found[key] for key in ("died_out_day", *kept)},
            })  # fmt: skip
        if failed and not skip_failed:
            raise PointsFailed(len(failed), total, *failed[0])
        # Runs come in the order in which they end.
        place = {policy.name: i for i, policy in enumerate(plan.policies)}
        rows.sort(key=lambda row: (row["point"], row["replicate"], place[row["policy"]]))
        table = pd.DataFrame(rows).drop(columns="replicate")
        return table.astype({"died_out_day": "Int64", **dict.fromkeys(kept, "float64")})


@contextmanager
def open_points(folder: Path, workers: int | None = None) -> Iterator[PointRunner]:
    """Open the store of a folder (held with ``folder.claim``) and worker processes."""
    with open_store(folder) as store, open_executor(workers) as executor:
        yield PointRunner(store, executor)


def differences(rows: pd.DataFrame, first: str, second: str, measure: str) -> pd.DataFrame:
    """Paired difference first minus second, one row per point, one column per seed in order."""
    wide = rows.pivot(index=["point", "seed"], columns="policy", values=measure)
    return in_seed_order((wide[first] - wide[second]).unstack("seed"), rows)


def in_seed_order(wide: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Points rising, and seeds as columns in the order of the replicates (pandas sorts them)."""
    return wide.sort_index()[list(rows["seed"].unique())]


def mean_interval(
    values: np.ndarray | Sequence[float], level: float = 0.95
) -> tuple[float, float, float, float]:
    """Mean, standard error and t interval; NaN where there are too few values.

    Values that are all equal have a standard error of 0 and an interval of no width.
    """
    x = np.asarray(values, dtype=float)
    # A seed without a value is not left out: the others alone would be other runs.
    found = core.mean_interval(x if np.isfinite(x).all() else np.full(len(x), np.nan), level)
    return float(found.mean), float(found.error), float(found.low), float(found.high)


def only(plan: Plan, names: Sequence[str], argument: str = "policies") -> Plan:
    """The plan with the named policies alone, in that order."""
    by_name = {policy.name: policy for policy in plan.policies}
    missing = [name for name in names if name not in by_name]
    if missing:
        allowed = "one of " + ", ".join(f'"{name}"' for name in by_name)
        raise InputError(ARGUMENT, argument, missing[0], allowed)
    return replace(plan, policies=tuple(by_name[n] for n in names), baseline=names[-1])


def refuse_own_keys(plan: Plan, keys: Sequence[str], where: str) -> None:
    """`InputError` if the policies differ in one of the keys: varying it would make them equal."""
    for key in keys:
        if key in START:
            continue
        find(key, where)
        if len({policy.parameters[key] for policy in plan.policies}) > 1:
            raise InputError(where, "key", key, "a key in which the policies do not differ")
