"""Daily mean temperature of the room: constant, a yearly wave, a series or a logger's CSV."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.biology.calendar import DATES, covers_year, going_on, is_usual, on_calendar
from colony_sim.biology.logger import FILLS, read_logger
from colony_sim.biology.logger_file import HIGHEST_C, LOWEST_C
from colony_sim.errors import InputError
from colony_sim.inputs import MOST_BYTES, text_lines

DAYS_PER_YEAR = 365.0
_ALLOWED_C = f"a temperature from {LOWEST_C:g} to {HIGHEST_C:g} (C)"
_FIELDS = {
    "constant": ("temperature_c",),
    "yearly_wave": ("mean_c", "amplitude_k", "coldest_day"),
    "series": ("csv",),
    "logger": ("csv",),
}
_OPTIONAL = {"logger": ("unit", "fill", "longest_gap_days", "start", "place")}
#: Where a logger may have stood.
PLACES = ("room", "bin")


@dataclass(frozen=True)
class Climate:
    """Room temperature by day, fully resolved so that a manifest can repeat it.

    Attributes
    ----------
    kind : str
        "constant", "yearly_wave", "series" or "logger".
    values : tuple of float
        (C,), (mean C, amplitude K, coldest day of the year) or the daily series (C).
    first, start : str
        ISO dates of the first value and of day 1 of a run; empty unless the kind is "logger".
    notes : tuple of str
        What was read, left out and filled, in sentences; they change no temperature.
    place : str
        "room", or "bin" where the temperatures hold the heat of the insects already, so that a
        run adds none.
    """

    kind: str
    values: tuple[float, ...]
    first: str = ""
    start: str = ""
    notes: tuple[str, ...] = ()
    place: str = "room"

    def daily(self, days: int) -> np.ndarray:
        """Temperature of days 1 to `days` (float64 array of shape (days,), degrees C).

        A series shorter than `days` starts again from its first day, a log that covers a year
        goes on by the day of the year (see ``calendar.on_calendar``).
        """
        if self.kind == "logger":
            first, start = date.fromisoformat(self.first), date.fromisoformat(self.start)
            return on_calendar(first, self.values, start, days)
        day = np.arange(1, days + 1)
        if self.kind == "constant":
            return np.full(days, self.values[0])
        if self.kind == "yearly_wave":
            mean, amplitude, coldest = self.values
            return mean - amplitude * np.cos(2 * np.pi * (day - coldest) / DAYS_PER_YEAR)
        series = np.asarray(self.values)
        return series[(day - 1) % len(series)]

    @property
    def period_days(self) -> int:
        """Days after which the temperatures repeat (1 when constant)."""
        if self.kind == "constant":
            return 1
        if self.kind == "yearly_wave":
            return 1 if self.values[1] == 0 else int(DAYS_PER_YEAR)
        if self.kind == "logger":
            if len(set(self.values)) == 1:
                return 1
            if covers_year(date.fromisoformat(self.first), len(self.values)):
                return int(DAYS_PER_YEAR)
        return len(self.values)

    def as_dict(self) -> dict[str, Any]:
        """Plain data from which `Climate.from_dict` makes the same climate."""
        data = {"kind": self.kind, "values": list(self.values)}
        if self.kind == "logger":
            data |= {"first": self.first, "start": self.start, "place": self.place}
            data["notes"] = list(self.notes)
        return data

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Climate:
        """The climate that `as_dict` described."""
        values = tuple(float(v) for v in data["values"])
        if data["kind"] != "logger":
            return cls(data["kind"], values)
        first, start = (date.fromisoformat(data[key]).isoformat() for key in ("first", "start"))
        notes = tuple(str(note) for note in data["notes"])
        return cls("logger", values, first, start, notes, data.get("place", PLACES[0]))


def constant(temperature_c: float) -> Climate:
    """A room that stays at one temperature (C)."""
    return climate_from_table({"kind": "constant", "temperature_c": temperature_c}, "climate")


def climate_from_table(table: Mapping[str, Any], where: str, base: Path | None = None) -> Climate:
    """Climate described by the [climate] table of an experiment file.

    Parameters
    ----------
    table : mapping
        `kind` and its fields: constant {temperature_c}; yearly_wave {mean_c, amplitude_k,
        coldest_day}; series {csv}, a file with the columns day,temperature_c; logger {csv} and,
        as wished, {unit, fill, longest_gap_days, start, place} (see ``logger.read_logger``; start
        is the date of day 1, default: the first whole day of the log; place is "room" or "bin").
    where : str
        Name of the file, for messages.
    base : Path, optional
        Folder against which a relative `csv` is read.

    Raises
    ------
    InputError
    """
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in _FIELDS:
        raise InputError(where, "climate.kind", kind, "one of " + ", ".join(_FIELDS))
    fields = _FIELDS[kind]
    known = (*fields, *_OPTIONAL.get(kind, ()))
    for key in table:
        if key != "kind" and key not in known:
            raise InputError(
                where, "unknown key", f"climate.{key}", f"with kind {kind}: " + ", ".join(known)
            )
    for field in fields:
        if field not in table:
            raise InputError(where, f"climate.{field}", None, f"needed with kind {kind}")
    if kind == "constant":
        return Climate(kind, (_temperature(table["temperature_c"], where, "temperature_c"),))
    if kind == "yearly_wave":
        mean = _temperature(table["mean_c"], where, "mean_c")
        amplitude = _number(table["amplitude_k"], where, "amplitude_k", 0.0, 40.0, "K")
        coldest = _number(table["coldest_day"], where, "coldest_day", 1.0, 365.0, "day")
        for edge in (mean - amplitude, mean + amplitude):
            if not LOWEST_C <= edge <= HIGHEST_C:
                raise InputError(
                    where,
                    "climate.amplitude_k",
                    amplitude,
                    f"mean and amplitude within {LOWEST_C:g} to {HIGHEST_C:g} (C)",
                )
        return Climate(kind, (mean, amplitude, coldest))
    name = table["csv"]
    if not isinstance(name, str) or not name:
        raise InputError(where, "climate.csv", name, "the name of a CSV file")
    path = Path(name) if base is None else Path(base) / name
    if kind == "logger":
        return _logger(table, path, where)
    return Climate(kind, _read_series(path))


def _logger(table: Mapping[str, Any], path: Path, where: str) -> Climate:
    unit, fill = table.get("unit"), table.get("fill", "refuse")
    if unit not in (None, "C", "F"):
        raise InputError(where, "climate.unit", unit, '"C" or "F"')
    if fill not in FILLS:
        allowed = " or ".join(f'"{word}"' for word in FILLS)
        raise InputError(where, "climate.fill", fill, allowed)
    longest = table.get("longest_gap_days")
    whole = isinstance(longest, int) and not isinstance(longest, bool)
    if longest is not None and not (whole and 1 <= longest <= 366):
        allowed = "a whole number from 1 to 366 (d)"
        raise InputError(where, "climate.longest_gap_days", longest, allowed)
    place = table.get("place", PLACES[0])
    if place not in PLACES:
        allowed = " or ".join(f'"{word}"' for word in PLACES)
        raise InputError(where, "climate.place", place, allowed)
    asked = _date(table["start"], where) if "start" in table else None
    series = read_logger(path, unit, fill, longest)
    start = asked or series.first
    if not series.first <= start <= series.last and not covers_year(
        series.first, len(series.values)
    ):
        allowed = f"a day of the log, {series.first} to {series.last}, as it lacks part of a year"
        raise InputError(where, "climate.start", start.isoformat(), allowed)
    notes = (*series.notes, going_on(series.first, len(series.values), start))
    if place == "bin":
        notes = (*notes, "The logger stood in a bin: the heat of the insects is in its readings.")
    first = series.first.isoformat()
    return Climate("logger", series.values, first, start.isoformat(), notes, place)


def _date(value: Any, where: str) -> date:
    try:
        dated = isinstance(value, date) and not isinstance(value, datetime)
        found = value if dated else date.fromisoformat(value)
    except (TypeError, ValueError):
        found = None
    if found is None or not is_usual(found):
        raise InputError(where, "climate.start", str(value), DATES)
    return found


def _number(value: Any, where: str, field: str, least: float, most: float, unit: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(where, f"climate.{field}", value, f"a number ({unit})")
    if not least <= value <= most:
        raise InputError(
            where, f"climate.{field}", value, f"a number from {least:g} to {most:g} ({unit})"
        )
    return float(value)


def _temperature(value: Any, where: str, field: str) -> float:
    return _number(value, where, field, LOWEST_C, HIGHEST_C, "C")


def _read_series(path: Path) -> tuple[float, ...]:
    where = str(path)
    try:
        lines = text_lines(path, MOST_BYTES, "one row a day", "climate.csv")
        rows = list(csv.reader(lines, strict=True))
    except (ValueError, csv.Error) as error:
        raise InputError(where, "climate.csv", path.name, f"a readable CSV ({error})") from None
    if not rows:
        raise InputError(where, "header", "", "day,temperature_c (the file is empty)")
    if [cell.strip() for cell in rows[0]] != ["day", "temperature_c"]:
        raise InputError(where, "header", ",".join(rows[0]), "day,temperature_c")
    values: list[float] = []
    for number, row in enumerate(rows[1:], start=2):
        expected = len(values) + 1
        if len(row) != 2:
            raise InputError(where, f"row {number}", ",".join(row), "two cells: day,temperature_c")
        if row[0].strip() != str(expected):
            raise InputError(where, f"row {number}, day", row[0], f"{expected}, no day left out")
        try:
            value = math.nan if "_" in row[1] else float(row[1])
        except ValueError:
            value = math.nan
        if not (LOWEST_C <= value <= HIGHEST_C):
            raise InputError(where, f"row {number}, temperature_c", row[1], _ALLOWED_C)
        values.append(value)
    if not values:
        raise InputError(where, "rows", 0, "at least one day")
    return tuple(values)
