"""The slides of a fit: what the log tells, the log against the model, and the test of the fit."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.assimilation.misfit import DOUBT
from colony_sim.errors import InputError
from colony_sim.experiment.hands import DECADE
from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.fitting import calibration, learnt
from colony_sim.fitting.fit import PROFILE_DRAWS
from colony_sim.fitting.fit_words import headline, interval, percent, trust
from colony_sim.logs.words import LogAction
from colony_sim.results import manifest
from colony_sim.studies.origin import Origin, count
from colony_sim.words.estimate import Estimate, number
from colony_sim.words.labels import heading, label, printed
from colony_sim.words.listing import listed
from colony_sim.words.units import here, named

_COLOURS = {learnt.LEARNT: style.POLICY, learnt.HARDLY: style.OTHER, learnt.NOT: style.FAINT}
_OUT = style.OTHER
#: Panels of the log against the model.
_PANELS = 6
#: Values on a slide, those first that the log narrows most.
_TRACKS = 8
_ACTIONS = {
    LogAction.BEETLES_OUT: "Beetles taken out", LogAction.BEETLES_IN: "Beetles put in",
    LogAction.DEAD_BEETLES: "Dead beetles", LogAction.PUPAE_PICKED: "Pupae picked",
    LogAction.BEETLES_PICKED: "Beetles picked", LogAction.HARVEST: "Harvest",
    LogAction.COUNT: "Counted", LogAction.WEIGHT: "Weighed", LogAction.SAMPLE: "Mean weight",
    LogAction.BRAN_ADDED: "Bran added in all",
}  # fmt: skip


@dataclass(frozen=True)
class Found:
    """Tables of a fit, its facts, and where it comes from."""

    learnt: pd.DataFrame
    predictive: pd.DataFrame
    calibration: pd.DataFrame
    facts: dict[str, Any]
    origin: Origin

    @property
    def runs(self) -> str:
        """Number of simulated logs, in words."""
        return f"{self.facts['members']} possible colonies"


def slides(folder: Path) -> list[Slide]:
    """The slides of a results folder of ``colony-sim fit``.

    Raises
    ------
    InputError
        If the folder holds no finished fit.
    """
    folder = Path(folder)
    data = manifest.read(folder, kinds=("fit",))
    try:
        tables = {n: pd.read_parquet(folder / f"{n}.parquet")
                  for n in ("learnt", "predictive", "calibration")}  # fmt: skip
    except OSError as error:
        reason = error.strerror or "cannot be read"
        raise InputError(str(folder), "tables", reason, "a finished fit") from None
    found = Found(**tables, facts=data["study"], origin=Origin.of(data))
    return [_learnt(found), _predictive(found), _calibration(found)]


# ---- What the log tells


def _learnt(found: Found) -> Slide:
    table = found.learnt.head(_TRACKS)
    title = headline(found.learnt)
    told = "; ".join(
        f"{row.key} {number(row.median)} {row.unit}, 90 % interval {interval(row)}, before "
        f"{Estimate(row.median, row.before_low, row.before_high).limits}, {row.learnt}"
        for row in table.itertuples()
    )
    return Slide(
        name="learnt",
        title=title,
        say=f"{title}. Each grey track is what was held possible before the log was read; the bar "
        "is what the log leaves of it.",
        runs=found.runs,
        caveat=_shared(found) + " The values that it narrows most are drawn.",
        alt=f"One track for each of {len(table)} values with its posterior median, 50 and 90 % "
        f"interval. {told}.",
        data=found.learnt,
        paint=lambda: _paint_learnt(found, title),
    )


def _paint_learnt(found: Found, title: str) -> Figure:
    table = found.learnt.head(_TRACKS)
    slide = style.new_figure()
    top = style.headed(slide, title)
    rule = learnt.RULE[0].upper() + learnt.RULE[1:]
    low = 0.1 + found.origin.foot(
        slide, f"{_shared(found)} {rule}. Numbers: median and 90 % interval.", found.runs
    )
    left, width = 4.6, 4.3
    axes = style.axes(slide, left, low, width, top - 0.75 - low)
    for place, row in enumerate(table.itertuples()):
        at = _along(row.least, row.most)
        colour = _COLOURS[row.learnt]
        axes.barh(place, 1.0, height=0.5, color=style.SHADE, zorder=1)
        axes.plot([at(row.low_90), at(row.high_90)], [place, place], color=colour, linewidth=3,
                  solid_capstyle="butt", zorder=3)  # fmt: skip
        axes.barh(place, at(row.high_50) - at(row.low_50), left=at(row.low_50), height=0.36,
                  color=colour, zorder=2)  # fmt: skip
        axes.plot([at(row.median)] * 2, [place - 0.25, place + 0.25], color="white", linewidth=2.5,
                  zorder=4)  # fmt: skip
        for x, value, side in ((0.0, row.least, "left"), (1.0, row.most, "right")):
            axes.annotate(number(value), (x, place + 0.3), (2 if side == "left" else -2, 0),
                          textcoords="offset points", size=12, color=style.QUIET, va="top",
                          ha=side)  # fmt: skip
        unit = f"({printed(row.unit)})" if row.unit else ""
        axes.annotate(heading(row.key), (0, place), (-10, 8), textcoords="offset points",
                      ha="right", va="center")  # fmt: skip
        axes.annotate(unit, (0, place), (-10, -10), textcoords="offset points", ha="right",
                      va="center", size=12, color=style.QUIET)  # fmt: skip
        axes.annotate(f"{number(row.median)}  ({interval(row)})", (1, place), (12, 8),
                      textcoords="offset points", va="center")  # fmt: skip
        axes.annotate(row.learnt, (1, place), (12, -10), textcoords="offset points", va="center",
                      size=14, weight="bold", color=colour)  # fmt: skip
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.set_xlim(0, 1)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines["bottom"].set_visible(False)
    handles = [
        Patch(color=style.SHADE, label="possible before"),
        Patch(color=_COLOURS[learnt.LEARNT], label="half of what is possible now"),
        Line2D([], [], color=_COLOURS[learnt.LEARNT], linewidth=3, label="90 % of it"),
    ]
    slide.legend(handles=handles, ncols=3, loc="upper left", borderpad=0,
                 bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.12) / style.HEIGHT))  # fmt: skip
    return slide


def _along(low: float, high: float) -> Callable[[float], float]:
    """Place of a value on its track, 0 to 1; on the logarithm where it spans more than a decade."""
    if low > 0 and high / low > DECADE:
        return lambda value: math.log(value / low) / math.log(high / low)
    return lambda value: (value - low) / (high - low)


# ---- The log against the model


def _predictive(found: Found) -> Slide:
    table = found.predictive
    inside, total = int(table["inside"].sum()), len(table)
    p = (found.facts["misfit"] or {"p": 1.0})["p"]
    fine = p >= DOUBT
    if fine:
        title = (
            f"A possible colony could have written this log: {inside} of {total} numbers lie "
            "within their 90 % interval"
        )
    else:
        title = (
            f"No possible colony writes such a log: {total - inside} of {total} numbers lie "
            "outside their 90 % interval"
        )
    share = percent(p)
    return Slide(
        name="predictive",
        title=title,
        say=f"{title}. On average one number in ten lies outside. Of the logs of possible "
        f"colonies {share} are as odd as this one.",
        runs=found.runs,
        caveat=_shared(found) + " A model can reproduce a log and still be wrong about causes.",
        alt=f"Numbers of the log over time beside the 90 % intervals of {PROFILE_DRAWS} "
        f"colonies of the fit, one panel for each kind; {inside} of {total} inside, "
        f"{total - inside} outside.",
        data=table,
        paint=lambda: _paint_predictive(found, title),
    )


def _paint_predictive(found: Found, title: str) -> Figure:
    table = found.predictive.copy()
    table["when"] = pd.to_datetime(table["date"])
    groups = [group for _, group in table.groupby(["action", "stage", "unit"], sort=False)]
    groups = sorted(groups, key=len, reverse=True)
    ends = table["when"].min(), table["when"].max()
    around = (ends[1] - ends[0]) * 0.04 + pd.Timedelta(days=3)
    shown, rest = groups[:_PANELS], sum(len(group) for group in groups[_PANELS:])
    slide = style.new_figure()
    top = style.headed(slide, title)
    columns = min(3, len(shown))
    rows = -(-len(shown) // columns)
    more = f" {rest} numbers of other kinds are in the table." if rest else ""
    how = f"{_shared(found)} Logarithmic scales (of the number plus 1).{more}"
    low = 0.45 + found.origin.foot(slide, how, found.runs)
    left, gap_x, gap_y = 1.05, 1.0, 1.0
    width = (style.WIDTH - left - 0.35 - gap_x * (columns - 1)) / columns
    height = (top - 1.05 - low - gap_y * (rows - 1)) / rows
    for place, group in enumerate(shown):
        across, down = place % columns, place // columns
        axes = style.axes(slide, left + across * (width + gap_x),
                          low + (rows - 1 - down) * (height + gap_y), width, height)  # fmt: skip
        _panel(axes, group.sort_values("when"))
        axes.set_xlim(ends[0] - around, ends[1] + around)
    handles = [
        Line2D([], [], color=style.FAINT, linewidth=4, label="90 % of colonies of the fit"),
        Line2D([], [], color=style.INK, marker="o", linestyle="", markersize=6, label="the log"),
        Line2D([], [], color=_OUT, marker="D", linestyle="", markersize=7, label="outside"),
    ]
    slide.legend(handles=handles, ncols=3, loc="upper left", borderpad=0,
                 bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.1) / style.HEIGHT))  # fmt: skip
    return slide


def _panel(axes: Axes, group: pd.DataFrame) -> None:
    first = group.iloc[0]
    stage = "" if first["action"].split()[0] in first["stage"] else f", {first['stage']}"
    name = _ACTIONS.get(first["action"], first["action"])
    if first["action"] in (LogAction.COUNT, LogAction.WEIGHT, LogAction.SAMPLE, LogAction.HARVEST):
        name += stage
    unit = {"mg each": "mg"}.get(first["unit"], first["unit"])
    one = float(here(1.0, unit))
    axes.set_title(f"{name} ({named(unit)})", loc="left", size=15, weight="bold", pad=6)

    def scale(values: Any) -> np.ndarray:
        return np.log10(np.asarray(values, float) + 1)

    axes.vlines(group["when"], scale(group["low_90"]), scale(group["high_90"]), color=style.FAINT,
                linewidth=4, zorder=1)  # fmt: skip
    for inside, colour, mark, size in ((True, style.INK, "o", 5), (False, _OUT, "D", 7)):
        part = group[group["inside"] == inside]
        axes.plot(part["when"], scale(part["written"]), mark, color=colour, markersize=size,
                  zorder=3 - inside, linestyle="")  # fmt: skip
    top = float(scale(group[["high_90", "written"]].to_numpy()).max())
    least = float(scale(group[["low_90", "written"]].to_numpy()).min())
    powers = range(5) if one == 1.0 else range(-3, 5)
    steps = [0, *(m * 10**k for k in powers for m in (1, 2, 5))]
    # In the unit of the house, where they lie on the scale of the table.
    ticks = [v for v in steps if least - 0.15 <= math.log10(v / one + 1) <= top + 0.15]
    ticks = ticks[:: -(-len(ticks) // 5)]
    axes.set_ylim(least - 0.15, top + 0.15)
    axes.set_yticks([math.log10(v / one + 1) for v in ticks], [f"{v:g}" for v in ticks])
    locator = AutoDateLocator(minticks=3, maxticks=6)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, show_offset=False))


# ---- The test of the fit


def _calibration(found: Found) -> Slide:
    table = _calibrated(found)
    every = found.calibration
    failed = [label(key) for key in every[~every["passed"]]["key"]]
    logs = int(table["logs"].iloc[0])
    if failed:
        title = f"{logs} logs of known values show that the fit is off for {listed(failed)}"
        if len(failed) > 3:
            title = f"{logs} logs of known values show that the fit is off for {len(failed)} values"
    else:
        title = f"{logs} logs of known values show no sign of a fit too sure or too unsure"
    return Slide(
        name="calibration",
        title=title,
        say=f"{title}. {trust(every)}",
        runs=count(logs, "test log"),
        caveat=_shared(found) + " The test asks whether the fit is right if the model is, not "
        "whether the model is.",
        alt="For each value that the log narrows most a histogram of ten bars, with the band that "
        "chance allows. " + trust(every),
        data=every,
        paint=lambda: _paint_calibration(found, title),
    )


def _calibrated(found: Found) -> pd.DataFrame:
    """The rows that are drawn: of the values that the log narrows most."""
    first = list(found.learnt.head(_TRACKS)["key"])
    return found.calibration.set_index("key").loc[first].reset_index()


def _paint_calibration(found: Found, title: str) -> Figure:
    from scipy import stats

    table = _calibrated(found)
    logs = int(table["logs"].iloc[0])
    slide = style.new_figure()
    top = style.headed(slide, title)
    columns = min(4, len(table))
    rows = -(-len(table) // columns)
    how = (
        f"Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): {logs} possible "
        "colonies' own logs, each fitted with that colony left out. Below each: how often the 50 "
        "and 90 % intervals held the true value."
    )
    low = 0.5 + found.origin.foot(slide, how, count(logs, "test log"))
    left, gap_x, gap_y = 0.85, 0.4, 1.05
    width = (style.WIDTH - left - 0.4 - gap_x * (columns - 1)) / columns
    height = (top - 0.95 - low - gap_y * (rows - 1)) / rows
    bars = [f"tenth_{i}" for i in range(1, calibration.BINS + 1)]
    band = stats.binom.ppf([0.005, 0.995], logs, 1 / calibration.BINS)
    tallest = max(float(table[bars].to_numpy().max()), band[1]) * 1.08
    for place, row in enumerate(table.itertuples()):
        across, down = place % columns, place // columns
        axes = style.axes(slide, left + across * (width + gap_x),
                          low + (rows - 1 - down) * (height + gap_y), width, height)  # fmt: skip
        axes.axhspan(*band, color=style.SHADE, zorder=0)
        axes.axhline(logs / calibration.BINS, color=style.QUIET, linewidth=1, zorder=1)
        colour = style.POLICY if row.passed else _OUT
        counts = [getattr(row, name) for name in bars]
        axes.bar(np.arange(calibration.BINS) + 0.5, counts, width=0.86, color=colour, zorder=2)
        axes.set_ylim(0, tallest)
        axes.set_xlim(0, calibration.BINS)
        axes.set_title(heading(row.key), loc="left", size=13, weight="bold", pad=6)
        axes.set_xlabel(
            f"50 %: {percent(row.covered_50)}  90 %: {percent(row.covered_90)}",
            labelpad=6,
        )  # fmt: skip
        axes.set_xticks([])
        if across:
            axes.tick_params(labelleft=False)
    handles = [
        Patch(
            color=style.POLICY, label="logs by the tenth of the fit in which the true value lies"
        ),
        Patch(color=style.SHADE, label="99 % of the bars of a right fit"),
    ]
    slide.legend(handles=handles, ncols=2, loc="upper left", borderpad=0,
                 bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.1) / style.HEIGHT))  # fmt: skip
    return slide


def _shared(found: Found) -> str:
    facts = found.facts
    return (
        f"Log {facts['log']}: {facts['numbers']} numbers over {facts['days']} days from "
        f"{facts['first_date']}; "
        f"{facts['members']} possible colonies lived it."
    )
