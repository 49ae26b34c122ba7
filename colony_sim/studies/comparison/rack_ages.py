"""The rack as a ladder of ages: each bin, day by day, by the days since the beetles left it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.colors import LinearSegmentedColormap, to_rgb
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from colony_sim.drawing import palette
from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.studies.comparison.bin_cycles import cleared, cycles
from colony_sim.studies.comparison.relive import Traces
from colony_sim.studies.comparison.results import Results, footer, run_in_words
from colony_sim.words.estimate import dashed, limits, number
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROWS = 3
"""Policies above each other on one slide."""
SPAN = 420
"""Days shown at most."""
BREEDING, FREE = palette.STAGES["adults"], "#ffffff"
YOUNG, OLD = palette.BRAN, "#8a6b42"
"""Ends of the scale of ages; breeding bins keep apart from all of it by 30 or more in CIELAB."""


def slides(results: Results, traces: Traces) -> list[Slide]:
    """The rack under each policy, three policies a slide."""
    return [_slide(results, traces, group) for group in style.groups(results.policies, ROWS)]


def ages() -> LinearSegmentedColormap:
    """Colours of the days since the beetles left, light for young to dark for old."""
    return LinearSegmentedColormap.from_list("ages", [YOUNG, palette.CRUST, palette.FRASS, OLD])


def _slide(results: Results, traces: Traces, group: Sequence[str]) -> Slide:
    first, last = _span(traces, group)
    data = {policy: _days(traces, policy, first, last) for policy in group}
    ends = {policy: _clearing(traces, policy) for policy in group}
    title = fitting(lambda most: _title(ends, most), group)
    return Slide(
        name="rack_ages",
        title=title,
        say=f"{title}. {_reasons(ends)}{_in_use(results, group)}".strip(),
        caveat="One run of each policy; which bins are cleared follows from the rules and the "
        "number of bins. Ages at clearing are of bins filled after the warm-up of that run and "
        "early enough to be seen to their end.",
        alt=_alt(data, first, last),
        data=pd.concat(
            [table.assign(policy=policy) for policy, table in data.items()], ignore_index=True
        )[["policy", "bin", "day", "phase", "days_since_beetles_left"]],
        paint=lambda: _figure(results, traces, data, title, first, last),
        runs=run_in_words(traces.seed),
    )


def _span(traces: Traces, group: Sequence[str]) -> tuple[int, int]:
    """First and last day shown: after the latest warm-up, or the end of runs that never settle."""
    lived = max(len(traces.records[policy].daily) for policy in group)
    known = [end for policy in group if (end := traces.warm_up[policy]) is not None]
    if not known:
        return max(1, lived - SPAN + 1), lived
    return max(known) + 1, min(max(known) + SPAN, lived)


def _days(traces: Traces, policy: str, first: int, last: int) -> pd.DataFrame:
    """A row a bin and day of the span."""
    table = traces.records[policy].bins_daily
    table = table[(table["day"] >= first) & (table["day"] <= last)]
    age = (table["day"] - table["date_out"]).where(table["phase"] == "growing")
    found = table[["bin", "day", "phase"]].assign(days_since_beetles_left=age.astype("Int64"))
    return found.sort_values(["bin", "day"]).reset_index(drop=True)


def _clearing(traces: Traces, policy: str) -> pd.DataFrame | None:
    """Lives of bins seen to their end; None if the run did not settle."""
    lives = cycles(traces, policy)
    return None if lives is None else cleared(lives)


def _title(ends: dict[str, pd.DataFrame | None], most: int) -> str:
    parts = []
    for policy, table in ends.items():
        if table is None or table.empty:
            continue
        why = table["why"].value_counts()
        # With three policies the title would grow too long; the reasons are said instead.
        count = f" ({why.iloc[0]} of {len(table)} {why.index[0]})" if len(ends) < 3 else ""
        where = f"under “{shortened(policy, most)}”{count}"
        parts.append((f"{table['cleared_age'].median():g}", where))
    if not parts:
        return "The rack as it was filled: no bin of a settled run was seen to its clearing"
    days, where = parts[0]
    if len(parts) > 1 and len({day for day, _ in parts}) == 1:
        which = "both ways" if len(parts) == 2 else f"all {len(parts)} ways"
        return f"Bins are cleared a median of {days} days after the beetles leave in {which}"
    start = f"Bins are cleared a median of {days} days after the beetles leave {where}"
    return "; ".join([start, *(f"{days} days {where}" for days, where in parts[1:])])


def _reasons(ends: dict[str, pd.DataFrame | None]) -> str:
    """Why the bins were cleared, in numbers."""
    parts = []
    for policy, table in ends.items():
        if table is not None and len(table):
            counts = table["why"].value_counts()
            listed = ", ".join(f"{count} {why}" for why, count in counts.items())
            parts.append(f"under “{policy}” of {len(table)} bins {listed}")
    return f"Cleared: {'; '.join(parts)}. " if parts else ""


def _in_use(results: Results, group: Sequence[str]) -> str:
    """Mean number of bins in use over all runs."""
    parts = []
    for policy in group:
        row = results.of(policy, "bins_in_use")
        if np.isfinite(row["mean"]):
            interval = f" ({dashed(limits(row))})" if np.isfinite(row["low"]) else ""
            rack = results.handling(policy).get("rack.bins")
            parts.append(f"{number(row['mean'])}{interval} of {rack} under “{policy}”")
    return f"Bins in use, mean over all runs: {'; '.join(parts)}." if parts else ""


def _alt(data: dict[str, pd.DataFrame], first: int, last: int) -> str:
    parts = []
    for policy, table in data.items():
        if table.empty:
            parts.append(f"Under “{policy}” the colony had died out.")
            continue
        share = table["phase"].value_counts(normalize=True)
        old = table["days_since_beetles_left"].max()
        oldest = "" if pd.isna(old) else f", the oldest {int(old)} days after the beetles left"
        count = table["bin"].nunique()
        spent = ", ".join(
            f"{name} {number(100 * share.get(name, 0.0))} %"
            for name in ("breeding", "growing", "free")
        )
        parts.append(f"Under “{policy}” {count} bins: bin-days {spent}{oldest}.")
    return (
        f"Bins from top to bottom against days {first} to {last}, colour by days since the "
        f"beetles left. {' '.join(parts)}"
    )


def _figure(
    results: Results,
    traces: Traces,
    data: dict[str, pd.DataFrame],
    title: str,
    first: int,
    last: int,
) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    footer(figure, results, run_in_words(traces.seed))
    left, right, low, gap = 1.1, style.WIDTH - 2.9, 1.15, 0.5
    height = (top - 0.2 - low) / len(data) - gap
    known = [table["days_since_beetles_left"].max() for table in data.values()]
    oldest = max((int(value) for value in known if not pd.isna(value)), default=1)
    scale = matplotlib.colors.Normalize(0, max(oldest, 1))
    for i, (policy, table) in enumerate(data.items()):
        place = low + (len(data) - 1 - i) * (height + gap)
        axes = style.axes(figure, left, place, right - left, height)
        _ladder(axes, table, scale, first, last)
        _head(axes, results.index(policy), _named(traces, policy), right - left, height)
        axes.tick_params(labelbottom=i == len(data) - 1)
        axes.set_ylabel("bin")
        if i == len(data) - 1:
            axes.set_xlabel("Day of the run")
    _key(figure, scale, right + 0.35, low, top - 0.75)
    return figure


def _named(traces: Traces, policy: str) -> str:
    name = shortened(policy, 45)
    died = traces.records[policy].died_out_day
    if died is not None:
        return f"{name}: died out on day {died}"
    return name if traces.warm_up[policy] is not None else f"{name}: did not settle"


def _ladder(
    axes: Axes, table: pd.DataFrame, scale: matplotlib.colors.Normalize, first: int, last: int
) -> None:
    if table.empty:
        axes.text(0.5, 0.5, "no bin in use", ha="center", va="center", color=style.QUIET,
                  transform=axes.transAxes)  # fmt: skip
        axes.set_yticks([])
        axes.set_xlim(first - 0.5, last + 0.5)
        return
    bins = int(table["bin"].max())
    picture = np.ones((bins, last - first + 1, 3))
    rows, columns = table["bin"].to_numpy() - 1, table["day"].to_numpy() - first
    age = table["days_since_beetles_left"].to_numpy(float, na_value=np.nan)
    colours = ages()(scale(np.nan_to_num(age)))[:, :3]
    phase = table["phase"].to_numpy()
    colours[phase == "breeding"] = to_rgb(BREEDING)
    colours[phase == "free"] = to_rgb(FREE)
    picture[rows, columns] = colours
    axes.imshow(
        picture,
        aspect="auto",
        interpolation="nearest",
        extent=(first - 0.5, last + 0.5, bins + 0.5, 0.5),
    )
    for edge in range(bins + 1):
        axes.axhline(edge + 0.5, color="white" if 0 < edge < bins else style.QUIET, linewidth=1)
    axes.spines["bottom"].set_visible(False)
    axes.yaxis.set_major_locator(MaxNLocator(3, integer=True, min_n_ticks=2))
    axes.set_yticks([tick for tick in {1, (bins + 1) // 2, bins}])
    axes.xaxis.set_major_locator(MaxNLocator(7, integer=True))


def _head(axes: Axes, place: int, text: str, width: float, height: float) -> None:
    axes.annotate(text, (0, 1), (22, 8), weight="bold", xycoords="axes fraction",
                  textcoords="offset points")  # fmt: skip
    axes.plot(
        7 / 72 / width,
        1 + 14 / 72 / height,
        style.marker(place),
        color=style.POLICY,
        markersize=11,
        transform=axes.transAxes,
        clip_on=False,
    )


def _key(
    figure: Figure, scale: matplotlib.colors.Normalize, left: float, low: float, top: float
) -> None:
    figure.legend(
        handles=[
            Patch(facecolor=BREEDING, label="beetles in"),
            Patch(facecolor=FREE, edgecolor=style.QUIET, label="free"),
        ],
        loc="upper left",
        bbox_to_anchor=(left / style.WIDTH, (top + 0.2) / style.HEIGHT),
        borderpad=0,
        borderaxespad=0,
        handlelength=1.2,
    )
    bar_axes = style.axes(figure, left + 0.02, low, 0.28, top - 1.55 - low)
    bar = figure.colorbar(matplotlib.cm.ScalarMappable(scale, ages()), cax=bar_axes)
    bar.outline.set_visible(False)
    bar.locator = MaxNLocator(5, integer=True)
    bar.update_ticks()
    bar_axes.tick_params(length=0)
    bar_axes.annotate("days since the\nbeetles left", (0, 1), (0, 8), xycoords="axes fraction",
                      textcoords="offset points")  # fmt: skip
