"""The CSV file of a temperature logger: header, times and numbers; nothing judged yet."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from colony_sim.biology.calendar import EARLIEST, LATEST, is_usual
from colony_sim.errors import InputError

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
    text : sequence of str
        The cell.
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
    text: Sequence[str]
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
        text = Path(path).read_text(encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)
    rows = csv.reader(text.splitlines(keepends=True), delimiter=mark, strict=True)
    times: list[tuple[int, str]] = []
    temperatures: list[str] = []
    try:
        header = [cell.strip().lower() for cell in next(rows, [])]
        time, temperature = _columns(header, where)
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            if len(row) != len(header):
                raise InputError(
                    where, f"row {rows.line_num}", mark.join(row), f"{len(header)} cells, as above"
                )
            times.append((rows.line_num, row[time].strip()))
            cell = row[temperature].strip()
            temperatures.append(cell.replace(",", ".") if mark == ";" else cell)
    except csv.Error as error:
        raise _unreadable(path, error) from None
    if not times:
        raise InputError(where, "rows", 0, "readings below the header")
    column = header[temperature]
    unit = _unit(column, unit, where)
    others = tuple(name for i, name in enumerate(header) if i not in (time, temperature))
    return _readings(times, temperatures, unit, column, others, where)


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


def _readings(
    times: list[tuple[int, str]],
    temperatures: list[str],
    unit: str,
    column: str,
    others: tuple[str, ...],
    where: str,
) -> Readings:
    line = np.array([number for number, _ in times])
    stamps = [_stamp(text, number, where) for number, text in times]
    zones = {stamp.tzinfo is None for stamp in stamps}
    if len(zones) > 1:
        odd = next(
            i for i, s in enumerate(stamps) if (s.tzinfo is None) != (stamps[0].tzinfo is None)
        )
        raise InputError(
            where, f"row {line[odd]}, time", times[odd][1],
            "an offset from UTC (such as +01:00) after every time, or after none",
        )  # fmt: skip
    day = np.array([stamp.toordinal() for stamp in stamps])
    zero = stamps[0]
    hours = np.array([(stamp - zero).total_seconds() / 3600 for stamp in stamps])
    degrees = np.array([_degrees(text) for text in temperatures])
    celsius = (degrees - 32.0) / 1.8 if unit == "F" else degrees
    return Readings(line, day, hours, celsius, temperatures, unit, column, others)


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
