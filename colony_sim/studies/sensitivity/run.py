"""Which unknown would change the result? Morris screening, Sobol' indices, one at a time.

Over worlds, joint draws of all that nobody knows, see `over_worlds` (methods ``sobol`` and
``morris``); over ranges, each value by itself through its plausible range:

* ``oneway``: every key to both ends of its plausible range, the others as they are.
* ``morris``: elementary effects along random trajectories (Morris 1991, Technometrics 33:161-174;
  mu* of Campolongo et al. 2007, Environ. Model. Softw. 22:1509-1518), in SALib.
* ``sobol``: first-order and total indices (Saltelli et al. 2010, Comput. Phys. Commun.
  181:259-270), in SALib, from uniform distributions over the plausible ranges.

With a profile, its keys that are varied go through the interval that holds 90 % of their draws and
are as in its central draw where nothing is moved; its other keys are drawn, one draw a seed. A
draw that does not go with all points (some keys must stay in order) is left out.

Intervals are SALib's bootstrap, over trajectories or sample rows. The noise of the seeds is kept
apart from them: all points are run with the same seeds, the result is their mean, and what a seed
adds to all points alike drops out of effects. What is left, the interaction of point and seed, is
estimated from the replicates, and its share of the variance of the means is given; it is in the
total indices of all keys alike. Indices from each seed alone give their error over seeds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Entry, catalogue, find
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import MOST_REPLICATES
from colony_sim.experiment.plan import Plan, replicate_seeds, whole
from colony_sim.experiment.worlds import fitted_ranges
from colony_sim.extras import require
from colony_sim.measuring.catalogue import YIELD
from colony_sim.measuring.catalogue import catalogue as measure_catalogue
from colony_sim.running.runner import Progress
from colony_sim.studies.comparison.assumptions import uncertain
from colony_sim.studies.fitting_worlds import in_fitting_worlds
from colony_sim.studies.points import (
    MOST_RUNS,
    Point,
    Window,
    differences,
    fits,
    in_order,
    in_seed_order,
    mean_interval,
    only,
    open_points,
    range_end,
    refuse_own_keys,
    window,
)
from colony_sim.studies.sensitivity import over_worlds
from colony_sim.studies.sensitivity.indices import LEVELS, Noise, analyse, seed_noise
from colony_sim.words.units import differs, here, named

_OF_RESULT = ("at_low", "at_high", "seed_se", "mu", "sigma")
"""How columns begin that are in the unit of the result."""
METHODS = ("morris", "sobol", "oneway")
OVER = ("worlds", "ranges")
SEEDS = {"morris": 2, "sobol": 2, "oneway": 6}
"""Seeds of a point: a bar of the tornado has an interval, which two would leave useless."""
SEEDS_OF_WORLD = {"morris": 2, "sobol": 1}
"""Over worlds: for shares another world tells more than another seed."""
WARM_UP, USED = 336, 252


@dataclass(frozen=True)
class Sensitivity:
    """A finished sensitivity analysis.

    Attributes
    ----------
    method : str
        One of `METHODS`.
    output : str
        The result looked at, in words.
    policies : tuple of str
        One, or first and second of a difference.
    unit : str
        Unit of the result.
    span : Window
        Length of the runs and days measured.
    central : tuple of float
        Result with nothing moved: mean, standard error, low, high. Over worlds, its mean over them.
    noise : Noise
        Of the seeds.
    table : pandas.DataFrame
        One row per key, the most influential first.
    sampled : pandas.DataFrame
        One row per point: the keys' values and the result with each seed.
    drawn_in : int
        Points drawn towards the centre, to keep the order of keys.
    central_by_seed : tuple of float
        Result with nothing moved, with each seed; empty if not known.
    measure : str
        Key of the measure looked at.
    over : str
        One of `OVER`.
    groups : pandas.DataFrame
        Over worlds by ``sobol``: shares of groups of keys, see `over_worlds.group_shares`.
    left_out : int
        Over ranges with a profile: draws that do not go with all points.
    """

    method: str
    output: str
    policies: tuple[str, ...]
    unit: str
    span: Window
    central: tuple[float, float, float, float]
    noise: Noise
    table: pd.DataFrame
    sampled: pd.DataFrame
    drawn_in: int
    central_by_seed: tuple[float, ...] = ()
    measure: str = YIELD
    over: str = "ranges"
    groups: pd.DataFrame = field(default_factory=pd.DataFrame)
    left_out: int = 0

    def in_house(self) -> Sensitivity:
        """The same with the result, and all that is in its unit, in the unit of the house."""
        unit = measure_catalogue()[self.measure].unit
        if self.unit != unit or not differs(unit):
            return self
        one = here(1.0, unit)
        of_result = [c for c in self.table if c.startswith(_OF_RESULT)]
        if self.method != "sobol":
            of_result += [c for c in self.table if c.startswith("influence")]
        seeds = [c for c in self.sampled if c.startswith("result_seed_")]
        return replace(
            self,
            unit=named(unit),
            central=tuple(one * value for value in self.central),
            noise=replace(self.noise, variance=one**2 * self.noise.variance),
            table=self.table.assign(**{c: one * self.table[c] for c in of_result}),
            sampled=self.sampled.assign(**{c: one * self.sampled[c] for c in seeds}),
            central_by_seed=tuple(one * value for value in self.central_by_seed),
        )

    @property
    def over_worlds(self) -> bool:
        """Whether values were moved over worlds, not over ranges."""
        return self.over == "worlds"

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that were varied, as they were named."""
        if self.over_worlds:
            return tuple(self.table["key"])
        return tuple(c for c in self.sampled.columns if not c.startswith("result_seed_"))

    @property
    def is_difference(self) -> bool:
        """Whether the result is a difference of two policies."""
        return len(self.policies) == 2


def settled(method: str | None, over: str | None, one_world: bool) -> tuple[str, str]:
    """Method and what it runs over, as asked or by default: shares over worlds.

    Raises
    ------
    InputError
        An unknown word, or what does not go together.
    """
    if over is not None and over not in OVER:
        raise InputError(ARGUMENT, "over", over, f"one of {', '.join(OVER)}")
    if method is not None and method not in METHODS:
        raise InputError(ARGUMENT, "method", method, f"one of {', '.join(METHODS)}")
    if over == "worlds" and one_world:
        raise InputError(ARGUMENT, "over", over, "not together with `one_world`")
    if over == "worlds" and method == "oneway":
        allowed = "ranges with `method` oneway, which moves each value to the ends of its range"
        raise InputError(ARGUMENT, "over", over, allowed)
    over = over or ("ranges" if one_world or method == "oneway" else "worlds")
    return method or ("sobol" if over == "worlds" else "morris"), over


def lived(method: str, over: str, size: int | None, replicates: int | None) -> tuple[int, int]:
    """Seeds of a point or world, as asked or by default, and replicates of the whole plan."""
    if replicates is None:
        replicates = (SEEDS if over == "ranges" else SEEDS_OF_WORLD)[method]
    if over == "ranges" or method == "morris":
        return replicates, replicates
    whole("replicates", replicates, 1, MOST_REPLICATES, replicates)
    worlds = whole("size", size, 1, MOST_REPLICATES // replicates, over_worlds.SIZES["sobol"])
    return replicates, replicates * worlds


def entries_over(
    over: str, keys: Sequence[str] | None, group: str | None, method: str
) -> list[Entry] | None:
    """The entries to look at; None for all that differ between worlds."""
    if over == "ranges":
        return chosen_entries(keys, group, method)
    if keys:
        return [find(key, "argument keys") for key in dict.fromkeys(keys)]
    if group is None:
        return None
    if group == "biology":
        return uncertain()
    if group == "handling":
        return [e for e in catalogue().values() if e.group == group and e.uncertain]
    raise InputError(ARGUMENT, "group", group, "biology or handling")


def chosen_entries(keys: Sequence[str] | None, group: str | None, method: str) -> list[Entry]:
    """The entries to vary: as named, a group, or all uncertain values of the biology.

    Raises
    ------
    InputError
        Unknown key or group, a key without a range, or nothing named for Sobol' indices.
    """
    if keys:
        entries = [find(key, "argument keys") for key in dict.fromkeys(keys)]
        for entry in entries:
            if entry.low is None:
                raise InputError("argument keys", "key", entry.key, "a key with a plausible range")
        return entries
    if group in (None, "biology"):
        if method == "sobol" and group is None:
            many = len(uncertain())
            allowed = f"the keys to vary, or `group` biology for all {many} uncertain ones"
            raise InputError(ARGUMENT, "keys", "nothing", allowed)
        return uncertain()
    if group == "handling":
        return [e for e in catalogue().values() if e.group == group and e.low is not None]
    raise InputError(ARGUMENT, "group", group, "biology or handling")


def sensitivity(
    plan: Plan,
    folder: Path,
    *,
    method: str = "morris",
    entries: Sequence[Entry] | None = None,
    policies: Sequence[str] | None = None,
    measure: str = YIELD,
    size: int | None = None,
    over: str = "ranges",
    replicates: int = 2,
    warm_up: int = WARM_UP,
    used: int = USED,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Sensitivity:
    """Run a sensitivity analysis of one policy's measure or of the difference of two.

    Parameters
    ----------
    plan : Plan
        The experiment.
    folder : Path
        Results folder, held with ``folder.claim``.
    method : str
        One of `METHODS`.
    entries : sequence of Entry, optional
        Keys to vary over their plausible ranges; over worlds keys to look at, default all that
        differ between worlds.
    policies : one or two names, optional
        Default: all policies if there are one or two (other and baseline).
    measure : str
        Key of a measure.
    size : int, optional
        Trajectories (default 10) or base sample, a power of two (default 64); over worlds their
        number (``sobol`` 128, ``morris`` 10).
    over : str
        One of `OVER`; worlds are those of the profile of the plan.
    replicates : int
        Seeds of each point or world.
    warm_up, used : int
        Days left out, and days measured.
    workers, on_progress
        As for ``points.open_points`` and ``PointRunner.run``.

    Raises
    ------
    InputError
        If an argument is not allowed.
    MissingExtra
        If SALib is needed and not installed.
    PointsFailed
        If a run raised.
    """
    if method not in METHODS:
        raise InputError(ARGUMENT, "method", method, f"one of {', '.join(METHODS)}")
    if measure not in measure_catalogue():
        allowed = ", ".join(measure_catalogue())
        raise InputError(ARGUMENT, "measure", measure, f"one of {allowed}")
    whole("replicates", replicates, 1, MOST_REPLICATES, replicates)
    names = _names(plan, policies)
    plan = only(plan, names)
    if over == "worlds":
        return _over_worlds(
            plan, folder, method, entries, names, measure, size, replicates,
            window(plan, warm_up, used), workers, on_progress,
        )  # fmt: skip
    if method != "oneway":
        require("SALib", "SALib>=1.5", "sensitivity")
    entries = fitted_ranges(uncertain() if entries is None else entries, plan.profile)
    refuse_own_keys(plan, [entry.key for entry in entries], "argument keys")
    seeds = replicate_seeds(plan.seed, replicates)
    plan, left_out = _at_centre(replace(plan, seeds=seeds), entries)
    span = window(plan, warm_up, used)
    base = plan.policies[0].parameters
    problem = {
        "num_vars": len(entries),
        "names": [entry.key for entry in entries],
        "bounds": [[entry.low, entry.high] for entry in entries],
    }
    matrix = _design(plan, method, entries, problem, size)
    points: list[Point] = [{}]
    drawn_in = 0
    for row in matrix:
        wanted = {e.key: _typed(e, value) for e, value in zip(entries, row, strict=True)}
        drawn_in += not fits(base, wanted)
        points.append(in_order(base, wanted))
    plan, clashing = in_fitting_worlds(plan, points)
    left_out = max(left_out, clashing)
    with open_points(folder, workers) as runner:
        rows = runner.run(plan, points, seeds, span, measures=[measure], on_progress=on_progress)
    result = _result(rows, names, measure)
    at_points = result[1:]
    by_key = {entry.key: entry for entry in entries}
    table = analyse(method, problem, matrix, at_points, result[0].mean(), plan.seed)
    told: dict[str, Callable[[Entry], object]] = {
        "unit": lambda e: e.unit, "default": lambda e: base[e.key],
        "low_value": lambda e: e.low, "high_value": lambda e: e.high, "basis": lambda e: e.basis,
        "confidence": lambda e: e.confidence, "source": lambda e: e.source,
    }  # fmt: skip
    for column, get in told.items():
        table[column] = [get(by_key[key]) for key in table["key"]]
    sampled = pd.DataFrame(points[1:]).reset_index(drop=True)
    for i, seed in enumerate(seeds):
        sampled[f"result_seed_{seed}"] = at_points[:, i]
    unit = measure_catalogue()[measure].unit
    return Sensitivity(
        method, output_words(names, measure), names, unit, span, mean_interval(result[0]),
        seed_noise(at_points), table, sampled, drawn_in, tuple(result[0].tolist()),
        measure, left_out=left_out,
    )  # fmt: skip


def _at_centre(plan: Plan, entries: Sequence[Entry]) -> tuple[Plan, int]:
    """The plan with keys at the central draw, in draws that go with it; how many do not."""
    if plan.profile is None:
        return plan, 0
    centre = plan.profile.centre()
    fixed = {entry.key: centre[entry.key] for entry in entries if entry.key in centre}
    plan, left_out = in_fitting_worlds(plan, [fixed])
    return plan.at_centre(list(fixed)), left_out


def _over_worlds(
    plan: Plan, folder: Path, method: str, entries: Sequence[Entry] | None,
    names: tuple[str, ...], measure: str, size: int | None, replicates: int, span: Window,
    workers: int | None, on_progress: Callable[[Progress], None],
) -> Sensitivity:  # fmt: skip
    if plan.profile is None:
        raise InputError(ARGUMENT, "over", "worlds", "worlds only with some, not in one world")
    with open_points(folder, workers) as runner:

        def run(plan: Plan, points: Sequence[Point], seeds: Sequence[int]) -> np.ndarray:
            rows = runner.run(
                plan, points, seeds, span, measures=[measure], on_progress=on_progress
            )
            return _result(rows, names, measure)

        make = over_worlds.shares if method == "sobol" else over_worlds.steps
        found = make(plan, entries, size, replicates, run)
    results = found.sampled[[c for c in found.sampled if c.startswith("result_seed_")]]
    if method == "morris":
        results = results[found.sampled["moved"] == ""]
    central = mean_interval(results.mean(axis=1).dropna().to_numpy())
    unit = measure_catalogue()[measure].unit
    return Sensitivity(
        method, output_words(names, measure), names, unit, span, central, found.noise, found.table,
        found.sampled, 0, (), measure, over="worlds", groups=found.groups,
    )  # fmt: skip


def output_words(names: Sequence[str], measure: str) -> str:
    """The result looked at, in words."""
    label = measure_catalogue()[measure].label
    return f"{label[0].lower()}{label[1:]}, {' minus '.join(names)}"


def _names(plan: Plan, policies: Sequence[str] | None) -> tuple[str, ...]:
    if policies:
        if len(policies) > 2 or len(set(policies)) < len(policies):
            raise InputError(ARGUMENT, "policies", list(policies), "one, or two that differ")
        return tuple(policies)
    names = [p.name for p in plan.policies if p.name != plan.baseline] + [plan.baseline]
    if len(names) > 2:
        listed = ", ".join(f'"{name}"' for name in names)
        raise InputError(ARGUMENT, "policies", "nothing", f"one or two of {listed}")
    return tuple(names)


def _typed(entry: Entry, value: float) -> float | int:
    return round(value) if entry.kind == "integer" else float(value)


def _result(rows: pd.DataFrame, names: tuple[str, ...], measure: str) -> np.ndarray:
    """The result, shape (points, seeds)."""
    if len(names) == 2:
        return differences(rows, *names, measure).to_numpy(dtype=float)
    wide = rows.pivot(index="point", columns="seed", values=measure)
    return in_seed_order(wide, rows).to_numpy(dtype=float)


def _design(
    plan: Plan, method: str, entries: Sequence[Entry], problem: dict[str, Any], size: int | None
) -> np.ndarray:
    """Points of the method, shape (points, keys)."""
    k = problem["num_vars"]
    if method == "oneway":
        base = plan.policies[0].parameters
        here = np.array([float(base[key]) for key in problem["names"]])
        rows = []
        for i, entry in enumerate(entries):
            for end in ("low", "high"):
                row = here.copy()
                row[i] = range_end(base, entry, end)
                rows.append(row)
        return np.array(rows)
    if k < 2:
        raise InputError(ARGUMENT, "keys", k, "two keys or more for this method")
    size = (10 if method == "morris" else 64) if size is None else size
    most = MOST_RUNS // (k + 2)
    if not 2 <= size <= most or (method == "sobol" and size & (size - 1)):
        noun = "a whole number" if method == "morris" else "a power of two"
        allowed = f"{noun} from 2 to {most}, as each is {k + 1} points or more"
        raise InputError(ARGUMENT, "size", size, allowed)
    if method == "morris":
        from SALib.sample import morris as sample

        return sample.sample(problem, size, num_levels=LEVELS, seed=plan.seed)
    from SALib.sample import sobol as sample

    return sample.sample(problem, size, calc_second_order=False, seed=plan.seed)
