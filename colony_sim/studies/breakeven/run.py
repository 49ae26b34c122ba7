"""Where does the ranking of two policies flip? A map of their paired difference over two keys.

Every cell of a grid of two keys is run under both policies with the same seeds. A cell goes to
one policy where the 95 % t interval of the paired difference leaves out 0, and to neither
otherwise. Each interval stands for itself: were no policy ever better, about one cell in twenty
would still go to one of them.

Where ``rotation.most_breeders_per_bin`` is an axis, the founders follow it (``start.breeders``
equal to it), so that a cell does not begin with a rack that is too full or too empty for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import entry, parse_vary
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.measuring.catalogue import YIELD, catalogue
from colony_sim.running.runner import Progress
from colony_sim.studies.points import (
    Window,
    differences,
    mean_interval,
    only,
    open_points,
    refuse_own_keys,
    window,
)

BREEDERS = "rotation.most_breeders_per_bin"
WARM_UP, USED = 420, 504
"""Days left out and days measured, unless asked otherwise."""
MOST_CELLS = 10_000
_SPAN = 7


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
        Seeds of each cell, 2 or more.
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
    with open_points(folder, workers) as runner:
        rows = runner.run(
            plan, points, plan.seeds, span, measures=[measure], on_progress=on_progress
        )
    table = cells(rows, points, names, x, y, measure, known.better == "more")
    default = own_values(plan, names[0], x, y)
    return BreakEven(*names, x, y, measure, span, plan.seeds, table, default)


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
    for number, point in enumerate(points):
        values = by_seed.loc[number].to_numpy(dtype=float)
        values = values[np.isfinite(values)]
        mean, error, low, high = mean_interval(values)
        sign = 1 if more_is_better else -1
        better = "not separated"
        # Pairs that are all equal separate nothing, whatever the interval of no width.
        if error == error and (low > 0 or high < 0):
            better = first if sign * mean > 0 else second
        one, other = means.loc[number, first], means.loc[number, second]
        table.append({
            x.key: point[x.key], y.key: point[y.key], "n": len(values),
            "first": first, "second": second, "first_mean": one, "second_mean": other,
            "difference": mean, "se": error, "low": low, "high": high,
            "relative_percent": 100 * mean / other if other else math.nan,
            "better": better, "died_out_first": int(died.loc[number, first]),
            "died_out_second": int(died.loc[number, second]),
        })  # fmt: skip
    return pd.DataFrame(table)


def crossings(result: BreakEven) -> pd.DataFrame:
    """Where the mean difference crosses 0 along x, for each y, between neighbouring values.

    Straight-line interpolation; one row per crossing, x NaN for a y without one.
    """
    found = []
    for b in result.y.values:
        line = result.table[result.table[result.y.key] == b].sort_values(result.x.key)
        at, d = line[result.x.key].to_numpy(float), line["difference"].to_numpy(float)
        spots = [
            at[i] + (at[i + 1] - at[i]) * d[i] / (d[i] - d[i + 1])
            for i in range(len(d) - 1)
            if d[i] * d[i + 1] < 0
        ]
        found += [{result.y.key: b, result.x.key: spot} for spot in spots or [math.nan]]
    return pd.DataFrame(found)


def headline(result: BreakEven) -> str:
    """The map in one sentence, from its numbers."""
    counts = result.table["better"].value_counts()
    total = len(result.table)
    one, other = counts.get(result.first, 0), counts.get(result.second, 0)
    left = total - one - other
    what = "yields more" if result.measure == YIELD else "does better"
    if one == total or other == total:
        winner = result.first if one else result.second
        return f"“{winner}” {what} in all {total} cells"
    if not one and not other:
        return f"The runs separate the two policies in none of {total} cells"
    order = [(result.first, one), (result.second, other)]
    order.sort(key=lambda item: -item[1])
    text = f"“{order[0][0]}” {what} in {order[0][1]} of {total} cells"
    text += f", “{order[1][0]}” in {order[1][1] or 'none'}"
    return f"{text}; {left} not separated" if left else text


def in_words(result: BreakEven) -> str:
    """How the map was made, and where the mean difference crosses 0, row by row."""
    known = catalogue()[result.measure]
    unit = f" {result.y.unit}" if result.y.unit else ""
    lines = [
        f"{known.label} ({known.unit}), {result.first} minus {result.second}, over "
        f"{result.x.key} and {result.y.key}: days {result.span.warm_up + 1} to "
        f"{result.span.days}, {len(result.seeds)} seeds per cell, the same everywhere. A cell goes "
        "to a policy if its own 95 % interval leaves out 0; were there no difference anywhere, "
        "about one cell in twenty would go to one of them."
    ]
    if BREEDERS in (result.x.key, result.y.key):
        lines.append(f"Founder beetles follow {BREEDERS}.")
    spots = crossings(result)
    for value, rows in spots.groupby(result.y.key):
        line = result.table[result.table[result.y.key] == value]
        at = rows[result.x.key].dropna()
        counts = line["better"].value_counts().to_dict()
        shown = ", ".join(f"{count} {word}" for word, count in counts.items())
        where = "no change of sign"
        if len(at):
            where = f"sign changes near {result.x.key} = {', '.join(f'{spot:.3g}' for spot in at)}"
        lines.append(f"{result.y.key} = {value:g}{unit}: {where} ({shown}).")
    return "\n".join(lines)
