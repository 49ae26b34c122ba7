"""Where does the ranking of two policies flip? A map of their paired difference over two keys.

Over worlds every cell is lived in the same worlds, one for each replicate, and has the probability
that the first policy is ahead, with its Monte Carlo error, beside the expected difference. A cell
goes to a policy that is ahead with a probability of `KNOWN` or more; at the others nobody knows.
The break-even point of a row is where that probability is one half (worlds without any difference
count half), by straight lines between the values; so is that of the expected difference, where it
is 0. The 95 % intervals of both are from a bootstrap of whole worlds, the same for all cells of a
row, and reach beyond the values where a resample has no such point within them.

In one world every cell of a grid of two keys is run under both policies with the same seeds. A
cell goes to one policy where the 95 % t interval of the paired difference leaves out 0, and to
neither otherwise. Each interval stands for itself: were no policy ever better, about one cell in
twenty would still go to one of them.

Where ``rotation.most_breeders_per_bin`` is an axis, the founders follow it (``start.breeders``
equal to it), so that a cell does not begin with a rack that is too full or too empty for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import entry, parse_vary
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.measuring.catalogue import YIELD, catalogue
from colony_sim.running.runner import Progress
from colony_sim.statistics.worlds_pointwise import (
    KNOWN,
    NOBODY,
    gains_in_worlds,
    verdicts_at_points,
)
from colony_sim.studies.fitting_worlds import in_fitting_worlds, left_out_in_words
from colony_sim.studies.points import (
    Window,
    differences,
    mean_interval,
    only,
    open_points,
    refuse_own_keys,
    window,
)
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, of_100, short
from colony_sim.words.units import named

BREEDERS = "rotation.most_breeders_per_bin"
WARM_UP, USED = 420, 504
"""Days left out and days measured, unless asked otherwise."""
SEEDS = 5
"""Seeds of a cell in one world; over worlds a cell has `fitting_worlds.WORLDS`."""
MOST_CELLS = 10_000
MOST_ROWS = 10
"""Rows told on the screen."""
NEITHER = "not separated"
_SPAN = 7
_RESAMPLES, _SEED = 400, 20_072


@dataclass(frozen=True)
class Axis:
    """One key and the values it takes, rising, in the key's unit."""

    key: str
    values: tuple[Value, ...]

    @property
    def unit(self) -> str:
        """Unit of the key."""
        return entry(self.key).unit


@dataclass(frozen=True)
class BreakEven:
    """A finished map.

    Attributes
    ----------
    first, second : str
        The policies; differences are first minus second.
    x, y : Axis
        The two keys.
    measure : str
        Key of the measure compared.
    span : Window
        Length of the runs and days measured.
    seeds : tuple of int
        Seeds of every cell.
    table : pandas.DataFrame
        One row per cell: x, y, n, means, difference, se, low, high, better, died-out counts.
    default : tuple of float
        Values of x and y in the experiment file.
    gains : DataFrame
        Over worlds, one row per cell and pair of runs: x, y, world, seed, gain (first over second,
        above 0 where the first is better); empty with one world.
    left_out : int
        Worlds that do not go with some cell, and are lived in at none.
    """

    first: str
    second: str
    x: Axis
    y: Axis
    measure: str
    span: Window
    seeds: tuple[int, ...]
    table: pd.DataFrame
    default: tuple[float, float]
    gains: pd.DataFrame = field(default_factory=pd.DataFrame)
    left_out: int = 0

    @property
    def over_worlds(self) -> bool:
        """Whether it was lived over worlds."""
        return not self.gains.empty

    @property
    def neither(self) -> str:
        """What is said of cells that go to no policy."""
        return NOBODY if self.over_worlds else NEITHER


def parse_axis(option: str, text: str) -> Axis:
    """An axis from ``key=a,b,c``, ``key=from:to:step`` or a range: ``key=from:to`` or ``key``.

    A range gives seven values, evenly spread.

    Raises
    ------
    InputError
        Unknown key, values that are no numbers or out of limits, fewer than two of them.
    """
    factor = parse_vary(text, option)
    item = entry(factor.key, option)
    if item.kind not in ("number", "integer"):
        raise InputError(option, "key", factor.key, "a key with a number as value")
    values = factor.values or tuple(
        item.check(round(value) if item.kind == "integer" else float(value), option)
        for value in np.linspace(*factor.ends, _SPAN)
    )
    if len(set(values)) < 2:
        raise InputError(option, factor.key, text, "two values or more")
    return Axis(factor.key, tuple(sorted(set(values))))


def grid(x: Axis, y: Axis) -> list[dict[str, Value]]:
    """The points of the map, row by row; founders follow the beetles per bin."""
    points = []
    for b in y.values:
        for a in x.values:
            point = {x.key: a, y.key: b}
            if BREEDERS in point and "start.breeders" not in point:
                point["start.breeders"] = point[BREEDERS]
            points.append(point)
    return points


def break_even(
    plan: Plan,
    folder: Path,
    x: Axis,
    y: Axis,
    *,
    policies: Sequence[str] | None = None,
    replicates: int = 5,
    warm_up: int = WARM_UP,
    used: int = USED,
    measure: str = YIELD,
    fixed: Mapping[str, Value] | None = None,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> BreakEven:
    """Run two policies over the grid of two keys.

    Parameters
    ----------
    plan : Plan
        The experiment; of more than two policies `policies` names the two.
    folder : Path
        Results folder, held with ``folder.claim``; finished runs are kept in it.
    x, y : Axis
    policies : two names, optional
        First and second; default: the other policy and the baseline.
    replicates : int
        Seeds of each cell, 2 or more; with a profile one world each.
    warm_up, used : int
        Days left out, and days measured.
    measure : str
        Key of a measure with a better side.
    fixed : mapping, optional
        Values laid over all cells.
    workers : int, optional
        Worker processes; default: one per core.
    on_progress : callable
        Told how far the runs are.

    Raises
    ------
    InputError
        If an axis or an argument is not allowed.
    PointsFailed
        If a run raised.
    """
    names = pair(plan, policies)
    plan = only(plan, names)
    if x.key == y.key:
        raise InputError(ARGUMENT, "y", y.key, "another key than that of `x`")
    known = catalogue().get(measure)
    if known is None or known.better is None:
        allowed = ", ".join(key for key, m in catalogue().items() if m.better)
        raise InputError(ARGUMENT, "measure", measure, f"one of {allowed}")
    if len(x.values) * len(y.values) > MOST_CELLS:
        size = len(x.values) * len(y.values)
        raise InputError("argument x", "cells", size, f"at most {MOST_CELLS}")
    refuse_own_keys(plan, [x.key, y.key, *(fixed or {})], "argument x or y")
    plan = replace(plan, seeds=replicate_seeds(plan.seed, replicates))
    span = window(plan, warm_up, used)
    points = [{**(fixed or {}), **point} for point in grid(x, y)]
    plan, left_out = in_fitting_worlds(plan, points)
    with open_points(folder, workers) as runner:
        rows = runner.run(
            plan, points, plan.seeds, span, measures=[measure], on_progress=on_progress
        )
    more = known.better == "more"
    table = cells(rows, points, names, x, y, measure, more)
    gains = pd.DataFrame()
    if plan.profile is not None:
        world = {seed: plan.world(i) for i, seed in enumerate(plan.seeds, start=plan.first)}
        rows = rows.assign(world=rows["seed"].map(world))
        table, gains = with_worlds(table, rows, points, names, x, y, measure, more)
    default = own_values(plan, names[0], x, y)
    return BreakEven(*names, x, y, measure, span, plan.seeds, table, default, gains, left_out)


def own_values(plan: Plan, policy: str, x: Axis, y: Axis) -> tuple[float, float]:
    """Values of the two keys under a policy: of the experiment file or a profile's central draw."""
    plan = plan.at_centre()
    p = next(each.parameters for each in plan.policies if each.name == policy)
    values = {**p, "start.breeders": plan.breeders, "start.larvae": plan.larvae}
    return float(values[x.key]), float(values[y.key])


def pair(plan: Plan, policies: Sequence[str] | None) -> tuple[str, str]:
    """First and second policy: as named, or the only other one and the baseline."""
    if policies:
        if len(policies) != 2 or policies[0] == policies[1]:
            raise InputError(ARGUMENT, "policies", list(policies), "two that differ")
        return policies[0], policies[1]
    if len(plan.policies) != 2:
        names = ", ".join(f'"{p.name}"' for p in plan.policies)
        raise InputError(
            ARGUMENT, "policies", "nothing", f"two of the policies of the file: {names}"
        )
    other = next(p.name for p in plan.policies if p.name != plan.baseline)
    return other, plan.baseline


def cells(
    rows: pd.DataFrame,
    points: Sequence[Mapping[str, Value]],
    names: tuple[str, str],
    x: Axis,
    y: Axis,
    measure: str,
    more_is_better: bool = True,
) -> pd.DataFrame:
    """The map as a table: one row per cell, from the rows of ``run_points``."""
    first, second = names
    by_seed = differences(rows, first, second, measure)
    means = rows.pivot_table(index="point", columns="policy", values=measure)
    died = rows["died_out_day"].notna().groupby([rows["point"], rows["policy"]]).sum().unstack()
    table = []
    for place, point in enumerate(points):
        values = by_seed.loc[place].to_numpy(dtype=float)
        values = values[np.isfinite(values)]
        mean, error, low, high = mean_interval(values)
        sign = 1 if more_is_better else -1
        better = NEITHER
        # Pairs that are all equal separate nothing, whatever the interval of no width.
        if error == error and (low > 0 or high < 0):
            better = first if sign * mean > 0 else second
        one, other = means.loc[place, first], means.loc[place, second]
        table.append({
            x.key: point[x.key], y.key: point[y.key], "n": len(values),
            "first": first, "second": second, "first_mean": one, "second_mean": other,
            "difference": mean, "se": error, "low": low, "high": high,
            "relative_percent": 100 * mean / other if other else math.nan,
            "better": better, "died_out_first": int(died.loc[place, first]),
            "died_out_second": int(died.loc[place, second]),
        })  # fmt: skip
    return pd.DataFrame(table)


def with_worlds(
    table: pd.DataFrame,
    rows: pd.DataFrame,
    points: Sequence[Mapping[str, Value]],
    names: tuple[str, str],
    x: Axis,
    y: Axis,
    measure: str,
    more_is_better: bool = True,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The map with who is ahead over worlds, and the gains it comes from (see `BreakEven`).

    `rows` are those of ``run_points`` with the number of the world. Of the map, ``better`` becomes
    the policy that is ahead with a probability of `KNOWN` or more, or `NOBODY`, and the columns
    worlds, of_single_pairs, probability, probability_se, behind, lead, gain, gain_se, gain_low,
    gain_high, regret and regret_baseline (of choosing first and second) come from
    `worlds_pointwise`.
    """
    gains = gains_in_worlds(rows, names, names[1], measure, more_is_better)
    found = verdicts_at_points(gains).sort_values("point", ignore_index=True)
    columns = ["worlds", "of_single_pairs", "probability", "probability_se", "behind", "lead",
               "gain", "gain_se", "gain_low", "gain_high", "regret", "regret_baseline"]  # fmt: skip
    table = table.assign(better=found["known"], **{name: found[name] for name in columns})
    places = {axis.key: [points[point][axis.key] for point in gains["point"]] for axis in (x, y)}
    kept = gains[["world", "seed", "gain"]]
    return table, pd.concat([pd.DataFrame(places), kept.reset_index(drop=True)], axis=1)


def crossings(result: BreakEven) -> pd.DataFrame:
    """Where the order turns along x, for each y, between neighbouring values.

    Straight-line interpolation; one row per crossing of ``by`` "difference" (where the mean
    difference is 0) and, over worlds, of "probability" (where that of the first policy is one
    half); x NaN for a y without one. Over worlds with ``low`` and ``high``, the 95 % interval of
    the crossing, -inf and inf where it reaches beyond the values, and ``found``, the share of
    resampled worlds with a crossing.
    """
    found: list[dict[str, Any]] = []
    for b in result.y.values:
        line = result.table[result.table[result.y.key] == b].sort_values(result.x.key)
        at = line[result.x.key].to_numpy(float)
        curves = {"difference": line["difference"].to_numpy(float)}
        resampled: dict[str, np.ndarray] = {}
        if result.over_worlds:
            curves["probability"] = line["lead"].to_numpy(float) - 0.5
            here = result.gains[result.gains[result.y.key] == b]
            resampled = _resampled(here, result.x.key)
        for by, curve in curves.items():
            spots = _zeros(at, curve)
            for spot in spots or [math.nan]:
                row = {result.y.key: b, "by": by, result.x.key: spot}
                if resampled:
                    row |= _interval(at, curve, spot, resampled[by])
                found.append(row)
    return pd.DataFrame(found)


def _zeros(at: np.ndarray, curve: np.ndarray) -> list[float]:
    """Where a line through points crosses 0, or runs through it at a point."""
    spots = []
    for i in range(len(curve) - 1):
        before, after = curve[i], curve[i + 1]
        if before * after < 0:
            spots.append(at[i] + (at[i + 1] - at[i]) * before / (before - after))
        elif after == 0 and i + 2 < len(curve) and before * curve[i + 2] < 0:
            spots.append(at[i + 1])
    return [float(spot) for spot in spots]


def _resampled(gains: pd.DataFrame, key: str) -> dict[str, np.ndarray]:
    """Curves of one row of the map over resampled worlds, arrays of shape (resamples, x)."""
    wide = gains.groupby([key, "world"])["gain"].mean().unstack("world").dropna(axis=1).to_numpy()
    rng = np.random.default_rng(_SEED)
    pick = rng.integers(0, wide.shape[1], size=(_RESAMPLES, wide.shape[1]))
    lead = (np.sign(wide) + 1) / 2
    return {
        "difference": wide[:, pick].mean(axis=2).T,
        "probability": lead[:, pick].mean(axis=2).T - 0.5,
    }


def _interval(
    at: np.ndarray, curve: np.ndarray, spot: float, resampled: np.ndarray
) -> dict[str, float]:
    """95 % interval of a crossing, of each resample the one nearest to it."""
    if math.isnan(spot):
        share = float(np.mean([bool(_zeros(at, each)) for each in resampled]))
        return {"low": math.nan, "high": math.nan, "found": share}
    left = curve[at < spot][-1]
    places = []
    for each in resampled:
        spots = _zeros(at, each)
        if spots:
            places.append(min(spots, key=lambda other: abs(other - spot)))
        else:
            # All of the curve is as left of the crossing: it lies further right.
            places.append(math.inf if each.mean() * left > 0 else -math.inf)
    low, high = np.quantile(places, [0.025, 0.975], method="inverted_cdf")
    return {"low": float(low), "high": float(high), "found": float(np.isfinite(places).mean())}


def headline(result: BreakEven) -> str:
    """The map in one sentence, from its numbers."""
    counts = result.table["better"].value_counts()
    total = len(result.table)
    one, other = counts.get(result.first, 0), counts.get(result.second, 0)
    left = total - one - other
    what = "yields more" if result.measure == YIELD else "does better"
    if result.over_worlds:
        what += f" in {of_100(KNOWN)} of 100 possible colonies or more"
    if one == total or other == total:
        winner = result.first if one else result.second
        return f"“{winner}” {what} in all {total} cells"
    if not one and not other:
        if result.over_worlds:
            return (
                f"Nobody knows yet in any of {total} cells which {what.split(' in ')[0]}, "
                f"“{result.first}” or “{result.second}”"
            )
        return f"The runs tell “{result.first}” from “{result.second}” in none of {total} cells"
    order = [(result.first, one), (result.second, other)]
    order.sort(key=lambda item: -item[1])
    text = f"“{order[0][0]}” {what} in {order[0][1]} of {total} cells"
    text += f", “{order[1][0]}” in {order[1][1] or 'none'}"
    if not left:
        return text
    return f"{text}; in {left} nobody knows" if result.over_worlds else f"{text}; {left} {NEITHER}"


def in_words(result: BreakEven) -> str:
    """Where the order turns, row by row, and how the map was made."""
    x, y = labels.label(result.x.key), labels.heading(result.y.key)
    lines = []
    spots = crossings(result)
    shown_rows = result.y.values[:MOST_ROWS]
    for value in shown_rows:
        rows = spots[spots[result.y.key] == value]
        line = result.table[result.table[result.y.key] == value]
        counts = line["better"].value_counts().to_dict()
        shown = ", ".join(f"{count} {word}" for word, count in counts.items())
        where = (_turns if result.over_worlds else _sign_changes)(result, rows)
        lines.append(f"{y} {labels.told(result.y.key, value)}: {where} ({shown}).")
    left = len(result.y.values) - len(shown_rows)
    if left:
        lines.append(f"… and {left} more values in crossings.csv.")
    known = catalogue()[result.measure]
    values = [labels.told(result.x.key, value) for value in result.x.values]
    lines.append(
        f"Along each line {x} rises ({', '.join(values)}); what is counted is "
        f"{known.label[0].lower()}{known.label[1:]} ({named(known.unit)}), {result.first} "
        f"minus {result.second}, days {result.span.warm_up + 1} to {result.span.days}, "
        f"{_lived(result)}"
    )
    if BREEDERS in (result.x.key, result.y.key):
        lines.append(f"Founder beetles follow the {labels.label(BREEDERS)}.")
    return "\n".join([*lines, *left_out_in_words(result.left_out)])


def _lived(result: BreakEven) -> str:
    if not result.over_worlds:
        return (
            f"{len(result.seeds)} pairs of runs in each cell, the same luck everywhere. A cell "
            "goes to a policy if its own 95 % interval leaves out 0; were there no difference "
            "anywhere, about one cell in twenty would go to one of them."
        )
    worlds, error = int(result.table["worlds"].max()), result.table["probability_se"].max()
    text = (
        f"{worlds} possible colonies in each cell, the same everywhere. A cell goes to a policy "
        f"that is ahead in {of_100(KNOWN)} of 100 or more (such a count is right to about "
        f"{short(100 * error)}); the order turns where it is half."
    )
    if result.table["of_single_pairs"].all():
        text += " Each was lived once, so luck is part of that."
    return text


def _sign_changes(result: BreakEven, rows: pd.DataFrame) -> str:
    at = rows[result.x.key].dropna()
    if at.empty:
        return "the order does not turn"
    name = labels.label(result.x.key)
    spots = ", ".join(labels.told(result.x.key, spot, _three) for spot in at)
    return f"the order turns near {name} {spots}"


def _turns(result: BreakEven, rows: pd.DataFrame) -> str:
    """Where the probability is one half, and the expected difference 0, with their intervals."""
    if rows[result.x.key].isna().all():
        return "the order is not seen to turn"
    parts = []
    for by, what in (("probability", "even"), ("difference", "mean gain 0")):
        here = rows[(rows["by"] == by) & rows[result.x.key].notna()]
        spots = [
            f"{labels.told(result.x.key, row[result.x.key], _three)} ({_between(result, row)})"
            for _, row in here.iterrows()
        ]
        parts.append(f"{what} at {' and '.join(spots)}" if spots else f"{what} nowhere")
    return dashed(f"{labels.label(result.x.key)}, {', '.join(parts)}")


def _three(value: float) -> str:
    return f"{value:.3g}"


def _between(result: BreakEven, row: pd.Series) -> str:
    low, high = (labels.at(result.x.key, row[end]) for end in ("low", "high"))
    ends = ["below all values" if low == -math.inf else f"{low:.3g}",
            "beyond all values" if high == math.inf else f"{high:.3g}"]  # fmt: skip
    return f"95 % {ends[0]} to {ends[1]}"
