"""Options of the page's charts, for ECharts: this run beside the held one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from colony_sim.explore.session import MONTH, Lived
from colony_sim.figures.style import INK, PALETTE, SHADE

#: Points of a line at most: more are not seen, but sent and drawn.
POINTS = 240
FONT = "DejaVu Sans, Verdana, sans-serif"
TITLES = {"eggs": "Eggs", "larvae": "Larvae", "pupae": "Pupae", "adults": "Adults"}


@dataclass(frozen=True)
class Ink:
    """Colours on a light or a dark ground.

    Attributes
    ----------
    text, grid : str
    this, held : str
        The two runs.
    """

    text: str
    grid: str
    this: str
    held: str


LIGHT = Ink(INK, SHADE, PALETTE[0], PALETTE[1])
DARK = Ink("#e6e6e6", "#3c4046", "#7db4ee", "#f2914a")


def days_shown(this: Lived, held: Lived | None) -> int:
    """End of the time axis (d)."""
    last = max(this.day, held.day if held else 0, 1)
    return min(max(100, -(-last // 50) * 50), this.scenario.days)


def _line(run: Lived, column: str) -> list[tuple[int, int]]:
    rows = run.columns[column]
    every = -(-max(len(rows), 1) // POINTS)
    points = [(day + 1, rows[day]) for day in range(0, len(rows), every)]
    if rows and points[-1][0] != len(rows):
        points.append((len(rows), rows[-1]))
    return points


def stage(name: str, this: Lived, held: Lived | None, ink: Ink) -> dict[str, Any]:
    """Number of insects of a stage by day."""
    series = [_run_line("This run", _line(this, name), ink.this, "solid")]
    if held is not None:
        series.insert(0, _run_line("Held run", _line(held, name), ink.held, "dashed"))
    return _frame(ink, series, days_shown(this, held))


def harvest(this: Lived, held: Lived | None, ink: Ink) -> dict[str, Any]:
    """Harvest (g/day) of each whole stretch of `MONTH` days, at the middle of the stretch."""
    series = [_run_line("This run", _months(this), ink.this, "solid", symbol="circle")]
    if held is not None:
        held_line = _run_line("Held run", _months(held), ink.held, "dashed", symbol="rect")
        series.insert(0, held_line)
    return _frame(ink, series, days_shown(this, held))


def _months(run: Lived) -> list[tuple[float, float]]:
    return [(MONTH * (k + 0.5), round(grams, 3)) for k, grams in enumerate(run.months())]


def _run_line(
    name: str, data: Sequence[tuple[float, float]], colour: str, dash: str, symbol: str = "none"
) -> dict[str, Any]:
    return {
        "name": name,
        "type": "line",
        "data": data,
        "symbol": symbol,
        "symbolSize": 6,
        "lineStyle": {"color": colour, "width": 2, "type": dash},
        "itemStyle": {"color": colour},
        "silent": True,
    }


def _frame(ink: Ink, series: list[dict[str, Any]], days: int) -> dict[str, Any]:
    axis = {"color": ink.text, "fontSize": 13, "fontFamily": FONT}
    return {
        "animation": False,
        "grid": {"left": 8, "right": 30, "top": 14, "bottom": 28, "containLabel": True},
        "xAxis": {
            "type": "value",
            "min": 0,
            "max": days,
            "splitNumber": 3,
            "name": "day",
            "nameLocation": "middle",
            "nameGap": 24,
            "nameTextStyle": axis,
            "axisLabel": {**axis, "hideOverlap": True},
            "axisLine": {"lineStyle": {"color": ink.text}},
            "splitLine": {"show": False},
        },
        "yAxis": {
            "type": "value",
            "min": 0,
            "splitNumber": 3,
            "axisLabel": axis,
            "splitLine": {"lineStyle": {"color": ink.grid}},
        },
        "series": series,
    }
