"""The year of a rack as a band: its weeks' harvest, the moves of its beetles, the room, today."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from colony_sim.biology.climate import Climate
from colony_sim.colony.binlog import COLUMNS, Action
from colony_sim.drawing import palette
from colony_sim.explore.session import Run
from colony_sim.words.units import show, span

YEAR, WEEK = 364, 7
"""Days of the band (whole weeks) and of one bar."""
HEIGHT, FOOT, BARS = 60, 50, 36
_DAY, _ACTION, _ADULTS = (COLUMNS.index(name) for name in ("day", "action", "adults"))


@dataclass(frozen=True)
class Band:
    """A year of a run.

    Attributes
    ----------
    number : int
        Of the year, from 1.
    today : int
        Day of the year, 0 to `YEAR`.
    weeks : tuple of float
        Larvae harvested in each week that was begun.
    before : tuple of float
        The same of the year before; empty in the first.
    moves : tuple of int
        Days of the year on which beetles were moved on.
    low_c, high_c : float
        Coldest and warmest day of the room in all the run (C).
    room : tuple of float
        Temperature of the room (C), the middle of each week of the year.
    """

    number: int
    today: int
    weeks: tuple[float, ...]
    before: tuple[float, ...]
    moves: tuple[int, ...]
    low_c: float
    high_c: float
    room: tuple[float, ...]


def band(run: Run, day: int) -> Band:
    """The year that a day lies in."""
    number = max(0, day - 1) // YEAR
    first = number * YEAR
    larvae = run.columns["harvest_larvae"]
    weeks, before = _weeks(larvae[first:day]), _weeks(larvae[max(0, first - YEAR) : first])
    moves = []
    for row in reversed(run.colony.binlog.rows):
        if row[_DAY] <= first:
            break
        # A move takes beetles out of one bin and puts them into another.
        if row[_ACTION] == Action.BEETLES_IN and row[_ADULTS] and row[_DAY] <= day:
            moves.append(row[_DAY] - first)
    room = _room(run.scenario.climate, run.scenario.days)
    of_weeks = [float(room[min(at, len(room) - 1)]) for at in range(first + 3, first + YEAR, WEEK)]
    return Band(
        number + 1, day - first, weeks, before, tuple(dict.fromkeys(reversed(moves))),
        float(room.min()), float(room.max()), tuple(of_weeks),
    )  # fmt: skip


def _weeks(larvae: list[float]) -> tuple[float, ...]:
    return tuple(sum(larvae[k : k + WEEK]) for k in range(0, len(larvae), WEEK))


@lru_cache(maxsize=8)
def _room(climate: Climate, days: int) -> np.ndarray:
    return climate.daily(max(days, 1))


def band_svg(year: Band, most: float) -> str:
    """The band as SVG, as wide as what it stands in; `most` larvae a week make the highest bar."""
    parts = []
    coming = tuple(enumerate(year.before))[len(year.weeks) :]
    for week, larvae, pale in (
        *((week, larvae, "") for week, larvae in enumerate(year.weeks)),
        *((week, larvae, ' opacity="0.22"') for week, larvae in coming),
    ):
        high = BARS * min(1.0, larvae / most) if most > 0 else 0.0
        parts.append(
            f'<rect x="{week * WEEK + 1}" y="{FOOT - high:.1f}" width="{WEEK - 2}" '
            f'height="{high:.1f}" fill="{palette.STAGES["larvae"]}"{pale}/>'
        )
    span = max(year.high_c - year.low_c, 1e-9)
    flat = year.high_c == year.low_c
    line = " ".join(
        f"{week * WEEK + 3.5:g},{6 if flat else 2 + 8 * (year.high_c - c) / span:.1f}"
        for week, c in enumerate(year.room)
    )
    parts.append(
        f'<polyline points="{line}" fill="none" stroke="{palette.QUIET}" stroke-width="1.5" '
        'stroke-dasharray="5 3" vector-effect="non-scaling-stroke"/>'
    )
    still = 'fill="none" vector-effect="non-scaling-stroke"'
    weeks = "".join(f"M {week} {FOOT} V {FOOT + 3} " for week in range(0, YEAR + 1, WEEK))
    parts.append(
        f'<path d="M 0 {FOOT} H {YEAR} {weeks}" stroke="{palette.FAINT}" stroke-width="1" {still}/>'
    )
    moves = "".join(f"M {day} {FOOT + 1} V {HEIGHT} " for day in year.moves)
    if moves:
        colour = palette.STAGES["adults"]
        parts.append(f'<path d="{moves}" stroke="{colour}" stroke-width="3" {still}/>')
    parts.append(
        f'<path d="M {year.today} 0 V {HEIGHT}" stroke="{palette.INK}" stroke-width="2" {still}/>'
    )
    return (
        f'<svg viewBox="0 0 {YEAR} {HEIGHT}" preserveAspectRatio="none" aria-hidden="true">'
        f"{''.join(parts)}</svg>"
    )


def room_words(year: Band) -> str:
    """The room in a few words."""
    if year.high_c - year.low_c < 0.05:
        return show(year.low_c, "C")
    return span(year.low_c, year.high_c, "C")
