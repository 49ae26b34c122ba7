"""Rows added to a keeper's log by a program, and taken out again.

The log stays the keeper's: what parts its columns, their order, its comments and ends of lines
are kept. A row is checked by the reader of the log before it is written, and every change replaces
the whole file at once, and only if no one else changed it meanwhile. A journal beside the results
remembers rows by a key that the sender gives, so that a row sent twice is written once.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import threading
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from colony_sim.atomic import whole_file, write_text
from colony_sim.logs import log_cells
from colony_sim.logs.logbook import digest_of, parse
from colony_sim.logs.schedule import compile_schedule
from colony_sim.logs.words import COLUMNS, Fault, in_order

LONGEST_CELL = 200
_KEY = re.compile(r"[0-9A-Za-z-]{8,64}")
_KEPT_ROWS = 1000
_TRIES = 5
_BEGUN, _WRITTEN, _UNDONE = "begun", "written", "undone"


class Refused(Exception):
    """A row that is not written, or not taken out: why, in one line."""


class _Changed(Exception):
    """The log is no longer what it was when the change was worked out."""


@dataclass(frozen=True)
class Layout:
    """How a log is laid out: the names of its columns in order, and what parts them."""

    columns: tuple[str, ...]
    parted: str

    @classmethod
    def of(cls, text: str) -> Layout:
        """That of a log's text; that of the template if there is no first line."""
        lines = (line for line in text.splitlines() if line.strip())
        head = next((line for line in lines if not line.lstrip(' "').startswith("#")), "")
        parted = log_cells.delimiter(head)
        names = next(csv.reader([head], delimiter=parted), []) if head else list(COLUMNS)
        return cls(tuple(name.strip().lower() for name in names), parted)

    def line(self, cells: Mapping[str, str]) -> str:
        """A row with these cells."""
        out = io.StringIO()
        row = [cells.get(name, "") for name in self.columns]
        csv.writer(out, delimiter=self.parted, lineterminator="").writerow(row)
        return out.getvalue()


@dataclass(frozen=True)
class Row:
    """A row as sent.

    Attributes
    ----------
    key : str
        Its sender's name for it.
    cells : dict of str to str
        By column.
    added : str
        What was added to the log, ends of lines included.
    state : str
        "begun", "written" or "undone".
    """

    key: str
    cells: dict[str, str]
    added: str
    state: str

    @property
    def is_sound(self) -> bool:
        """Whether its fields are what they should be, wherever it was read."""
        if not isinstance(self.cells, dict):
            return False
        texts = (self.key, self.added, self.state, *self.cells.values())
        return all(isinstance(text, str) for text in texts)


class LogRows:
    """Adds rows to a log and takes them out again; for threads.

    Parameters
    ----------
    log : Path
        An existing log.
    journal : Path
        Where keys of rows are kept; need not exist.
    """

    def __init__(self, log: Path, journal: Path) -> None:
        # A link stays one: the file that it names is replaced.
        self._log, self._journal = log.resolve(), journal
        self._lock = threading.Lock()

    def digest(self) -> str:
        """As `Logbook.digest`, of the log as it is now; empty if it cannot be read."""
        try:
            return digest_of(_text(self._log.read_bytes()))
        except (OSError, UnicodeDecodeError):
            return ""

    def layout(self) -> Layout:
        """That of the log."""
        return Layout.of(_text(self._log.read_bytes()))

    def rows(self) -> list[Row]:
        """Rows that were written and not taken out, in order."""
        with self._lock:
            return [row for row in self._read() if row.state == _WRITTEN]

    def add(self, key: str, cells: Mapping[str, str]) -> Row:
        """Write a row, unless one with this key was written before.

        Parameters
        ----------
        key : str
        cells : mapping of str to str
            By column; those that are empty or missing stay empty.

        Raises
        ------
        Refused
            The reader of the log would not take it.
        """
        _check_key(key)
        cells = _checked(cells)
        with self._lock:
            rows = self._read()
            known = next((row for row in rows if row.key == key), None)
            if known is not None:
                if known.cells and known.cells != cells:
                    raise Refused("another row has this key: log it anew")
                if known.state == _UNDONE:
                    raise Refused("this row was taken out again: log it anew")
                if known.state == _WRITTEN or self._holds(known.added):
                    return self._keep(rows, replace(known, state=_WRITTEN))
            rows = [one for one in rows if one.key != key]  # In the order of the log.
            row = Row(key, cells, "", _BEGUN)

            def change(text: str) -> str:
                nonlocal row
                row = replace(row, added=_added(text, cells))
                # Known before it is written: a program that dies in between writes it once.
                self._keep(rows, row)
                return text + row.added

            self._change(change)
            return self._keep(rows, replace(row, state=_WRITTEN))

    def undo(self, key: str) -> None:
        """Take a row out again; one that never came is not written any more.

        Raises
        ------
        Refused
            The end of the log is no longer what was written here.
        """
        _check_key(key)
        with self._lock:
            rows = self._read()
            known = next((row for row in rows if row.key == key), None)
            if known is None or known.state == _UNDONE:
                self._keep(rows, replace(known or Row(key, {}, "", _UNDONE), state=_UNDONE))
                return
            if known.state == _BEGUN and not self._holds(known.added):
                self._keep(rows, replace(known, state=_UNDONE))
                return
            later = [row for row in rows[rows.index(known) + 1 :] if row.state == _WRITTEN]

            def change(text: str) -> str:
                rest = "".join(row.added for row in later)
                if not text.endswith(known.added + rest):
                    raise Refused(
                        "the end of the log was changed since: take the row out in the log itself"
                    )
                start = len(text) - len(known.added + rest)
                return text[:start] + (_glue(known.added) if rest else "") + rest

            self._change(change)
            if later and (glue := _glue(known.added)):
                rows[rows.index(later[0])] = replace(later[0], added=glue + later[0].added)
            self._keep(rows, replace(known, state=_UNDONE))

    def _holds(self, added: str) -> bool:
        return bool(added) and added.strip("\r\n") in _text(self._log.read_bytes()).splitlines()

    def _change(self, change: Callable[[str], str]) -> None:
        for _ in range(_TRIES):
            try:
                before = self._log.read_bytes()
                mark = "utf-8-sig" if before.startswith(b"\xef\xbb\xbf") else "utf-8"
                after = change(_text(before)).encode(mark)
                self._replace(before, after)
                return
            except _Changed:
                continue
            except UnicodeDecodeError:
                raise Refused("the log is no text in UTF-8") from None
            except OSError as error:
                raise Refused(f"the log cannot be written ({error.strerror})") from None
        raise Refused("another program keeps writing the log: try again")

    def _replace(self, before: bytes, after: bytes) -> None:
        with whole_file(self._log) as file:
            file.write(after)
            shutil.copymode(self._log, file.name)
            file.flush()
            os.fsync(file.fileno())  # Slow; what follows is to be close to the moment of renaming.
            if self._log.read_bytes() != before:
                raise _Changed

    def _read(self) -> list[Row]:
        try:
            found = json.loads(self._journal.read_text(encoding="utf-8"))
            rows = [Row(**one) for one in found]
        except FileNotFoundError:
            return []
        except (ValueError, TypeError, RecursionError):
            rows = None
        sound = rows is not None and all(row.is_sound for row in rows)
        return rows if sound and rows else []  # Damaged: rows are in the log all the same.

    def _keep(self, rows: list[Row], row: Row) -> Row:
        place = next((k for k, one in enumerate(rows) if one.key == row.key), None)
        if place is None:
            rows.append(row)
        else:
            rows[place] = row
        text = json.dumps([asdict(one) for one in rows[-_KEPT_ROWS:]], indent=1)
        try:
            write_text(self._journal, text)
        except OSError as error:
            raise Refused(f"the results cannot be written ({error.strerror})") from None
        return row


def _text(data: bytes) -> str:
    return data.decode("utf-8-sig")


def _glue(added: str) -> str:
    """The end of line that the log's last row did not have."""
    return added[: len(added) - len(added.lstrip("\r\n"))]


def _check_key(key: object) -> None:
    if not isinstance(key, str) or not _KEY.fullmatch(key):
        raise Refused("key: 8 to 64 letters, digits or hyphens")


def _checked(cells: object) -> dict[str, str]:
    if not isinstance(cells, Mapping):
        raise Refused(f"a row is cells by column: {', '.join(COLUMNS)}")
    found = {}
    for name, cell in cells.items():
        if name not in COLUMNS:
            raise Refused(f"no such column: {str(name)[:40]!r}; known: {', '.join(COLUMNS)}")
        if not isinstance(cell, str) or len(cell) > LONGEST_CELL:
            raise Refused(f"{name}: a text of {LONGEST_CELL} characters at most")
        if not cell.isprintable():
            raise Refused(f"{name}: one line without control characters")
        if cell.strip():
            found[name] = cell.strip()
    return found


def _added(text: str, cells: Mapping[str, str]) -> str:
    """What a row adds to a log's text; Refused if the log could then not be read."""
    layout = Layout.of(text)
    missing = [name for name in cells if name not in layout.columns]
    if missing:
        raise Refused(f"the log has no column {missing[0]}: add it to its first line")
    end = "\r\n" if "\r\n" in text else "\n"
    head = "" if text.strip() else layout.parted.join(layout.columns) + end
    glue = "" if not text or text.endswith(("\n", "\r")) else end
    added = f"{glue}{head}{layout.line(cells)}{end}"
    before, old, _ = parse(text)
    entries, faults, _ = parse(text + added)
    new = [fault for fault in faults if fault not in old]
    if new:
        raise Refused(_why(new[0]))
    last = len((text + added).splitlines())
    if len(entries) != len(before) + 1 or entries[-1].row != last or entries[:-1] != before:
        raise Refused("the log would be read otherwise with this row: look for an open quote in it")
    if not old:
        schedule = compile_schedule(in_order(entries), numbers_needed=False)
        for fault in schedule.faults:
            if fault.row == last:
                raise Refused(_why(fault))
    return added


def _why(fault: Fault) -> str:
    shown = f" {fault.value!r}" if fault.value else ""
    return f"{fault.column}{shown}: {fault.remedy}"
