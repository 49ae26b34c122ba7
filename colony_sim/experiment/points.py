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

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from colony_sim.biology.parameters import Parameters, Value, find
from colony_sim.colony.simulate import Scenario
from colony_sim.errors import InputError
from colony_sim.experiment.files import MOST_BREEDERS, MOST_LARVAE, Policy
from colony_sim.experiment.measures import run_measures
from colony_sim.experiment.plan import Plan, PlannedRun, content_key
from colony_sim.experiment.runner import Failure, Progress, run_all
from colony_sim.experiment.steady_state import SteadyState
from colony_sim.experiment.store import RunStore

START = {"start.breeders": (1, MOST_BREEDERS), "start.larvae": (0, MOST_LARVAE)}
"""Keys of a point that are no parameters: founders, with their limits."""
Point = Mapping[str, Value]


class PointsFailed(Exception):
    """Some runs raised; the runs that finished are stored."""

    def __init__(self, failures: Sequence[Failure], total: int) -> None:
        self.failures = tuple(failures)
        first = failures[0]
        super().__init__(
            f"{len(failures)} of {total} runs failed; the first: {first.policy}, "
            f"seed {first.seed}: {first.error} (whole error in {first.file})"
        )


@dataclass(frozen=True)
class Window:
    """Days of a short run: it lasts `days`, and those after `warm_up` are measured."""

    warm_up: int
    days: int

    @property
    def used(self) -> int:
        """Days measured."""
        return self.days - self.warm_up


def window(plan: Plan, warm_up: int, used: int, most_days: int | None = None) -> Window:
    """A window of about `used` days after about `warm_up`, whole handling periods of the plan.

    The period is the least common multiple of all handling intervals of the policies, where that
    goes into `used`, else that of the rotation intervals alone, else one day. A run is no longer
    than `most_days` (the measured days are kept, the warm-up gives way).
    """
    every = ("rotation.interval_days", "rotation.collect_days", "harvest.interval_days",
             "pupae.inspection_days")  # fmt: skip
    period = 1
    for keys in (every, every[:1]):
        multiple = math.lcm(*(int(p.parameters[key]) for p in plan.policies for key in keys))
        if multiple <= used:
            period = multiple
            break
    days = warm_up + used if most_days is None else min(warm_up + used, most_days)
    used = min(used, days)
    used = max(used - used % period, min(period, days))
    return Window(days - used, days)


def check_point(point: Point, where: str, group: str | None = None) -> dict[str, Value]:
    """The point with values in their own types.

    Raises
    ------
    InputError
        Unknown key, wrong type, or out of the hard limits.
    """
    checked: dict[str, Value] = {}
    for key, value in point.items():
        if key in START:
            low, high = START[key]
            whole = isinstance(value, int | float) and not isinstance(value, bool)
            if not whole or value != int(value) or not low <= value <= high:
                raise InputError(where, key, value, f"a whole number from {low} to {high}")
            checked[key] = int(value)
        else:
            checked[key] = find(key, where, group).check(value, where)
    return checked


def range_end(parameters: Parameters, key: str, end: str) -> float:
    """Low or high end of the plausible range of `key`, drawn in until it fits the other keys.

    Some keys must stay in order (a lower limit below the reference temperature, say). Where the
    end breaks that order, the last value that keeps it is found by bisection between the present
    value and the end, and a twentieth of the way is left free.
    """
    entry = find(key, "range")
    goal = float(entry.low if end == "low" else entry.high)
    here = float(parameters[key])
    if _fits(parameters, {key: goal}):
        return goal
    inside, outside = 0.0, 1.0
    for _ in range(40):
        middle = (inside + outside) / 2
        if _fits(parameters, {key: here + middle * (goal - here)}):
            inside = middle
        else:
            outside = middle
    return here + 0.95 * inside * (goal - here)


def in_order(parameters: Parameters, values: Mapping[str, Value]) -> dict[str, Value]:
    """`values` drawn towards `parameters`, all by one share, until they keep the order of keys."""
    if _fits(parameters, values):
        return dict(values)
    inside, outside = 0.0, 1.0
    for _ in range(20):
        middle = (inside + outside) / 2
        if _fits(parameters, _between(parameters, values, middle)):
            inside = middle
        else:
            outside = middle
    return _between(parameters, values, inside)


def _between(parameters: Parameters, values: Mapping[str, Value], share: float) -> dict:
    drawn = {}
    for key, value in values.items():
        here = parameters[key]
        numeric = isinstance(value, int | float) and not isinstance(value, bool)
        drawn[key] = here + share * (value - here) if numeric else value
        if isinstance(here, int) and numeric:
            drawn[key] = round(drawn[key])
    return drawn


def _fits(parameters: Parameters, values: Mapping[str, Value]) -> bool:
    try:
        parameters.with_values(values, where="range")
    except InputError:
        return False
    return True


def planned(
    plan: Plan, points: Sequence[Point], seeds: Sequence[int], days: int, where: str
) -> list[tuple[int, PlannedRun]]:
    """The runs of all points, seed by seed within a point, each with the number of its point."""
    runs = []
    for number, point in enumerate(points):
        values = check_point(point, where)
        start = {key: values.pop(key) for key in START if key in values}
        policies = [
            Policy(p.name, p.parameters.with_values(values, where=where) if values else p.parameters)
            for p in plan.policies
        ]
        for replicate, seed in enumerate(seeds, start=1):
            for policy in policies:
                scenario = Scenario(
                    parameters=policy.parameters,
                    climate=plan.climate,
                    days=days,
                    seed=seed,
                    breeders=start.get("start.breeders", plan.breeders),
                    larvae=start.get("start.larvae", plan.larvae),
                )
                run = PlannedRun(content_key(scenario), policy.name, replicate, scenario)
                runs.append((number, run))
    return runs


def run_points(
    plan: Plan,
    points: Sequence[Point],
    seeds: Sequence[int],
    span: Window,
    store: RunStore,
    *,
    workers: int,
    fresh: bool = False,
    where: str = "point",
    measures: Sequence[str] | None = None,
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
        The same for every point and policy.
    span : Window
        Length of the runs and days measured.
    store : RunStore
        Where finished runs are kept; its folder must be held (``store.claim``).
    workers, fresh, on_progress
        As for :func:`runner.run_all`.
    where : str
        What an error in a point names as its place.
    measures : sequence of str, optional
        Keys of ``measures.catalogue()`` to keep; default: all.

    Returns
    -------
    pandas.DataFrame
        One row per point, seed and policy: point, policy, seed, died_out_day, key, measures.

    Raises
    ------
    InputError
        If a point is not allowed.
    PointsFailed
        If a run raised.
    """
    runs = planned(plan, points, seeds, span.days, where)
    failures = run_all(
        [run for _, run in runs], store, workers=workers, fresh=fresh, on_progress=on_progress
    )
    if failures:
        raise PointsFailed(failures, len({run.key for _, run in runs}))
    found: dict[str, dict[str, Any]] = {}
    rows = []
    for number, run in runs:
        if run.key not in found:
            stored = store.read(run.key)
            values = window_measures(stored.daily, span)
            kept = values if measures is None else {key: values[key] for key in measures}
            found[run.key] = {"died_out_day": stored.died_out_day, "key": run.key, **kept}
        rows.append({"point": number, "policy": run.policy, "seed": run.scenario.seed,
                     **found[run.key]})  # fmt: skip
    return pd.DataFrame(rows).astype({"died_out_day": "Int64"})


def window_measures(daily: pd.DataFrame, span: Window) -> dict[str, float]:
    """Measures over the window; days after the colony died out count as days without anything."""
    if len(daily) < span.days:
        missing = span.days - len(daily)
        rest = pd.DataFrame(0, index=range(missing), columns=daily.columns)
        rest["day"] = np.arange(len(daily) + 1, span.days + 1)
        daily = pd.concat([daily, rest], ignore_index=True)
    state = SteadyState("settled", span.warm_up, span.used, math.nan, "")
    return run_measures(daily, state)


def differences(rows: pd.DataFrame, first: str, second: str, measure: str) -> pd.DataFrame:
    """Paired difference first minus second, one row per point, one column per seed."""
    wide = rows.pivot(index=["point", "seed"], columns="policy", values=measure)
    return (wide[first] - wide[second]).unstack("seed").sort_index()


def mean_interval(
    values: np.ndarray | Sequence[float], level: float = 0.95
) -> tuple[float, float, float, float]:
    """Mean, standard error and t interval; NaN where there are too few values.

    Values that are all equal have a standard error of 0 and an interval of no width.
    """
    x = np.asarray(values, dtype=float)
    n = len(x)
    mean = float(x.mean()) if n else math.nan
    if n < 2:
        return mean, math.nan, math.nan, math.nan
    error = float(x.std(ddof=1)) / math.sqrt(n)
    half = float(stats.t.ppf(0.5 + level / 2, n - 1)) * error
    return mean, error, mean - half, mean + half


def only(plan: Plan, names: Sequence[str]) -> Plan:
    """The plan with the named policies alone, in that order."""
    by_name = {policy.name: policy for policy in plan.policies}
    missing = [name for name in names if name not in by_name]
    if missing:
        allowed = "one of " + ", ".join(f'"{name}"' for name in by_name)
        raise InputError("command line", "policy", missing[0], allowed)
    return replace(plan, policies=tuple(by_name[n] for n in names), baseline=names[-1])


def refuse_own_keys(plan: Plan, keys: Sequence[str], where: str) -> None:
    """`InputError` if the policies differ in one of the keys: varying it would make them equal."""
    for key in keys:
        if key in START:
            continue
        find(key, where)
        if len({policy.parameters[key] for policy in plan.policies}) > 1:
            raise InputError(where, "key", key, "a key in which the policies do not differ")


