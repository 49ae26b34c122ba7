"""Finished runs of a sweep: one row per run, found by content key.

One SQLite file, ``runs.sqlite``, in the results folder. A row is committed the moment its run
ends, and the index of keys is on disk, so that neither a process that dies nor the number of
runs matters. The folder's lock (``store.claim``) keeps other processes out.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from colony_sim.errors import InputError

NAME = "runs.sqlite"
_TABLES = (
    "CREATE TABLE IF NOT EXISTS runs (key TEXT PRIMARY KEY, outcome TEXT NOT NULL, "
    "seconds REAL NOT NULL, peak_mb REAL) WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS failures (key TEXT PRIMARY KEY, error TEXT NOT NULL) WITHOUT ROWID",
)


@dataclass(frozen=True)
class Cost:
    """What stored runs took: their number, mean seconds, and peak memory of a worker (MB)."""

    runs: int
    seconds: float
    peak_mb: float | None


class OutcomeStore:
    """Outcomes by key. Use :func:`open_store`.

    Parameters
    ----------
    connection : sqlite3.Connection
        Of the open file.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def get(self, key: str) -> dict[str, Any] | None:
        """The outcome of a finished run, None if there is none."""
        row = self._connection.execute("SELECT outcome FROM runs WHERE key = ?", (key,)).fetchone()
        return None if row is None else json.loads(row[0])

    def has(self, key: str) -> bool:
        """Whether the run is finished."""
        found = self._connection.execute("SELECT 1 FROM runs WHERE key = ?", (key,))
        return found.fetchone() is not None

    def error(self, key: str) -> str | None:
        """Why the run failed, None if it did not."""
        found = self._connection.execute("SELECT error FROM failures WHERE key = ?", (key,))
        row = found.fetchone()
        return None if row is None else row[0]

    def save(
        self, key: str, outcome: dict[str, Any], seconds: float, peak_mb: float | None
    ) -> None:
        """Keep a finished run; an error it had before is forgotten."""
        text = json.dumps(outcome)
        with self._connection:
            self._connection.execute(
                "INSERT OR REPLACE INTO runs VALUES (?, ?, ?, ?)", (key, text, seconds, peak_mb)
            )
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


@contextmanager
def open_store(folder: Path) -> Iterator[OutcomeStore]:
    """Open the store of a results folder, making it if there is none.

    Raises
    ------
    InputError
        If the file is there but is no store.
    """
    path = folder / NAME
    try:
        with closing(sqlite3.connect(path)) as connection:
            # A row is safe when its process dies; a power cut may cost the last few.
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = NORMAL")
            for table in _TABLES:
                connection.execute(table)
            yield OutcomeStore(connection)
            # One file again, that can be copied and be read without leaving others beside it.
            connection.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.DatabaseError as error:
        raise InputError(
            str(path), "file", str(error), "a store of runs that can be used"
        ) from None


@contextmanager
def read_store(folder: Path) -> Iterator[OutcomeStore | None]:
    """The store of a results folder for reading alone; None if there is none."""
    path = folder / NAME
    if not path.is_file():
        yield None
        return
    # A copy of a store whose process was killed still has its journal; mode=ro reads it as well.
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        try:
            made = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'runs'").fetchone()
            # Another process may be about to make it.
            yield OutcomeStore(connection) if made else None
        except sqlite3.DatabaseError as error:
            allowed = "a store of runs that can be used"
            raise InputError(str(path), "file", str(error), allowed) from None
