"""What a served page works with: the state told, the log, and the work that brings both together.

Rows go to the log at once. The state is worked out again in a thread when someone asks for it;
meanwhile the one before is shown.
"""

from __future__ import annotations

import contextlib
import datetime
import threading
from collections.abc import Callable, Mapping
from typing import Any

from colony_sim.assimilation import page
from colony_sim.assimilation.study import Found
from colony_sim.errors import InputError
from colony_sim.experiment.units import house, using
from colony_sim.logs.log_rows import LogRows, Refused, Row
from colony_sim.running.runner import Progress, WorkerDied

Tell = Callable[[Progress], None]
_END_SECONDS = 10.0


class _Ended(Exception):
    """The program is to end."""


class Desk:
    """One rack's state and log; for threads.

    Parameters
    ----------
    found : Found
        What is shown at first.
    work : callable
        Works it out again from the log as it is then.
    rows : LogRows
    day : datetime.date or None
        The day on which rows are logged, and after which none is; None: the calendar's.
    """

    def __init__(
        self,
        found: Found,
        work: Callable[[Tell], Found],
        rows: LogRows,
        day: datetime.date | None = None,
    ) -> None:
        self._found, self._work, self._rows, self._day = found, work, rows, day
        self._house = house()  # Threads of a server have none of their own.
        self._version = 1
        self._known = {row.key for row in rows.rows()}
        self._layout = rows.layout()  # That of a served page stays, also if the log goes away.
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._progress = Progress(0, 0, 0, 0, None)
        self._fault = ""
        self._ending = threading.Event()

    def page(self) -> tuple[str, str]:
        """The page as it is now, and its content policy."""
        with self._lock:
            found, version, known = self._found, self._version, self._known
        rows = self._rows.rows()
        fresh = frozenset(row.key for row in rows if row.key not in known)
        service = page.Service(version, self._day, rows, fresh)
        with using(self._house):
            return page.html(found.told, self._layout, service)

    def add(self, key: str, cells: Mapping[str, str]) -> Row:
        """As `LogRows.add`; a day to come is refused."""
        last = self._day or datetime.date.today()
        date = cells.get("date", "") if isinstance(cells, Mapping) else ""
        if isinstance(date, str):
            with contextlib.suppress(ValueError):  # What is no day is refused by the reader.
                if datetime.date.fromisoformat(date.strip()) > last:
                    raise Refused(f"date {date.strip()!r}: no later than {last}")
        return self._rows.add(key, cells)

    def undo(self, key: str) -> None:
        """As `LogRows.undo`."""
        self._rows.undo(key)

    def status(self) -> dict[str, Any]:
        """How it stands, for JSON."""
        stale = self._is_stale()
        with self._lock:
            progress = self._progress
            return {
                "version": self._version,
                "stale": stale,
                "working": self._is_working(),
                "done": progress.done,
                "total": progress.total,
                "left": progress.seconds_left,
                "fault": self._fault,
            }

    def again(self) -> None:
        """Begin to work it out again, unless that is being done."""
        with self._lock:
            if self._is_working():
                return
            self._fault, self._progress = "", Progress(0, 0, 0, 0, None)
            self._thread = threading.Thread(target=self._run, daemon=True)
            self._thread.start()

    def close(self) -> None:
        """End the work; what has been lived is kept."""
        self._ending.set()
        if self._thread is not None:
            self._thread.join(_END_SECONDS)

    def _is_stale(self) -> bool:
        return self._rows.digest() != self._found.asked.logbook.digest

    def _is_working(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def _run(self) -> None:
        try:
            # Rows that come while it is being worked out are not known to it.
            known = {row.key for row in self._rows.rows()}
            with using(self._house):
                found = self._work(self._hear)
        except _Ended:
            return
        except InputError as error:
            self._fail(f"It could not be worked out: {error.line}")
        except WorkerDied as error:
            self._fail(f"It could not be worked out: {error}.")
        except Exception as error:
            self._fail(f"It could not be worked out ({type(error).__name__}: {error}).")
        else:
            with self._lock:
                self._found, self._known = found, known
                self._version += 1

    def _hear(self, progress: Progress) -> None:
        if self._ending.is_set():
            raise _Ended
        with self._lock:
            self._progress = progress

    def _fail(self, line: str) -> None:
        with self._lock:
            self._fault = " ".join(line.split())
