"""A keeper's bin log: a tidy CSV of our own, one row for each thing done, counted or weighed.

Columns: `date, bin, action, stage, count, grams, about, until, note`, parted by commas, semicolons
or tabs. Lines that begin with ``#`` are for people. `read_log` takes a file apart; what does not
fit comes back as faults, each with its row, its column and a remedy, all of them at once.
"""

from __future__ import annotations

import csv
import datetime
import difflib
import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from colony_sim.biology.calendar import DATES, is_usual
from colony_sim.inputs import read_text
from colony_sim.logs import log_cells
from colony_sim.logs.words import (
    ABOUT_ERROR,
    COLUMNS,
    MOST_COUNT,
    MOST_GRAMS,
    NEEDED,
    TRAY,
    Entry,
    Fault,
    LogAction,
    in_order,
)

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
MOST_BYTES, MOST_ROWS = 4_000_000, 100_000
"""Of a log: 27 rows a day for ten years."""
MOST_COLUMNS = 50
_SHORTER = "keep the rows of the last years in a file of their own"
_OTHER_DATE = re.compile(r"(\d{1,4})[./ -](\d{1,2})[./ -](\d{1,4})")


@dataclass(frozen=True)
class Logbook:
    """A log as read.

    Attributes
    ----------
    path : Path
    digest : str
        SHA-256 of the text.
    entries : tuple of Entry
        In the order of dates and, within a date, of `LogAction`.
    faults : tuple of Fault
        What could not be read; such rows are not among the entries.
    notes : tuple of str
        How cells were read of which that is not plain, such as those with a unit.
    """

    path: Path
    digest: str
    entries: tuple[Entry, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()


def read_log(path: str | Path) -> Logbook:
    """Read a log, keeping what can be read and naming all that cannot.

    Raises
    ------
    InputError
        The file cannot be read at all.
    """
    path = Path(path)
    text = read_log_text(path)
    entries, faults, notes = parse(text)
    return Logbook(path, digest_of(text), tuple(in_order(entries)), tuple(faults), tuple(notes))


def read_log_text(path: Path) -> str:
    """The text of a log.

    Raises
    ------
    InputError
        The file cannot be read at all.
    """
    return read_text(path, MOST_BYTES, _SHORTER)


def digest_of(text: str) -> str:
    """SHA-256 of a log's text, whatever ends its lines."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return hashlib.sha256(plain.encode()).hexdigest()


def parse(text: str) -> tuple[list[Entry], list[Fault], list[str]]:
    """Entries of a log's text, its faults, and how cells were read, in the order of rows."""
    rows, parted = _rows(text)
    if not rows:
        remedy = f"the file is empty; first line: {','.join(COLUMNS)}"
        return [], [Fault(1, "header", "", remedy)], []
    (number, head), body = rows[0], rows[1:]
    names = [cell.strip().lower() for cell in head]
    faults = _header_faults(number, names)
    if faults:
        return [], faults, []
    entries: list[Entry] = []
    notes: list[str] = []
    seen: dict[tuple[str, ...], int] = {}
    if len(body) > MOST_ROWS:
        remedy = f"at most {MOST_ROWS:,} rows: {_SHORTER}"
        return [], [Fault(body[MOST_ROWS][0], "row", "", remedy)], []
    for number, row in body:
        cells = [cell.strip() for cell in row]
        if not any(cells):
            continue
        if len(cells) > len(names) and any(cells[len(names) :]):
            remedy = (
                f"{len(names)} cells, one for each column; a comma in a note or number needs "
                'quotes: "a, b"'
            )
            faults.append(Fault(number, "row", ",".join(cells), remedy))
            continue
        key = tuple(cells)
        if key in seen:
            remedy = f"the same as row {seen[key]}: delete one, or tell them apart in the note"
            faults.append(Fault(number, "row", ",".join(c for c in cells if c), remedy))
            continue
        seen[key] = number
        found = _Reader(number, dict(zip(names, cells, strict=False)), parted == ",")
        entry = found.entry()
        faults += found.faults
        notes += found.notes
        if entry is not None and not found.faults:
            entries.append(entry)
    return entries, faults, notes


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Rows with the line they begin on, without lines that begin with #; what parts columns."""
    lines = text.splitlines()

    # Kept as empty lines, so that numbers are those of an editor or a spreadsheet.
    def kept() -> Iterator[str]:
        return ("" if line.lstrip(' "').startswith("#") else line for line in lines)

    parted = log_cells.delimiter(next((line for line in kept() if line.strip()), ""))
    reader, start = csv.reader(kept(), delimiter=parted), 1
    rows: list[tuple[int, list[str]]] = []
    while len(rows) <= MOST_ROWS + 1:
        try:
            row = next(reader, None)
        except csv.Error as error:  # Of a cell longer than the reader takes.
            rows.append((start, [f"({error})"]))
            break
        if row is None:
            break
        if any(cell.strip() for cell in row):
            rows.append((start, row))
        start = reader.line_num + 1
    return rows, parted


def _header_faults(number: int, names: list[str]) -> list[Fault]:
    if len(names) > MOST_COLUMNS:
        remedy = f"at most {MOST_COLUMNS} columns; known: {', '.join(COLUMNS)}"
        return [Fault(number, "header", f"{len(names)} columns", remedy)]
    faults = []
    missing = [name for name in NEEDED if name not in names]
    for name in names:
        if name and name not in COLUMNS:
            near = difflib.get_close_matches(name, missing or COLUMNS, n=1)
            hint = f"rename it to {near[0]}" if near else "delete it or move it into note"
            remedy = f"unknown column: {hint}; known: {', '.join(COLUMNS)}"
            faults.append(Fault(number, "header", name, remedy))
        elif name and names.count(name) > 1:
            faults.append(Fault(number, "header", name, "twice: keep one"))
    faults += [Fault(number, "header", name, f"missing: add the column {name}") for name in missing]
    return faults


class _Reader:
    """Reads the cells of one row and collects its faults."""

    def __init__(self, row: int, cells: Mapping[str, str], comma_parts: bool) -> None:
        self.row, self.cells, self.comma_parts = row, cells, comma_parts
        self.faults: list[Fault] = []
        self.notes: list[str] = []

    def entry(self) -> Entry | None:
        date = self._date("date", needed=True)
        action = self._action()
        if action is None:
            return None
        stage = self._stage(action)
        count, grams = self._number("count", MOST_COUNT), self._number("grams", MOST_GRAMS)
        error, until = self._about(), self._date("until", needed=action == LogAction.NOT_WRITTEN)
        name = self._bin(action)
        self._needs(action, count, grams)
        if action == LogAction.NOT_WRITTEN:
            if date and until and until < date:
                self._fault("until", f"not before the date {date}")
        elif self.cells.get("until"):
            self._fault("until", "only with the action 'not written': leave it empty")
        self._plausible(action, stage, count, grams)
        if date is None:
            return None
        note = self.cells.get("note", "")
        return Entry(
            self.row, date, name, action, stage, count, grams, error, until, note
        )  # fmt: skip

    def _fault(self, column: str, remedy: str) -> None:
        self.faults.append(Fault(self.row, column, self.cells.get(column, ""), remedy))

    def _date(self, column: str, needed: bool) -> datetime.date | None:
        text = self.cells.get(column, "")
        if not text:
            if needed:
                self._fault(column, "empty: write the day as YYYY-MM-DD, such as 2031-04-30")
            return None
        if _ISO.fullmatch(text):
            try:
                found = datetime.date.fromisoformat(text)
            except ValueError:
                self._fault(column, "no such day in the calendar: correct it")
                return None
            if is_usual(found):
                return found
            self._fault(column, f"{DATES}: correct it")
            return None
        remedy = "write the day as YYYY-MM-DD, such as 2031-04-30"
        if _OTHER_DATE.fullmatch(text):
            remedy += " (day and month cannot be told apart in other forms)"
        self._fault(column, remedy)
        return None

    def _action(self) -> LogAction | None:
        text = " ".join(self.cells.get("action", "").lower().split())
        known = {action.value: action for action in LogAction}
        if text in known:
            return known[text]
        meant = log_cells.meant(text)
        # A slip of the pen is closer to its word than another word for the same work.
        near = difflib.get_close_matches(text, known, n=1, cutoff=0.85 if meant else 0.6)
        hint = f"did you mean '{near[0]}'? " if near else f"write {meant}; " if meant else ""
        self._fault("action", f"{hint}one of: {', '.join(known)}")
        return None

    def _stage(self, action: LogAction) -> str:
        text = " ".join(self.cells.get("stage", "").lower().split())
        if not text:
            if action in (LogAction.COUNT, LogAction.WEIGHT, LogAction.SAMPLE):
                self._fault("stage", f"needed with {action}: one of {', '.join(action.stages)}")
            return action.stages[0] if action.stages else ""
        if text in action.stages:
            return text
        if not action.stages:
            self._fault("stage", f"leave it empty with {action}")
        else:
            near = difflib.get_close_matches(text, action.stages, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            self._fault("stage", f"{hint}with {action}: {', '.join(action.stages)}")
        return ""

    def _number(self, column: str, most: float) -> float | None:
        text = self.cells.get(column, "")
        if not text:
            return None
        bran = self.cells.get("action", "").strip().lower() == LogAction.BRAN_ADDED
        found = log_cells.number(text, column == "grams", self.comma_parts, bran)
        if found.remedy:
            self._fault(column, found.remedy)
        elif found.value is None or not 0 <= found.value <= most:
            self._fault(column, f"a number from 0 to {most:g}, or empty if not counted")
        elif column == "count" and found.value != int(found.value):
            self._fault(column, "a whole number; a weight belongs in grams")
        else:
            if found.note:
                self.notes.append(f"row {self.row}, {column}: {found.note}")
            return found.value
        return None

    def _about(self) -> float | None:
        text = self.cells.get("about", "").lower()
        if text in ("", "no", "n"):
            return None
        if text in ("yes", "y"):
            return ABOUT_ERROR
        share = re.fullmatch(r"(\d+(?:\.\d+)?)\s*%", text)
        if share and 0 < float(share.group(1)) <= 100:
            return float(share.group(1)) / 100
        self._fault("about", "no (counted or weighed), yes (by the handful), or a percentage: 30%")
        return None

    def _bin(self, action: LogAction) -> str:
        text = self.cells.get("bin", "")
        if not text and action != LogAction.NOT_WRITTEN:
            self._fault("bin", "the name or number of the bin")
        elif len(text) > 20:
            self._fault("bin", "a name of 20 characters at most; the rest belongs in note")
        elif text.lower() == TRAY:
            if action not in (LogAction.COUNT, LogAction.BEETLES_PICKED):
                self._fault(
                    "bin", f"the tray only goes with count and beetles picked, not {action}"
                )
            return TRAY
        return text

    def _needs(self, action: LogAction, count: float | None, grams: float | None) -> None:
        given = {"count": count, "grams": grams}
        for column in action.needs:
            if column == "either":
                if count is None and grams is None and not self._written("count", "grams"):
                    self._fault("count", f"{action} needs a count or grams; a guess with about yes")
            elif given[column] is None and not self._written(column):
                self._fault(column, f"{action} needs {column}")
        for column in given:
            takes = bool(action.stages) or (action == LogAction.BRAN_ADDED and column == "grams")
            if given[column] is not None and not takes:
                self._fault(column, f"leave it empty with {action}")
        if action == LogAction.COUNT and grams is not None:
            self._fault(
                "grams", "leave it empty with count; use sample for insects weighed together"
            )
        if action == LogAction.WEIGHT and count is not None:
            self._fault(
                "count", "leave it empty with weight; use sample for insects weighed together"
            )

    def _written(self, *columns: str) -> bool:
        # A number that could not be read has its own fault already.
        return any(self.cells.get(column) for column in columns)

    def _plausible(
        self, action: LogAction, stage: str, count: float | None, grams: float | None
    ) -> None:
        if action == LogAction.SAMPLE and count == 0:
            self._fault("count", "a sample needs at least one insect")
        if not count or not grams:
            return
        each = 1000 * grams / count
        if each > 1000 or (action == LogAction.SAMPLE and each < 0.01):
            remedy = (
                f"{count:g} insects of {each:.3g} mg each: check the count, and that the weight "
                "is in grams"
            )
            self._fault("grams", remedy)
