"""Warm-up and steady state, run by run: what was left out, and what is level after it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.outcome import handling_period
from colony_sim.measuring.steady_state import MONITORED
from colony_sim.statistics.core import mean_interval
from colony_sim.studies.comparison.months import months
from colony_sim.studies.comparison.results import Results, footer, runs_in_words
from colony_sim.words.estimate import dashed, limits, signed
from colony_sim.words.labels import shortened
from colony_sim.words.units import scaled, symbol

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROWS = 3
"""Policies above each other on one slide."""
_HEADS = {
    "larvae_g": ("mass of larvae ({})", "g"),
    "adults": ("beetles (number)", ""),
    "harvest_g": ("harvest ({})", "g/d"),
}
"""What stands above each series, and its unit."""


def slides(results: Results, folder: Path) -> list[Slide]:
    """Each run over time under each policy, three policies a slide."""
    columns = ["policy", "seed", "day", *MONITORED]
    daily = pd.read_parquet(Path(folder) / "daily.parquet", columns=columns)
    return [_slide(results, daily, group) for group in style.groups(results.policies, ROWS)]


def _slide(results: Results, daily: pd.DataFrame, group: Sequence[str]) -> Slide:
    runs = results.runs[results.runs["policy"].isin(list(group))]
    title = _title(runs)
    data, lengths = _months(results, daily, group)
    level = _level(results, daily, group)
    return Slide(
        name="steady",
        title=title,
        say=f"{title}. {level}",
        caveat="The end of the warm-up is found in each run by a rule that looks at these three "
        "series (MSER-5 with a check for drift). A run that is not steady is lived on, once, for "
        "as long again; if it is not steady then, it counts with the last half of its days. A "
        "colony that died out counts with no harvest from then on.",
        alt=f"One row a policy, three series against the day of the run, a line for each run in "
        f"{style.either(lengths)}-day means. {_counts(results, group)} {level}",
        data=data,
        paint=lambda: _figure(results, data, title, group, lengths),
        runs=runs_in_words(results, group),
    )


def _title(runs: pd.DataFrame) -> str:
    settled = runs[runs["status"] == "settled"]
    n = len(runs)
    died, never = ((runs["status"] == word).sum() for word in ("died_out", "unsettled"))
    gone = [f"{died} died out"] * bool(died) + [f"{never} never settled"] * bool(never)
    if settled.empty:
        return f"No run of {n} settled: {' and '.join(gone)}"
    first, last = int(settled["warm_up_days"].min()), int(settled["warm_up_days"].max())
    when = f"after {first} days" if first == last else f"after {first} to {last} days"
    if not gone:
        which = "Both" if n == 2 else f"All {n}"
        return f"{which} runs settled, {when}, which are left out"
    return f"{len(settled)} of {n} runs settled, {when}; {' and '.join(gone)}"


def _months(
    results: Results, daily: pd.DataFrame, group: Sequence[str]
) -> tuple[pd.DataFrame, list[int]]:
    """Means by months of every run, and whether the month is among the days used."""
    runs = results.runs.set_index(["policy", "seed"])
    tables, lengths = [], set()
    for policy in group:
        period = handling_period(results.handling(policy))
        table, length = months(daily, policy, period, MONITORED)
        lengths.add(length)
        keys = pd.MultiIndex.from_product([[policy], table["seed"]])
        table["policy"] = policy
        table["status"] = runs["status"].loc[keys].to_numpy() if len(table) else []
        table["warm_up_days"] = runs["warm_up_days"].loc[keys].to_numpy() if len(table) else []
        start = table["day"] - length / 2
        table["used"] = start >= table["warm_up_days"]
        tables.append(table)
    columns = ["policy", "seed", "status", "warm_up_days", "day", "used", *MONITORED]
    return pd.concat(tables, ignore_index=True)[columns], sorted(lengths)


def _level(results: Results, daily: pd.DataFrame, group: Sequence[str]) -> str:
    """How far the second half of the days used differs from the first, over settled runs."""
    parts = []
    for policy in group:
        changes = changes_in_window(results, daily, policy)
        if not len(changes):
            continue
        low, high = mean_interval(changes).limits
        row = pd.Series({"low": low, "high": high, "level": 0.95})
        interval = f", {dashed(limits(row))}" if np.isfinite(low) else ""
        runs = f"{len(changes)} run{'' if len(changes) == 1 else 's'}"
        parts.append(f"{signed(changes.mean())} % under “{policy}” ({runs}{interval})")
    if not parts:
        return "There are no days used to look at."
    return (
        "In the days used, the mean mass of larvae in the second half differs from that in the "
        f"first by {'; '.join(parts)}."
    )


def changes_in_window(results: Results, daily: pd.DataFrame, policy: str) -> np.ndarray:
    """Second minus first half of the days used, mass of larvae (% of their mean), by run.

    Halves are whole handling periods; days left over at the start are not looked at.
    """
    runs, found = results.runs, []
    period = handling_period(results.handling(policy))
    here = runs[(runs["policy"] == policy) & (runs["status"] == "settled")]
    series = daily[daily["policy"] == policy]
    for run in here.itertuples():
        used = series[series["seed"] == run.seed]["larvae_g"].to_numpy()[int(run.warm_up_days) :]
        half = len(used) // (2 * period) * period
        if half and used.mean() > 0:
            first, second = used[-2 * half : -half], used[-half:]
            found.append(100 * (second.mean() - first.mean()) / used.mean())
    return np.array(found)


def _counts(results: Results, group: Sequence[str]) -> str:
    parts = []
    for policy in group:
        row = results.of(policy)
        parts.append(
            f"Under “{policy}” {row['n_settled']} of {row['n_runs']} runs settled, "
            f"{row['n_unsettled']} did not, {row['n_died_out']} died out."
        )
    return " ".join(parts)


def _figure(
    results: Results, data: pd.DataFrame, title: str, group: Sequence[str], lengths: list[int]
) -> Figure:
    weights = {column: scaled(data[column], unit) for column, (_, unit) in _HEADS.items()}
    data = data.assign(**weights)
    figure = style.new_figure()
    top = style.headed(figure, title)
    footer(figure, results, runs_in_words(results, group))
    _legend(figure, top, lengths)
    left, low, gap, between = 1.1, 1.15, 0.75, 0.5
    width = (style.WIDTH - 0.4 - left + gap) / len(MONITORED) - gap
    height = (top - 1.1 - low + between) / len(group) - between
    for j, column in enumerate(MONITORED):
        head, unit = _HEADS[column]
        highest = float(data[column].max()) if len(data) else 1.0
        for i, policy in enumerate(group):
            place = low + (len(group) - 1 - i) * (height + between)
            axes = style.axes(figure, left + j * (width + gap), place, width, height)
            axes.set(xlim=(0, int(data["day"].max())), ylim=(0, 1.1 * highest or 1))
            axes.locator_params(axis="y", nbins=3)
            axes.locator_params(axis="x", nbins=4)
            axes.tick_params(labelbottom=i == len(group) - 1)
            if i == 0:
                axes.annotate(head.format(symbol(unit)), (0, 1), (0, 32), weight="bold",
                              xycoords="axes fraction", textcoords="offset points")  # fmt: skip
            if i == len(group) - 1:
                axes.set_xlabel("Day of the run")
            if j == 0:
                _name(axes, results, policy, width, height)
            _lines(axes, data[data["policy"] == policy], column, results.index(policy))
    return figure


def _name(axes: Axes, results: Results, policy: str, width: float, height: float) -> None:
    row, place = results.of(policy), results.index(policy)
    text = f"{shortened(policy, 60)}: {row['n_settled']} of {row['n_runs']} settled"
    axes.annotate(text, (0, 1), (20, 7), color=style.INK, xycoords="axes fraction",
                  textcoords="offset points")  # fmt: skip
    axes.plot(
        7 / 72 / width,
        1 + 13 / 72 / height,
        style.marker(place),
        color=style.POLICY,
        markersize=11,
        transform=axes.transAxes,
        clip_on=False,
    )


def _lines(axes: Axes, table: pd.DataFrame, column: str, place: int) -> None:
    for _, run in table.groupby("seed"):
        status, warm_up = run["status"].iloc[0], float(run["warm_up_days"].iloc[0])
        day, value = run["day"].to_numpy(), run[column].to_numpy()
        if status != "settled":
            axes.plot(day, value, linestyle=(0, (4, 2)), color=style.QUIET, linewidth=1.2, zorder=2)
            if status == "died_out":
                axes.plot(day[-1], value[-1], "x", color=style.INK, markersize=8,
                          markeredgewidth=2, zorder=4)  # fmt: skip
            continue
        # The line changes colour on the very day, between two months.
        at = float(np.interp(warm_up, day, value))
        before, after = day < warm_up, day > warm_up
        axes.plot([*day[before], warm_up], [*value[before], at], color=style.FAINT, linewidth=1,
                  zorder=1)  # fmt: skip
        axes.plot([warm_up, *day[after]], [at, *value[after]], color=style.POLICY,
                  linewidth=1.3, alpha=0.6, zorder=2)  # fmt: skip
        axes.plot(warm_up, at, "o", color=style.INK, markersize=4.5, zorder=3)


def _legend(figure: Figure, top: float, lengths: list[int]) -> None:
    dash = (0, (4, 2))
    handles = [
        Line2D([], [], color=style.FAINT, linewidth=2, label="warm-up"),
        Line2D([], [], color=style.INK, marker="o", markersize=6, linestyle="", label="its end"),
        Line2D([], [], color=style.POLICY, linewidth=2.5, label="days used"),
        Line2D([], [], color=style.QUIET, linestyle=dash, linewidth=1.5, label="never settled"),
        Line2D([], [], color=style.INK, marker="x", markersize=8, markeredgewidth=2,
               linestyle=dash, linewidth=1.5, label="died out"),
        Line2D([], [], linestyle="", label=f"a line a run, {style.either(lengths)}-day means"),
    ]  # fmt: skip
    figure.legend(
        handles=handles,
        loc="upper left",
        ncols=len(handles),
        bbox_to_anchor=(0.32 / style.WIDTH, (top - 0.06) / style.HEIGHT),
        borderpad=0,
        borderaxespad=0,
        handlelength=1.4,
        handletextpad=0.4,
        columnspacing=0.8,
        labelcolor=style.QUIET,
    )
