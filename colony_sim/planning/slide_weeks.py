"""A plan by week: harvest with its range against what is wanted, and the temperatures below."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import matplotlib.dates as mdates
import numpy as np
import pandas as pd
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.phrases import nice
from colony_sim.planning.words import due, headline, when
from colony_sim.planning.words_luck import parts, runs, what_it_is_over
from colony_sim.studies.origin import Origin, count
from colony_sim.words.estimate import number, percent, percents
from colony_sim.words.units import degrees, scaled, show, symbol

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

YEAR_WEEKS = 52
_HARVEST, _ROOM, _GROWTH = style.POLICY, style.QUIET, style.INK
_COLD = style.SHADE
_SERIES = "four_weeks_g_per_day"


def first_year(plan: StoredPlan, origin: Origin) -> Slide:
    """The first year by week."""
    rows = plan.tables["weeks"].head(YEAR_WEEKS)
    last = rows.iloc[-1]
    harvest = plan.tables["startup"].set_index("event").loc["first_harvest"]
    wanted = plan.facts["want"]["grams_per_day"]
    reached = f"{number(_a_day(last[_SERIES]))} of {number(_a_day(wanted))} {symbol('g/d')}"
    title = (
        f"First harvest {when(harvest, plan.facts)}; the last four weeks of the first year give "
        f"{reached} in the median run"
        if harvest["came"]
        else f"No run has a harvest by {nice(last['date'])}"
    )
    return _slide(plan, origin, "plan_year", rows, title)


def later(plan: StoredPlan, origin: Origin) -> Slide | None:
    """The years after the first; None if the plan ends with it."""
    rows = plan.tables["weeks"].iloc[YEAR_WEEKS:]
    if rows.empty:
        return None
    cold, short = int(rows["cold"].sum()), int(rows["short"].sum())
    asked = percent(plan.facts["want"]["probability"])
    if not short:
        title = headline(plan)
    else:
        weeks = count(short, "week")
        title = (
            f"From {due(plan.facts)} on, {weeks} of {int((rows['week'] * 7 >= _due(plan)).sum())} "
            f"give what is wanted in fewer than {asked} of runs"
        )
        if cold:
            fed = cold if cold < short else "all"
            title += f"; a room at {show(plan.facts['warm_c'], 'C')} or more feeds {fed} of them"
    return _slide(plan, origin, "plan_later", rows, title)


def _due(plan: StoredPlan) -> int:
    return int(plan.facts["want"]["after_days"])


def _slide(plan: StoredPlan, origin: Origin, name: str, rows: pd.DataFrame, title: str) -> Slide:
    facts, share = plan.facts, plan.met
    wanted = facts["want"]["grams_per_day"]
    columns = ["week", "date", _SERIES, f"{_SERIES}_low", f"{_SERIES}_high", "met_share",
               "temperature_c", "growth_temperature_c", "short", "cold"]  # fmt: skip
    known = rows[_SERIES].dropna()
    top = rows.loc[known.idxmax()] if len(known) else None
    ends = (number(scaled(rows["temperature_c"].agg(how), "C")) for how in ("min", "max"))
    most = (
        f"The median is highest in the week of {nice(top['date'])}: "
        f"{number(_a_day(top[_SERIES]))} {symbol('g/d')}"
        if top is not None
        else "No four weeks are complete"
    )
    return Slide(
        name=name,
        title=title,
        say=f"{title}. Wanted are {facts['want']['in_words']}. Over all, the plan meets it in "
        f"{share.met} of {share.runs} {runs(facts)} (95 % interval "
        f"{percents(share.low, share.high)}). {what_it_is_over(facts)} {parts(facts)}".rstrip(),
        caveat="The line is the median run, the band 8 of 10 runs, week by week; no single run "
        "follows the line. Cold weeks are those that the same room kept warm would feed. A "
        "statement about the model.",
        alt=f"Harvest of the four weeks up to each week, {symbol('g/d')}, as a line with a band, "
        f"against {number(_a_day(wanted))} {symbol('g/d')} as a dashed line; below, the "
        f"temperature of the room between {' and '.join(ends)} {degrees()}. "
        f"{most}. {int(rows['cold'].sum())} weeks are marked as cold.",
        data=rows[columns].reset_index(drop=True),
        paint=lambda: _figure(plan, origin, rows, title),
        runs=count(share.runs, "run"),
    )


def _a_day(grams: Any) -> Any:
    return scaled(grams, "g/d")


def _in_house(rows: pd.DataFrame) -> pd.DataFrame:
    """Harvests and temperatures in the units of the house."""
    harvests = [_SERIES, f"{_SERIES}_low", f"{_SERIES}_high"]
    warmth = ["temperature_c", "growth_temperature_c"]
    found = {column: _a_day(rows[column]) for column in harvests}
    return rows.assign(**found, **{column: scaled(rows[column], "C") for column in warmth})


def _figure(plan: StoredPlan, origin: Origin, rows: pd.DataFrame, title: str) -> Figure:
    rows = _in_house(rows)
    figure = style.new_figure()
    top = style.headed(figure, title)
    foot = origin.foot(
        figure,
        "Band: 8 of 10 runs. A week shows the harvest of the four weeks that end with it: "
        "larvae keep some weeks in the cool. The temperature of the growth is the mean over the "
        "median time from beetles in to nine tenths of the harvest.",
        count(plan.met.runs, "run"),
    )
    low = foot + 0.7
    height = top - 0.62 - low - 0.4
    upper = style.axes(figure, 1.35, low + 0.36 * height + 0.4, style.WIDTH - 1.85, 0.64 * height)
    lower = style.axes(figure, 1.35, low, style.WIDTH - 1.85, 0.36 * height)
    days = pd.to_datetime(rows["date"]) + pd.Timedelta(days=3.5)
    upper.fill_between(days, rows[f"{_SERIES}_low"], rows[f"{_SERIES}_high"], color=_HARVEST,
                       alpha=0.25, linewidth=0, zorder=2)  # fmt: skip
    upper.plot(days, rows[_SERIES], color=_HARVEST, linewidth=2.6, zorder=3)
    wanted = _a_day(plan.facts["want"]["grams_per_day"])
    upper.axhline(wanted, color=style.INK, linestyle=(0, (5, 3)), linewidth=1.6, zorder=4)
    _mark_cold((upper, lower), rows)
    upper.set_ylim(0, 1.12 * max(wanted, rows[f"{_SERIES}_high"].max(skipna=True) or 0))
    upper.set_ylabel(f"Harvest ({symbol('g/d')})")
    upper.set_xticklabels([])
    lower.plot(days, rows["temperature_c"], color=_ROOM, linewidth=2.2)
    lower.plot(days, rows["growth_temperature_c"], color=_GROWTH, linewidth=2.2,
               linestyle=(0, (4, 2)))  # fmt: skip
    lower.set_ylabel(f"Degrees {degrees()}")
    lower.margins(y=0.2)
    for axes in (upper, lower):
        axes.yaxis.set_label_coords(-0.95 / (style.WIDTH - 1.85), 0.5)
    degree = scaled(1.0, "K")
    if np.ptp(rows["temperature_c"]) < degree:
        middle = rows["temperature_c"].mean()
        lower.set_ylim(middle - 3 * degree, middle + 3 * degree)
    for axes in (upper, lower):
        _months(axes, rows)
        axes.grid(axis="y", color=style.FAINT, linewidth=0.7)
    upper.tick_params(labelbottom=False)
    handles = [
        Line2D([], [], color=_HARVEST, linewidth=2.6, label="median run"),
        Patch(color=_HARVEST, alpha=0.25, linewidth=0, label="8 of 10 runs"),
        Line2D([], [], color=style.INK, linestyle=(0, (5, 3)), linewidth=1.6,
               label=f"wanted: {number(wanted)} {symbol('g')}"),
        Line2D([], [], color=_ROOM, linewidth=2.2, label="room"),
        Line2D([], [], color=_GROWTH, linewidth=2.2, linestyle=(0, (4, 2)),
               label="mean over the growth"),
    ]  # fmt: skip
    if rows["cold"].any():
        handles.append(Patch(color=_COLD, linewidth=0, label="cold weeks"))
    figure.legend(handles=handles, ncols=6, loc="upper left", borderpad=0,
                  columnspacing=0.9, handlelength=1.4, handletextpad=0.4,
                  bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.12) / style.HEIGHT))  # fmt: skip
    return figure


def _mark_cold(panels: tuple[Axes, ...], rows: pd.DataFrame) -> None:
    for row in rows[rows["cold"]].itertuples():
        begin = mdates.date2num(date.fromisoformat(row.date))
        for axes in panels:
            axes.axvspan(begin, begin + 7, color=_COLD, linewidth=0, zorder=0)


def _months(axes: Axes, rows: pd.DataFrame) -> None:
    step = 1 if len(rows) <= 60 else 3
    axes.xaxis.set_major_locator(mdates.MonthLocator(bymonth=range(1, 13, step)))
    axes.xaxis.set_major_formatter(mdates.ConciseDateFormatter(
        axes.xaxis.get_major_locator(), show_offset=False,
        formats=["%Y", "%b", "%d", "%H:%M", "%H:%M", "%S"], 
        zero_formats=["", "%b\n%Y", "%b", "", "", ""],
    ))  # fmt: skip
    first = date.fromisoformat(rows["date"].iloc[0])
    last = date.fromisoformat(rows["date"].iloc[-1])
    axes.set_xlim(mdates.date2num(first), mdates.date2num(last) + 7)
