"""Daily mean temperatures from the CSV of a temperature logger.

The file has one header row with the columns ``time`` and ``temperature_c`` (or ``temperature_f``,
or ``temperature``, whose unit is then the one asked for); other columns are not read. Cells are
separated by commas, semicolons (then with a decimal comma, if any) or tabs. Times are ISO 8601,
``2031-03-01 14:30`` or ``2031-03-01T14:30:00+01:00``, in rising order, at any interval; either
all have an offset from UTC or none has.

A day is a calendar day of the clock as written. Its temperature is the mean of its readings. It
counts if it has at least `ENOUGH` of the readings that the usual interval of the log gives.
Incomplete days at either end are left out; an incomplete day in between is a gap.

Whatever is wrong is refused with the rows at fault. Asked to fill, gaps, impossible readings and
impossible jumps are left out and the days that then lack readings are filled:

* ``interpolate``: a straight line between the days on either side.
* ``season``: a yearly wave fitted by least squares to the days that count, moved by the straight
  line between what the days on either side differ from it; it needs days that count in every
  month of the year.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from colony_sim.biology.logger_file import HIGHEST_C, LOWEST_C, Readings, read_readings
from colony_sim.errors import InputError

ENOUGH = 0.75
"""Share of the usual readings that a day needs to count."""
JUMP_K_PER_HOUR = 15.0
"""More than this between two readings, or within an hour, is no room but a fault or a logger that
was moved (assumption). Readings more than a day apart are not held against each other."""
TOO_WARM_C, TOO_COLD_C = 40.0, 0.0
"""A median outside of this is no room with living mealworms: the unit is another."""
FILLS = ("refuse", "interpolate", "season")
LONGEST_GAP = {"interpolate": 7, "season": 60}
"""Days of a gap that a rule fills at most, unless asked otherwise."""
YEAR = 365.0

_NAMED = 3


@dataclass(frozen=True)
class DailySeries:
    """Daily means of a log, no day missing.

    Attributes
    ----------
    first : date
        Day of the first value.
    values : tuple of float
        Degrees C.
    notes : tuple of str
        What was read, left out and filled, in sentences.
    """

    first: date
    values: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def last(self) -> date:
        """Day of the last value."""
        return self.first + timedelta(days=len(self.values) - 1)


def read_logger(
    path: Path,
    unit: str | None = None,
    fill: str = "refuse",
    longest_gap_days: int | None = None,
) -> DailySeries:
    """Read the daily means of a log.

    Parameters
    ----------
    path : Path
        CSV as described above.
    unit : str, optional
        "C" or "F"; default: that of the column's name, else C.
    fill : str
        One of `FILLS`.
    longest_gap_days : int, optional
        Gaps of more days are refused whatever the rule; default: `LONGEST_GAP` of the rule.

    Raises
    ------
    InputError
        If the file cannot be read or anything in it is wrong and not to be filled.
    """
    where = str(path)
    readings = read_readings(path, unit)
    _check_unit(readings, where)
    _check_order(readings, where)
    notes = [f"{len(readings.line)} readings of {Path(path).name} in {readings.unit}"]
    if readings.others:
        notes.append(f"Columns not read: {', '.join(readings.others)}")
    bad = _impossible(readings, fill, where, notes)
    first, values, whole = _daily(readings, bad, where, notes)
    values = _filled(first, values, whole, fill, longest_gap_days, where, notes)
    return DailySeries(first, tuple(float(v) for v in values), tuple(f"{n}." for n in notes))


# ---- What can be wrong with readings


def _check_unit(readings: Readings, where: str) -> None:
    known = readings.celsius[np.isfinite(readings.celsius)]
    if not len(known):
        text = readings.odd[0]
        raise InputError(where, f"row {readings.line[0]}, temperature", text, "a number")
    median = float(np.median(known))
    if readings.unit == "C" and median > TOO_WARM_C:
        raise InputError(
            where, "median of the readings", round(median, 1),
            f"at most {TOO_WARM_C:g} C where mealworms live; if the log is in Fahrenheit "
            f"({(median - 32) / 1.8:.3g} C), {_in_unit(readings, 'F')}",
        )  # fmt: skip
    if readings.unit == "F" and median < TOO_COLD_C:
        raise InputError(
            where, "median of the readings", round(1.8 * median + 32, 1),
            f"at least {1.8 * TOO_COLD_C + 32:g} F where mealworms live; if the log is in Celsius, "
            f"{_in_unit(readings, 'C')}",
        )  # fmt: skip


def _in_unit(readings: Readings, unit: str) -> str:
    name = f"temperature_{unit.lower()}"
    if readings.column == "temperature":
        return f'set unit = "{unit}" in [climate]'
    return f"name the column {name} in place of {readings.column}"


def _check_order(readings: Readings, where: str) -> None:
    step = np.diff(readings.hours)
    wrong = np.flatnonzero(step <= 0)
    if not len(wrong):
        return
    same = int((step == 0).sum())
    places = ", ".join(f"row {readings.line[i + 1]}" for i in wrong[:_NAMED])
    more = f" and {len(wrong) - _NAMED} more" if len(wrong) > _NAMED else ""
    what = f"{same} with the time of the row above, {len(wrong) - same} with an earlier one"
    raise InputError(
        where, "times", what,
        f"times that rise from row to row ({places}{more}): sort the rows by time and take out "
        "what is twice; if the clock was set back in autumn, write the offset (+01:00) after each "
        "time",
    )  # fmt: skip


def _impossible(readings: Readings, fill: str, where: str, notes: list[str]) -> np.ndarray:
    """Readings that are none or out of any room's range, and either side of impossible jumps."""
    celsius = readings.celsius
    bad = ~((celsius >= LOWEST_C) & (celsius <= HIGHEST_C))
    if bad.any():
        places = [
            f"row {readings.line[i]}: {readings.odd[i]!r}" for i in np.flatnonzero(bad).tolist()
        ]
        told = f"{len(places)} readings that are no room's temperature ({_some(places)})"
        if fill == "refuse":
            raise InputError(
                where, "temperature", f"{len(places)} readings",
                f"numbers from {LOWEST_C:g} to {HIGHEST_C:g} C ({_some(places)}); {_remedy()}",
            )  # fmt: skip
        notes.append(f"Left out: {told}")
    kept = np.flatnonzero(~bad)
    step, change = np.diff(readings.hours[kept]), np.diff(celsius[kept])
    jump = (np.abs(change) > JUMP_K_PER_HOUR * np.maximum(step, 1.0)) & (step <= 25.0)
    if jump.any():
        places = [
            f"row {readings.line[kept[i + 1]]}: {celsius[kept[i]]:.3g} to "
            f"{celsius[kept[i + 1]]:.3g} C within {_span(step[i])}"
            for i in np.flatnonzero(jump)
        ]
        if fill == "refuse":
            raise InputError(
                where, "jumps", f"{len(places)} that no room makes",
                f"at most {JUMP_K_PER_HOUR:g} K an hour (an assumption; {_some(places)}): see "
                f"whether the logger was moved or lay in the sun, {_remedy()}",
            )  # fmt: skip
        notes.append(
            f"Left out: the readings on either side of {len(places)} jumps of more than "
            f"{JUMP_K_PER_HOUR:g} K an hour, which no room makes (assumption; {_some(places)})"
        )
        bad[kept[:-1][jump]] = bad[kept[1:][jump]] = True
    return bad


def _daily(
    readings: Readings, bad: np.ndarray, where: str, notes: list[str]
) -> tuple[date, np.ndarray, np.ndarray]:
    """First day, means by day (NaN: none) and which of the days count."""
    step = np.diff(readings.hours)
    usual = float(np.median(step)) if len(step) else 24.0
    wanted = max(1, math.floor(ENOUGH * 24.0 / usual)) if usual < 24.0 else 1
    day, celsius = readings.day[~bad], readings.celsius[~bad]
    start = int(readings.day.min())
    length = int(readings.day.max()) - start + 1
    count = np.bincount(day - start, minlength=length)
    total = np.bincount(day - start, weights=celsius, minlength=length)
    whole = count >= wanted
    if not whole.any():
        raise InputError(
            where, "days", f"{length}, none with {wanted} readings",
            f"one day or more with {wanted} readings, {100 * ENOUGH:g} % of what one reading in "
            f"{_span(usual)} gives",
        )  # fmt: skip
    ends = np.flatnonzero(whole)[[0, -1]]
    cut = [start + int(i) for i in (*range(ends[0]), *range(ends[1] + 1, length)) if count[i]]
    if cut:
        days = ", ".join(str(date.fromordinal(c)) for c in cut[:_NAMED])
        notes.append(f"Left out at the ends, as they are not whole: {days}")
    notes.append(
        f"A day is the mean of its readings and needs {wanted} of them, with one in {_span(usual)}"
        if wanted > 1 else "A day is the mean of its readings"
    )  # fmt: skip
    part = slice(ends[0], ends[1] + 1)
    with np.errstate(invalid="ignore"):
        means = np.where(whole[part], total[part] / np.maximum(count[part], 1), np.nan)
    return date.fromordinal(start + int(ends[0])), means, whole[part]


# ---- Gaps


def _filled(
    first: date,
    values: np.ndarray,
    whole: np.ndarray,
    fill: str,
    longest: int | None,
    where: str,
    notes: list[str],
) -> np.ndarray:
    gaps = _gaps(whole)
    if not gaps:
        return values
    missing = int((~whole).sum())
    what = f"{missing} days without enough readings, in {len(gaps)} gaps"
    if missing == 1:
        what = "1 day without enough readings"
    places = [_gap_words(first, gap) for gap in gaps]
    if fill == "refuse":
        allowed = f"no day missing ({_some(places)}); {_remedy()}"
        raise InputError(where, "gaps", what, allowed)
    longest = LONGEST_GAP[fill] if longest is None else longest
    wide = [gap for gap in gaps if gap[1] - gap[0] > longest]
    if wide:
        shown = _some([_gap_words(first, gap) for gap in wide])
        raise InputError(
            where, "gaps", f"{len(wide)} of more than {longest} days",
            f"gaps of at most {longest} days to be filled by {fill} ({shown}); put in "
            "longest_gap_days = N for longer ones, if you can answer for it",
        )  # fmt: skip
    place = np.arange(len(values))
    base = np.zeros(len(values))
    if fill == "season":
        base = _season(first, values, whole, where)
    left = values[whole] - base[whole]
    result = np.where(whole, values, base + np.interp(place, place[whole], left))
    how = {
        "interpolate": "a straight line between the days on either side",
        "season": "the yearly wave of the other days, moved to meet the days on either side",
    }[fill]
    notes.append(f"{what} ({_some(places)}), filled by {how}")
    return result


def _season(first: date, values: np.ndarray, whole: np.ndarray, where: str) -> np.ndarray:
    """Yearly wave (mean, sine and cosine) fitted by least squares to the days that count."""
    days = [first + timedelta(days=n) for n in range(len(values))]
    months = {day.month for day, counts in zip(days, whole, strict=True) if counts}
    if len(months) < 12:
        lacking = ", ".join(f"{month}" for month in sorted(set(range(1, 13)) - months))
        raise InputError(
            where, "climate.fill", "season",
            f"days in every month of the year (none in month {lacking}); or interpolate",
        )  # fmt: skip
    turn = 2 * np.pi * np.arange(len(values)) / YEAR
    wave = np.column_stack([np.ones(len(values)), np.cos(turn), np.sin(turn)])
    fit, *_ = np.linalg.lstsq(wave[whole], values[whole], rcond=None)
    return wave @ fit


def _gaps(whole: np.ndarray) -> list[tuple[int, int]]:
    """First day of each gap and the day after its last."""
    edge = np.diff(np.concatenate([[1], whole.astype(int), [1]]))
    return list(zip(np.flatnonzero(edge == -1), np.flatnonzero(edge == 1), strict=True))


def _gap_words(first: date, gap: tuple[int, int]) -> str:
    days = int(gap[1] - gap[0])
    return f"{days} day{'' if days == 1 else 's'} from {first + timedelta(days=int(gap[0]))}"


def _some(places: Sequence[str]) -> str:
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return ", ".join(places[:_NAMED]) + more


def _span(hours: float) -> str:
    return f"{60 * hours:.3g} min" if hours < 1 else f"{hours:.3g} h"


def _remedy() -> str:
    return 'or set fill = "interpolate" or "season" in [climate]'
