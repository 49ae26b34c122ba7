"""A plan's dates, purchases and remedies as slides."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import matplotlib.dates as mdates
import numpy as np
import pandas as pd

from colony_sim.drawing import palette
from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.measuring import day_date
from colony_sim.planning.phrases import nice, points
from colony_sim.planning.words import CAUTION, when
from colony_sim.studies.origin import Origin, count
from colony_sim.words.estimate import Estimate, number, percent
from colony_sim.words.units import scaled, symbol

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MONTHS = 24
_BRAN, _WATER = palette.CRUST, palette.MOISTURE


def startup(plan: StoredPlan, origin: Origin) -> Slide:
    """Dates of the way to steady running."""
    rows = plan.tables["startup"]
    by = rows.set_index("event")
    first, met = by.loc["first_harvest"], by.loc["want_first_met"]
    title = f"First harvest {when(first, plan.facts)}"
    title += (
        f"; four weeks give what is wanted for the first time {when(met, plan.facts)}"
        if met["came"]
        else "; what is wanted is never reached"
    )
    listed = "; ".join(f"{row.label}: {when(row, plan.facts)}" for row in rows.itertuples())
    return Slide(
        name="plan_startup",
        title=title,
        say=f"{title}. Beetles go in on {nice(plan.facts['start'])}.",
        caveat="Dots are medians over runs and lines 8 of 10 runs; an open end did not come within "
        "the run. A statement about the model.",
        alt=f"One row an event, a dot with a line over dates. {listed}.",
        data=rows,
        paint=lambda: _dates(plan, origin, title),
        runs=count(plan.met.runs, "run"),
    )


def _dates(plan: StoredPlan, origin: Origin, title: str) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    foot = origin.foot(figure, "Dots: median over runs. Lines: 80 % range; an arrow goes beyond "
                       "the end of the runs.", count(plan.met.runs, "run"))  # fmt: skip
    rows = plan.tables["startup"]
    axes = style.axes(figure, 5.2, foot + 0.75, style.WIDTH - 5.9, top - 0.35 - foot - 0.75)
    start = date.fromisoformat(plan.facts["start"])
    end = mdates.date2num(day_date(start, plan.facts["days"]))
    for place, row in enumerate(rows.itertuples()):
        low, mid, high = (_number(v) for v in (row.date_low, row.date, row.date_high))
        if low is None:
            share = (
                f"in {row.came} of {row.runs} runs" if row.came else f"in none of {row.runs} runs"
            )
            axes.text(0.01, place, share, transform=axes.get_yaxis_transform(), va="center",
                      color=style.QUIET)  # fmt: skip
            continue
        axes.plot([low, end if high is None else high], [place, place], color=style.POLICY,
                  linewidth=4, alpha=0.5, solid_capstyle="butt")  # fmt: skip
        if high is None:
            axes.plot([end], [place], marker=">", color=style.POLICY, markersize=12,
                      clip_on=False)  # fmt: skip
        if mid is not None:
            axes.plot([mid], [place], marker="o", color=style.POLICY, markersize=13)
            axes.annotate(nice(row.date), (mid, place), (0, 12), textcoords="offset points",
                          ha="center")  # fmt: skip
        else:
            axes.annotate(f"in {row.came} of {row.runs} runs", (low, place), (0, 9),
                          textcoords="offset points", ha="left", color=style.QUIET)  # fmt: skip
    axes.set_ylim(len(rows) - 0.5, -0.7)
    axes.set_yticks(range(len(rows)), labels=[_broken(label) for label in rows["label"]])
    shown = [_number(v) for v in (*rows["date_high"], *rows["date"])]
    last = max((v for v in shown if v is not None), default=end)
    if not (rows["date_low"].notna() & rows["date_high"].isna()).any():
        # No arrow points beyond the end of the runs: the axis may stop earlier.
        end = min(end, last + 0.15 * (last - mdates.date2num(start)))
    axes.set_xlim(mdates.date2num(start), end)
    step = 6 if end - mdates.date2num(start) > 600 else 3
    axes.xaxis.set_major_locator(mdates.MonthLocator(bymonth=range(1, 13, step)))
    axes.xaxis.set_major_formatter(mdates.DateFormatter("%b\n%Y"))
    axes.grid(axis="x", color=style.SHADE, linewidth=1)
    return figure


def purchases(plan: StoredPlan, origin: Origin) -> Slide:
    """Bran and moisture per calendar month."""
    rows = plan.tables["purchases"].head(MONTHS)
    whole = rows[rows["days"] >= 28]
    shown = _in_house(whole)
    most = shown.loc[whole["bran_kg"].idxmax()]
    span = Estimate.of(most, "bran_kg", "bran_kg_{}").limits
    title = (
        f"Bran: at most {number(most['bran_kg'])} {symbol('kg/month')} in the median run, in "
        f"{_month(most['month'])} (8 of 10 runs: {span} {symbol('kg')})"
    )
    year = shown.head(12)
    sums = (
        f"The medians of the first {len(year)} months add up to "
        f"{number(year['bran_kg'].sum())} {symbol('kg')} of bran and moist feed with "
        f"{number(year['moisture_kg'].sum())} {symbol('kg')} of water"
    )
    return Slide(
        name="plan_purchases",
        title=title,
        say=f"{title}. {sums}.",
        caveat="Months as in the calendar, from the start date. Water is that of the moist feed: "
        "carrot has some nine tenths of it (from memory). A statement about the model.",
        alt=f"Bars by month with lines for 8 of 10 runs; bran above, water below. {sums}.",
        data=rows,
        paint=lambda: _bars(plan, origin, rows, title),
        runs=count(plan.met.runs, "run"),
    )


def _in_house(rows: pd.DataFrame) -> pd.DataFrame:
    """Purchases in the unit of the house."""
    columns = [f"{name}{end}" for name in ("bran_kg", "moisture_kg")
               for end in ("", "_low", "_high")]  # fmt: skip
    return rows.assign(**{column: scaled(rows[column], "kg") for column in columns})


def _bars(plan: StoredPlan, origin: Origin, rows: pd.DataFrame, title: str) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    foot = origin.foot(figure, "Bars: median over runs. Lines: 8 of 10 runs. Water is what the "
                       "moist feed holds.", count(plan.met.runs, "run"))  # fmt: skip
    rows, unit = _in_house(rows), symbol("kg/month")
    low = foot + 0.75
    height = (top - 0.3 - low - 0.9) / 2
    for up, name, colour, label in (
        (1, "bran_kg", _BRAN, f"Bran ({unit})"),
        (0, "moisture_kg", _WATER, f"Water in moist feed ({unit})"),
    ):
        axes = style.axes(figure, 0.9, low + up * (height + 0.55), style.WIDTH - 1.3, height)
        place = np.arange(len(rows))
        axes.bar(place, rows[name], color=colour, width=0.72, zorder=2)
        axes.vlines(place, rows[f"{name}_low"], rows[f"{name}_high"], color=style.INK,
                    linewidth=1.8, zorder=3)  # fmt: skip
        axes.annotate(label, (0, 1), (0, 6), xycoords="axes fraction", weight="bold",
                      textcoords="offset points")  # fmt: skip
        names = [_tick(month, i) for i, month in enumerate(rows["month"])]
        axes.set_xticks(place, labels=names if up == 0 else [""] * len(names))
        axes.set_xlim(-0.6, len(rows) - 0.4)
        axes.set_ylim(bottom=0)
        axes.grid(axis="y", color=style.SHADE, linewidth=1)
        axes.tick_params(axis="x", length=0)
    return figure


def remedies(plan: StoredPlan, origin: Origin) -> Slide | None:
    """What helps against what is short; None where nothing was."""
    table = plan.tables.get("remedies")
    if table is None:
        return None
    base, rest = table.iloc[0], table.iloc[1:]
    helping = rest[rest["helps"]]
    fed = f"The plan as it is feeds {percent(base['fed_share'])} of stretches of four weeks"
    if helping.empty:
        title = f"{fed}; none of {len(rest)} remedies tried helps beyond chance"
    else:
        best = helping.iloc[0]
        title = f"{fed}; {best['remedy']}: {percent(best['fed_share'])}"
    listed = "; ".join(
        f"{row.remedy}: {points(row.gain, row.gain_low, row.gain_high)}"
        for row in rest.itertuples()
    )
    return Slide(
        name="plan_remedies",
        title=title,
        say=f"{title}. {CAUTION}",
        caveat="Each remedy alone, with the same seeds; what it costs is not weighed. Which remedy "
        "is best is not told apart where the lines overlap. A statement about the model.",
        alt=f"One row a remedy, the share of stretches fed gained, with intervals. {listed}.",
        data=table,
        paint=lambda: _gains(plan, origin, rest.sort_values("gain", ascending=False), title),
        runs=count(int(base["runs"]), "run") + " a remedy",
    )


def _gains(plan: StoredPlan, origin: Origin, rows: pd.DataFrame, title: str) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    foot = origin.foot(
        figure, "Stretches of four weeks that give what is wanted, remedy minus plan, by pairs; "
        "95 % intervals. Filled: the interval is above 0.",
        count(int(rows["runs"].iloc[0]), "run") + " a remedy",
    )  # fmt: skip
    axes = style.axes(figure, 6.0, foot + 0.85, style.WIDTH - 6.8, top - 0.35 - foot - 0.85)
    axes.axvline(0, color=style.QUIET, linewidth=1.3)
    for place, row in enumerate(rows.itertuples()):
        axes.plot([100 * row.gain_low, 100 * row.gain_high], [place, place],
                  color=style.POLICY, linewidth=3)  # fmt: skip
        axes.plot([100 * row.gain], [place], marker="o", markersize=12, color=style.POLICY,
                  markerfacecolor=style.POLICY if row.helps else "white",
                  markeredgewidth=2)  # fmt: skip
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=[_broken(name, 44) for name in rows["remedy"]])
    axes.set_xlabel("Stretches fed, gain (percentage points)")
    axes.margins(x=0.08)
    axes.grid(axis="x", color=style.SHADE, linewidth=1)
    return figure


def _number(iso: str | None) -> float | None:
    return mdates.date2num(date.fromisoformat(iso)) if isinstance(iso, str) else None


def _broken(label: str, width: int = 34) -> str:
    return style.labels([label], 2, width)[0]


def _month(month: str) -> str:
    return nice(f"{month}-01").partition(" ")[2]


def _tick(month: str, place: int) -> str:
    """Every third month by name; all would not go side by side."""
    if month[5:] not in ("01", "04", "07", "10"):
        return ""
    name = date.fromisoformat(f"{month}-01").strftime("%b")
    year = month[:4] if place < 3 or month.endswith("-01") else ""
    return f"{name}\n{year}"
