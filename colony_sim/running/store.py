"""Finished runs: one row per run, found by content key and kept with a checksum.

One SQLite file, ``runs.sqlite``, in the results folder. A row is committed the moment its run
ends, and the index of keys is on disk, so that neither a process that dies nor the number of
runs matters. The folder's lock (``folder.claim``) keeps other processes out. What a row holds is
up to the study: the outcome of a run (kept as JSON) or bytes, such as its daily series.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from colony_sim.atomic import at, copied, is_held
from colony_sim.errors import InputError

NAME, LOCK = "runs.sqlite", ".lock"
FORMAT = 2
Outcome = dict[str, Any] | bytes
_TABLES = (
    # What is looked up without the payload stands before it: a long row goes on elsewhere.
    "CREATE TABLE IF NOT EXISTS runs (key TEXT PRIMARY KEY, checksum TEXT NOT NULL, "
    "seconds REAL NOT NULL, peak_mb REAL, payload NOT NULL)",
    "CREATE TABLE IF NOT EXISTS failures (key TEXT PRIMARY KEY, error TEXT NOT NULL) WITHOUT ROWID",
)


_OWN = {sql.replace("IF NOT EXISTS ", "") for sql in _TABLES}


class Damaged(Exception):
    """What is stored under a key is not what was put there."""


@dataclass(frozen=True)
class Cost:
    """What stored runs took: their number, mean seconds, and peak memory of a worker (MB)."""

    runs: int
    seconds: float
    peak_mb: float | None


class OutcomeStore:
    """Finished runs by key. Use :func:`open_store`.

    Parameters
    ----------
    connection : sqlite3.Connection
        Of the open file.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def get(self, key: str) -> Any:
        """What a finished run left, as it was saved; None without one, `Damaged` if not whole."""
        found = self._connection.execute("SELECT checksum, payload FROM runs WHERE key = ?", (key,))
        row = found.fetchone()
        if row is None:
            return None
        checksum, payload = row
        if _checksum(key, payload) != checksum:
            raise Damaged(key)
        return json.loads(payload) if isinstance(payload, str) else payload

    def has(self, key: str) -> bool:
        """Whether the run is finished and whole."""
        try:
            return self.get(key) is not None
        except Damaged:
            return False

    def keeps(self, key: str) -> bool:
        """Whether there is a row of the run, whole or not."""
        found = self._connection.execute("SELECT 1 FROM runs WHERE key = ?", (key,))
        return found.fetchone() is not None

    def damaged(self) -> tuple[int, list[str]]:
        """How many runs are kept, and the keys of those that are not as they were put there."""
        bad, runs = [], 0
        for key, checksum, payload in self._connection.execute(
            "SELECT key, checksum, payload FROM runs"
        ):
            runs += 1
            if _checksum(str(key), payload) != checksum:
                bad.append(str(key))
        return runs, bad

    def error(self, key: str) -> str | None:
        """Why the run failed, None if it did not."""
        found = self._connection.execute("SELECT error FROM failures WHERE key = ?", (key,))
        row = found.fetchone()
        return None if row is None else row[0]

    def save(
        self,
        key: str,
        outcome: Outcome,
        seconds: float = 0.0,
        peak_mb: float | None = None,
    ) -> None:
        """Keep a finished run; an error it had before is forgotten."""
        payload = outcome if isinstance(outcome, bytes) else json.dumps(outcome)
        row = (key, _checksum(key, payload), seconds, peak_mb, payload)
        with self._connection:
            self._connection.execute("INSERT OR REPLACE INTO runs VALUES (?, ?, ?, ?, ?)", row)
            at("row", Path(NAME))
            self._connection.execute("DELETE FROM failures WHERE key = ?", (key,))

    def save_error(self, key: str, error: str) -> None:
        """Keep why a run failed."""
        with self._connection:
            self._connection.execute("INSERT OR REPLACE INTO failures VALUES (?, ?)", (key, error))

    def cost(self) -> Cost | None:
        """What the stored runs took; None if there are none."""
        row = self._connection.execute(
            "SELECT COUNT(*), AVG(seconds), MAX(peak_mb) FROM runs"
        ).fetchone()
        return Cost(*row) if row[0] else None


def _checksum(key: str, payload: object) -> str:
    data = payload if isinstance(payload, bytes) else str(payload).encode()
    # With the key, so that a row exchanged for another is noticed as well.
    return hashlib.sha256(key.encode() + data).hexdigest()


@contextmanager
def look_into(folder: Path) -> Iterator[OutcomeStore]:
    """The store of a results folder, to read alone; nothing is made or changed."""
    with _looking(folder / NAME) as connection:
        # A text that is damaged is none of UTF-8 any more.
        connection.text_factory = lambda data: data.decode(errors="replace")
        _refuse_schema(connection, folder / NAME)
        yield OutcomeStore(connection)


@contextmanager
def open_store(folder: Path | None) -> Iterator[OutcomeStore]:
    """Open the store of a results folder, making it if there is none; None: one in memory alone.

    The folder is held (``folder.claim``), which refuses runs of an earlier version.

    Raises
    ------
    InputError
        If the file is there but is no store.
    """
    path = folder / NAME if folder is not None else ":memory:"
    try:
        with closing(sqlite3.connect(path)) as connection:
            # A row is safe when its process dies; a power cut may cost the last few.
            _refuse_schema(connection, path)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = NORMAL")
            connection.execute(f"PRAGMA user_version = {FORMAT}")
            for table in _TABLES:
                connection.execute(table)
            try:
                yield OutcomeStore(connection)
            finally:
                # One file again, that can be copied and be read without leaving others beside it.
                with suppress(sqlite3.DatabaseError):  # Somebody may be reading it.
                    connection.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.DatabaseError as error:
        code = getattr(error, "sqlite_errorcode", None)
        if code is not None and code & 0xFF in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
            raise OSError(errno.ENOSPC, str(error), str(path)) from None
        raise _unusable(path, error) from None


@contextmanager
def read_store(folder: Path) -> Iterator[OutcomeStore | None]:
    """The store of a results folder for reading alone; None if there is none of this version.

    Raises
    ------
    InputError
        As `open_store`.
    """
    if not (folder / NAME).is_file():
        yield None
        return
    with _reading(folder) as connection:
        _refuse_schema(connection, folder / NAME)
        # Another process may be about to make it.
        readable = _format(connection) == FORMAT and _made(connection)
        yield OutcomeStore(connection) if readable else None


def written_by(folder: Path) -> str:
    """The version that wrote a results folder, in words."""
    try:
        facts = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        return f"colony_sim {facts['software']['colony_sim']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "an earlier colony_sim"


def _made(connection: sqlite3.Connection) -> bool:
    found = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'runs'")
    return found.fetchone() is not None


def refuse_old(folder: Path) -> None:
    """`InputError` if a results folder holds runs as an earlier version kept them."""
    kept = folder / "runs"
    old = kept.is_dir() and any((*kept.glob("*.parquet"), *kept.glob("*.npy")))
    if not old and (folder / NAME).is_file():
        with _reading(folder) as connection:
            old = _format(connection) not in (None, FORMAT)
    if old:
        allowed = "a new folder; the tables in this one can still be read"
        raise InputError(str(folder), "results folder", f"runs of {written_by(folder)}", allowed)


def _format(connection: sqlite3.Connection) -> int | None:
    """Format of a store; None if there are no runs in it yet."""
    (found,) = connection.execute("PRAGMA user_version").fetchone()
    return found if found or _made(connection) else None


@contextmanager
def _reading(folder: Path) -> Iterator[sqlite3.Connection]:
    path = folder / NAME
    with _looking(path) as connection:
        try:
            yield connection
        except sqlite3.DatabaseError as error:
            raise _unusable(path, error) from None


def journals(path: Path) -> list[Path]:
    """What SQLite keeps beside a file while it changes it, where it is there."""
    beside = (path.with_name(f"{path.name}{ending}") for ending in ("-wal", "-journal"))
    return [each for each in beside if each.exists()]


@contextmanager
def _looking(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection to a file of SQLite that changes nothing, not even what lies beside the file.

    The journal of a process that was killed is read in a copy: SQLite would write beside it.
    """
    left = journals(path)
    with ExitStack() as stack:
        if left and not is_held(path.parent / LOCK):
            path = stack.enter_context(copied(path, *left))
        address = f"{Path(os.path.realpath(path)).as_uri()}?mode=ro"
        yield stack.enter_context(closing(sqlite3.connect(address, uri=True)))


def refuse_code(path: Path) -> None:
    """`InputError` if an SQLite file, where there is one, has triggers or views.

    Such a file, from somebody else, would run them at the next reading or writing.
    """
    if not path.is_file():
        return
    with _looking(path) as connection:
        try:
            kinds = {kind for (kind,) in connection.execute("SELECT type FROM sqlite_master")}
        except sqlite3.DatabaseError as error:
            raise _unusable(path, error) from None
    if code := kinds - {"table", "index"}:
        raise _unusable(path, f"has a {min(code)}")


def _refuse_schema(connection: sqlite3.Connection, path: object) -> None:
    """`InputError` if a store has anything but the tables that are made here."""
    connection.execute("PRAGMA trusted_schema = OFF")
    for name, sql in connection.execute("SELECT name, sql FROM sqlite_master"):
        # An index of SQLite's own has no text; a store of another version is refused as such.
        if sql is not None and sql not in _OWN and _format(connection) in (None, FORMAT):
            raise _unusable(path, f"has {name} that no colony-sim made")


def _unusable(path: object, error: object) -> InputError:
    allowed = "a store of runs that can be used; without the file all is run again"
    return InputError(str(path), "file", str(error), allowed)
