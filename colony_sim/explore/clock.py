"""Lets a session's run live in the background, at a pace that a person can follow."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from colony_sim.explore.session import Run, Session

#: Rest after a change before the run starts again, so that a drag is one change (s).
REST = 0.35
#: Days a second that can be chosen, and the one at the start.
PACES, PACE = (2, 7, 28, 120), 28
#: While days are late, others get the lock again after this long (s).
_SLICE = 0.02

T = TypeVar("T")


class Clock:
    """A session and the thread that lives its days.

    Everything that reads or changes the session goes through `holding`, `ask` or a method here,
    so that no one sees half a day.

    Parameters
    ----------
    session : Session

    Attributes
    ----------
    running : bool
        Whether days go by.
    pace : int
        Days a second.
    changes : int
        Counts every change of the settings, for pages to notice.
    fault : str or None
        What went wrong in the model, a fault of the program.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.running = False
        self.pace = PACE
        self.changes = 0
        self.fault: str | None = None
        self._due = 0.0
        self._again = False
        self._closed = False
        self._lock = threading.Condition(threading.RLock())
        self._thread = threading.Thread(target=self._work, name="colony", daemon=True)
        self._thread.start()

    @contextmanager
    def holding(self) -> Iterator[Session]:
        """The session, with the thread kept off it."""
        with self._lock:
            yield self.session

    def ask(self, question: Callable[[Session], T]) -> T:
        """An answer read from the session between two days."""
        with self._lock:
            return question(self.session)

    def change(self, key: str, to: object) -> None:
        """Set a rule; the run starts again after a short rest.

        Raises
        ------
        InputError
        """
        with self._lock:
            before = self.session.scenario
            self.session.change(key, to)
            self._changed(before)

    def revert(self) -> None:
        """Set all rules as at the start."""
        with self._lock:
            before = self.session.scenario
            self.session.revert()
            self._changed(before)

    def _changed(self, before: object) -> None:
        if self.session.scenario != before:
            self.changes += 1
            self._due = time.monotonic() + REST
            self._lock.notify_all()

    def start(self) -> None:
        """Let days go by."""
        self._set(running=True)

    def pause(self) -> None:
        """Stop before the next day."""
        with self._lock:
            self.session.stop_here()
            self._set(running=False)

    def step(self, days: int = 1) -> None:
        """Live some days at once, then pause."""
        with self._lock:
            self.session.target = max(self.session.run.day, self.session.target) + days
            self._set(running=False)

    def to_the_end(self) -> None:
        """Live all days that are left as fast as they go."""
        with self._lock:
            self.session.target = self.session.scenario.days
            self._set(running=False)

    def again(self) -> None:
        """Start the run again from its first day, paused."""
        with self._lock:
            self._again = True
            self._set(running=False)

    def close(self) -> None:
        """End the thread."""
        with self._lock:
            self._closed = True
            self._lock.notify_all()
        self._thread.join()

    @property
    def busy(self) -> bool:
        """Whether something is still to be done at once."""
        with self._lock:
            late = self.session.catching_up or self.session.stale or self._again
            return late and self.fault is None

    def _set(self, running: bool) -> None:
        with self._lock:
            self.running = running
            self._lock.notify_all()

    # -- the thread ---------------------------------------------------------------------

    def _work(self) -> None:
        while not self._closed:
            try:
                self._turn()
            except Exception as error:  # The page must say so; a dead thread would not.
                with self._lock:
                    self.fault, self.running = f"{type(error).__name__}: {error}", False
                    # A run that cannot start would be tried for ever.
                    self.session.scenario, self.session.target = self.session.run.scenario, 0
                    self.changes += 1

    def _turn(self) -> None:
        with self._lock:
            wait, began = self._renew_if_due(), time.monotonic()
            if wait is None and self.session.catching_up and self.fault is None:
                while self.session.catching_up and time.monotonic() - began < _SLICE:
                    self.session.live()
                wait = 0.0
            elif wait is None and self.running and self.fault is None:
                self.session.live()
                self.running = not self.session.run.over
                wait = 1.0 / self.pace - (time.monotonic() - began)
            if wait is None or wait > 0:
                self._lock.wait(wait)
                return
        time.sleep(0.001)  # Lets those in who wait for the lock.

    def _renew_if_due(self) -> float | None:
        """Start the run again if asked or changed; seconds to wait if a change is too fresh."""
        session = self.session
        if not self._again:
            if not session.stale:
                return None
            rest = self._due - time.monotonic()
            if rest > 0:
                return rest
        self.fault = None
        if self._again:
            self._again = False
            session.again()
        else:
            session.adopt(Run(session.scenario))
        return None
