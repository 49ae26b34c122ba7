"""The CSV file of a temperature logger: header, times and numbers; nothing judged yet."""

from __future__ import annotations

import csv
import math
import re
from array import array
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from pathlib import Path

import numpy as np

from colony_sim.biology.calendar import EARLIEST, LATEST, is_usual
from colony_sim.errors import InputError
from colony_sim.inputs import text_lines

LOWEST_C, HIGHEST_C = -30.0, 50.0
"""A room outside this range is a slip of the pen or another unit (degrees C)."""
MOST_BYTES, MOST_ROWS = 40_000_000, 600_000
"""Of a file: a reading a minute for a year, or every five minutes for five."""
_FEWER = "let the logger's program write a reading every ten minutes or every hour"
_TIMES = ("time", "date_time", "datetime", "timestamp")
_TEMPERATURES = {"temperature_c": "C", "temperature_f": "F", "temperature": None}
_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:[.,]\d{1,6})?)? ?(?:Z|[+-]\d{2}:?\d{2})?)?"
)
_TURNED = re.compile(r"\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b.*")


@dataclass(frozen=True)
class Readings:
    """The readings of a log, row by row.

    Attributes
    ----------
    line : ndarray
        Line of the file.
    day : ndarray
        Day of the clock as written (ordinal).
    hours : ndarray
        Hours since the first reading.
    celsius : ndarray
        Degrees C; NaN where the cell holds no number.
    odd : mapping of int to str
        By place, the cells that are no temperature of a room.
    unit : str
        "C" or "F", the unit in the file.
    column : str
        Name of the column with the temperatures.
    others : tuple of str
        Columns not read.
    """

    line: np.ndarray
    day: np.ndarray
    hours: np.ndarray
    celsius: np.ndarray
    odd: Mapping[int, str]
    unit: str
    column: str
    others: tuple[str, ...]


def read_readings(path: Path, unit: str | None) -> Readings:
    """Read a file; `unit` is "C", "F" or None for that of the column's name, else C.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or has a time that is none.
    """
    where = str(path)
    try:
        lines = text_lines(path, MOST_BYTES, _FEWER, "climate.csv")
        head = lines.readline()
        mark = max(",;\t", key=head.count)
        # Row by row: what is kept of a reading is a few numbers.
        rows = csv.reader(chain([head], lines), delimiter=mark, strict=True)
        header = [cell.strip().lower() for cell in next(rows, [])]
        time, temperature = _columns(header, where)
        found = _Found(_unit(header[temperature], unit, where), where)
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            if len(row) != len(header):
                raise InputError(
                    where, f"row {rows.line_num}", mark.join(row), f"{len(header)} cells, as above"
                )
            if len(found.line) == MOST_ROWS:
                allowed = f"at most {MOST_ROWS:,}; {_FEWER}"
                raise InputError(where, "rows", f"more than {MOST_ROWS:,}", allowed)
            cell = row[temperature].strip()
            found.add(
                rows.line_num, row[time].strip(), cell.replace(",", ".") if mark == ";" else cell
            )
    except (ValueError, csv.Error) as error:
        raise _unreadable(path, error) from None
    if not found.line:
        raise InputError(where, "rows", 0, "readings below the header")
    others = tuple(name for i, name in enumerate(header) if i not in (time, temperature))
    return Readings(
        np.array(found.line), np.array(found.day), np.array(found.hours), np.array(found.celsius),
        found.odd, found.unit, header[temperature], others,
    )  # fmt: skip


def _unreadable(path: Path, error: Exception) -> InputError:
    return InputError(str(path), "climate.csv", Path(path).name, f"a readable CSV ({error})")


def _columns(header: list[str], where: str) -> tuple[int, int]:
    allowed = "a header row with the columns time and temperature_c or temperature_f"
    found = []
    for names in (_TIMES, tuple(_TEMPERATURES)):
        here = [name for name in header if name in names]
        if len(here) != 1:
            raise InputError(where, "header", ",".join(header), allowed)
        found.append(header.index(here[0]))
    return found[0], found[1]


def _unit(column: str, unit: str | None, where: str) -> str:
    own = _TEMPERATURES[column]
    if own is not None and unit is not None and unit != own:
        raise InputError(where, "climate.unit", unit, f'"{own}", as the column {column} says')
    return own or unit or "C"


class _Found:
    """Readings as they are read, in numbers."""

    def __init__(self, unit: str, where: str) -> None:
        self.unit, self.where = unit, where
        self.line, self.day = array("q"), array("q")
        self.hours, self.celsius = array("d"), array("d")
        self.odd: dict[int, str] = {}
        self._zero: datetime | None = None

    def add(self, number: int, time: str, temperature: str) -> None:
        """Take a reading of a line."""
        stamp = _stamp(time, number, self.where)
        if self._zero is None:
            self._zero = stamp
        if (stamp.tzinfo is None) != (self._zero.tzinfo is None):
            raise InputError(
                self.where, f"row {number}, time", time,
                "an offset from UTC (such as +01:00) after every time, or after none",
            )  # fmt: skip
        degrees = _degrees(temperature)
        celsius = (degrees - 32.0) / 1.8 if self.unit == "F" else degrees
        if not LOWEST_C <= celsius <= HIGHEST_C:
            self.odd[len(self.line)] = temperature
        self.line.append(number)
        self.day.append(stamp.toordinal())
        self.hours.append((stamp - self._zero).total_seconds() / 3600)
        self.celsius.append(celsius)


def _stamp(text: str, number: int, where: str) -> datetime:
    example = "ISO 8601, such as 2031-03-01 14:30 or 2031-03-01T14:30+01:00"
    if _TURNED.fullmatch(text):
        allowed = f"{example}; day and month can be told apart in no other order"
        raise InputError(where, f"row {number}, time", text, allowed)
    if not _ISO.fullmatch(text):
        raise InputError(where, f"row {number}, time", text, example)
    try:
        plain = text.replace(" +", "+").replace(" -", "-").replace(" Z", "Z")
        found = datetime.fromisoformat(plain)
        if not is_usual(found.date()):
            raise ValueError(f"from {EARLIEST} to {LATEST}")
        return found
    except ValueError as error:
        raise InputError(where, f"row {number}, time", text, f"{example} ({error})") from None


def _degrees(text: str) -> float:
    if "_" in text:
        return math.nan
    try:
        return float(text)
    except ValueError:
        return math.nan
