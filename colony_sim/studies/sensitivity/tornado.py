"""The tornado chart: what each key, moved alone to both ends of its range, does to a result."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.statistics.best import Leading, leading
from colony_sim.studies.origin import Origin, count, days
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from colony_sim.studies.sensitivity.run import Sensitivity

SHOWN = 6
LOW, HIGH = style.OTHER, "#e4e6e6"
ENDS = ("low", "high")


def slide(result: Sensitivity, origin: Origin) -> Slide:
    """The chart with what to say of it."""
    tables, result = result, result.in_house()
    return Slide(
        name="tornado",
        title=headline(result),
        say=_say(result),
        caveat=_caveat(result),
        alt=_alt(result),
        data=_data(tables),
        paint=lambda: figure(result, origin),
        runs=count(runs(result), "run"),
    )


def runs(result: Sensitivity) -> int:
    """Number of runs behind the analysis, those with nothing moved included."""
    points = len(result.sampled) + (not result.over_worlds)
    return points * len(result.policies) * result.noise.seeds


def subject(result: Sensitivity) -> str:
    """The result in plain words, without the names of the policies."""
    measure = result.output.split(",")[0]
    return f"the difference in {measure}" if result.is_difference else measure


def headline(result: Sensitivity) -> str:
    """The finding in one sentence, from the numbers.

    A key is put first only where the runs separate its larger change from that of every other
    key, adjusted by Holm over all pairs of keys.
    """
    top = result.table.iloc[0]
    end = _larger(result, top)
    what = subject(result)
    numbers = (
        f"from {dashed(number(result.central[0]))} to {dashed(number(top[f'at_{end}']))} "
        f"{result.unit}"
    )
    found = ranked(result)
    alone = found is not None and found.ties.sum() == 1
    if len(result.table) == 1:
        text = f"{labels.heading(top['key'])} moves {what} {numbers}"
    elif alone:
        text = f"{labels.heading(top['key'])} moves {what} most: {numbers}"
    else:
        text = (
            f"The runs do not put one value first: {labels.label(top['key'])} moves {what} most of "
            f"those seen, {numbers}"
        )
    return f"{text}; {_signs(result)}" if result.is_difference else text


def ranked(result: Sensitivity) -> Leading | None:
    """Keys by their larger change, seed by seed; None where runs with nothing moved lack."""
    central = np.array(result.central_by_seed)
    seeds = [column for column in result.sampled if column.startswith("result_seed_")]
    if len(central) != len(seeds) or not seeds:
        return None
    by_seed = result.sampled[seeds].to_numpy(dtype=float)
    # Two points a key, low and high end, in the order of the columns of the sampled table.
    order = [column for column in result.sampled if column not in seeds]
    changes = []
    for row in result.table.itertuples():
        place = 2 * order.index(row.key) + ENDS.index(_larger(result, row._asdict()))
        change = by_seed[place] - central
        changes.append(change * (1 if change.mean() >= 0 else -1))
    return leading(np.array(changes))


def turning(result: Sensitivity) -> tuple[list[str], list[str]]:
    """Keys whose move turns the sign beyond its interval, and keys that leave it open."""
    turned, unsure = [], []
    before = math.copysign(1, result.central[0])
    for row in result.table.to_dict("records"):
        sides = [_side(row[f"at_{end}_low"], row[f"at_{end}_high"]) for end in ENDS]
        if -before in sides:
            turned.append(row["key"])
        elif 0 in sides:
            unsure.append(row["key"])
    return turned, unsure


def _side(low: float, high: float) -> int:
    """1 or -1 for an interval above or below 0, else 0."""
    return 1 if low > 0 else -1 if high < 0 else 0


def _signs(result: Sensitivity) -> str:
    total = len(result.table)
    if not _side(*result.central[2:]):
        return "with nothing moved the runs do not tell which policy is ahead"
    turned, unsure = turning(result)
    if not turned and not unsure:
        return f"none of {total} values, moved alone, turns the sign"
    if len(turned) == 1:
        first = turned[0] == result.table["key"].iloc[0]
        text = f"{'it' if first else labels.label(turned[0])} alone turns the sign"
    else:
        text = f"{len(turned) or 'none'} of {total} values, moved alone, turn the sign"
    return f"{text}; {len(unsure)} leave it open" if unsure else text


def _larger(result: Sensitivity, row: pd.Series) -> str:
    """The end with the larger change."""
    return max(ENDS, key=lambda end: abs(row[f"at_{end}"] - result.central[0]))


def figure(result: Sensitivity, origin: Origin) -> Figure:
    """Bars from the central result to the result at each end, with intervals over seeds."""
    page = style.new_figure()
    top = style.headed(page, headline(result))
    rows = result.table.head(SHOWN)
    names = [_label(key) for key in rows["key"]]
    left = 0.55 + max(style.text_width(page, line, style.BODY) for name in names
                      for line in name.split("\n"))  # fmt: skip
    hidden = len(result.table) - len(rows)
    low = 0.95 + origin.foot(
        page,
        "Each value moved alone to both ends of its plausible range (numbers at the bars), the "
        f"same {result.noise.seeds} seeds everywhere; upright line: nothing moved."
        + (f" {count(hidden, 'value')} with less influence not shown." if hidden else ""),
        count(runs(result), "run"),
        days(result.span),
    )  # fmt: skip
    axes = style.axes(page, left, low, style.WIDTH - 0.4 - left, top - 0.65 - low)
    middle = result.central[0]
    axes.axvline(middle, color=style.INK, linewidth=1.5, zorder=3)
    if result.is_difference:  # Its sign is the verdict.
        axes.axvline(0, color=style.QUIET, linewidth=1.5, linestyle=(0, (4, 3)), zorder=3)
    for place, row in enumerate(rows.to_dict("records")):
        # Both ends may lie on one side; each has a bar of its own.
        for end, colour, shift in (("low", LOW, -0.2), ("high", HIGH, 0.2)):
            _bar(axes, row, end, place + shift, middle, colour)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=names, linespacing=1.0)
    axes.margins(x=0.14)
    axes.set_xlabel(dashed(f"{result.output[0].upper()}{result.output[1:]} ({result.unit})"))
    handles = [Patch(color=LOW, label="low end"), Patch(color=HIGH, label="high end"),
               Line2D([], [], color=style.INK, linewidth=1.8,
                      label="95 % interval")]  # fmt: skip
    if result.is_difference:
        handles.append(Line2D([], [], color=style.QUIET, linestyle=(0, (4, 3)),
                              label="no difference"))  # fmt: skip
    page.legend(handles=handles, ncols=4, loc="upper left", borderpad=0,
                bbox_to_anchor=(0.32 / style.WIDTH, (top - 0.1) / style.HEIGHT))  # fmt: skip
    return page


def _bar(axes: Axes, row: dict[str, Any], end: str, at: float, middle: float, colour: str) -> None:
    value, low, high = (row[f"at_{end}{part}"] for part in ("", "_low", "_high"))
    axes.barh(at, value - middle, left=middle, height=0.38, color=colour, zorder=2)
    side = 1 if value >= middle else -1
    outer = value
    if math.isfinite(low):
        axes.plot([low, high], [at, at], color=style.INK, linewidth=1.8, zorder=4)
        outer = high if side > 0 else low
    edge = max(outer, middle) if side > 0 else min(outer, middle)
    axes.annotate(labels.shown(row[f"{end}_used"], row["key"]), (edge, at), (6 * side, 0),
                  textcoords="offset points", va="center", color=style.INK,
                  ha="left" if side > 0 else "right")  # fmt: skip


def _label(key: str) -> str:
    text = labels.unit(key)
    return labels.heading(key) if text in ("", "no unit") else f"{labels.heading(key)}\n({text})"


def _say(result: Sensitivity) -> str:
    top = result.table.iloc[0]
    mean, _, low, high = result.central
    central = dashed(str(Estimate(mean, low, high, result.unit)))
    ends = " and ".join(
        f"{dashed(number(top[f'at_{end}']))} at {labels.with_unit(top['key'], top[f'{end}_used'])}"
        for end in ENDS
    )
    return (
        f"{headline(result)}. Each bar moves one value to an end of its plausible range and leaves "
        f"all others as they are. With nothing moved, {subject(result)} is {central}; "
        f"with {labels.label(top['key'])} it is {ends}."
    )


def _caveat(result: Sensitivity) -> str:
    text = (
        "One value at a time says nothing of values that act together, and the ends are as "
        "plausible as the sources make them."
    )
    found = ranked(result)
    if found is not None and found.ties.sum() > 1:
        text += (
            f" Over {count(result.noise.seeds, 'seed')} the change by the first value is not told "
            f"from that by {int(found.ties.sum()) - 1} others (paired, Holm over "
            f"{found.family} pairs)."
        )
    return text


def _alt(result: Sensitivity) -> str:
    parts = [
        f"{labels.label(row['key'])} "
        + " and ".join(
            f"{dashed(number(row[f'at_{end}']))} at {labels.shown(row[f'{end}_used'], row['key'])}"
            for end in ENDS
        )
        for row in result.table.head(SHOWN).to_dict("records")
    ]
    return (
        f"Tornado chart of {shortened(result.output, 90)}: {dashed(number(result.central[0]))} "
        f"{result.unit} with nothing moved; {'; '.join(parts)}."
    )


def _data(result: Sensitivity) -> pd.DataFrame:
    rows = []
    for row in result.table.to_dict("records"):
        for end in ENDS:
            rows.append({
                "key": row["key"], "name": labels.label(row["key"]), "end": end,
                "value_of_key": row[f"{end}_used"], "unit_of_key": row["unit"],
                "result": row[f"at_{end}"], "low": row[f"at_{end}_low"],
                "high": row[f"at_{end}_high"], "result_with_nothing_moved": result.central[0],
                "unit_of_result": result.unit, "seeds": result.noise.seeds,
            })  # fmt: skip
    return pd.DataFrame(rows)
