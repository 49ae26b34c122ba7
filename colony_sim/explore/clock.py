"""Lets a session's racks live in the background, at a pace that a person can follow."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from colony_sim.explore.session import Session

#: Rest after a change before a run starts again, so that some taps are one change (s).
REST = 0.15
#: Days a second that can be chosen, and the one at the start.
PACES, PACE = (1, 4, 14, 60), 4
#: Time waits so long (s) for a hand that was on the rack.
HAND = 2.0
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
        Whether time passes.
    touched : bool
        Whether somebody has let it pass or stand still.
    pace : int
        Days a second.
    changes : int
        Counts every change of the settings, for pages to notice.
    fault : str or None
        What went wrong in the model, a fault of the program.
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.running = self.touched = False
        self.pace = PACE
        self.changes = 0
        self.fault: str | None = None
        self._due = self._hand = 0.0
        self._again = False
        self._watched = True
        self._closed = False
        self._lock = threading.Condition(threading.RLock())
        # Who waits for the lock holds it, so that a thread that hurries cannot come in again first.
        self._turnstile = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="colony", daemon=True)
        self._thread.start()

    @contextmanager
    def _entered(self) -> Iterator[None]:
        """The lock, in turn; not to be nested."""
        with self._turnstile:
            self._lock.acquire()
        try:
            yield
        finally:
            self._lock.release()

    @contextmanager
    def holding(self) -> Iterator[Session]:
        """The session, with the thread kept off it."""
        with self._entered():
            yield self.session

    def ask(self, question: Callable[[Session], T]) -> T:
        """An answer read from the session between two days."""
        with self._entered():
            return question(self.session)

    def change(self, key: str, to: object) -> None:
        """Set a rule; its rack starts again after a short rest.

        Raises
        ------
        InputError
        """
        with self.changing() as session:
            session.change(key, to)

    @contextmanager
    def changing(self) -> Iterator[Session]:
        """The session, to change what is set."""
        with self._entered():
            session = self.session
            before = (session.old, session.new)
            yield session
            if (session.old, session.new) != before:
                self.changes += 1
                self._due = time.monotonic() + REST
                self._lock.notify_all()

    def start(self) -> None:
        """Let time pass."""
        self._set(running=True)

    def pause(self) -> None:
        """Stop before the next day."""
        self._set(running=False)

    def step(self, days: int) -> None:
        """Live some days at once."""
        with self._entered():
            session = self.session
            session.day = min(session.day + days, session.start.days)
            self._lock.notify_all()

    def again(self) -> None:
        """Start from the first day."""
        with self._entered():
            self._again = True
            self._lock.notify_all()

    def hand(self) -> None:
        """Somebody's hand is on the rack: time waits for it."""
        with self._entered():
            self._hand = time.monotonic() + HAND

    def watch(self, watched: bool) -> None:
        """Tell whether anybody looks: time stands still where nobody does."""
        with self._entered():
            self._watched = watched
            self._lock.notify_all()

    @property
    def waiting(self) -> bool:
        """Whether time waits for a hand."""
        return time.monotonic() < self._hand

    def close(self) -> None:
        """End the thread."""
        with self._entered():
            self._closed = True
            self._lock.notify_all()
        self._thread.join()

    @property
    def busy(self) -> bool:
        """Whether something is still to be done at once."""
        with self._entered():
            late = self.session.behind or self.session.stale or self._again
            return bool(late) and self.fault is None

    def _set(self, running: bool) -> None:
        with self._entered():
            self.running, self.touched = running, True
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
                    session = self.session
                    session.old, session.day = session.old_run.scenario, session.old_run.day
                    session.new, session.new_run = session.old, None
                    self.changes += 1

    def _turn(self) -> None:
        with self._entered():
            wait, began = self._renew_if_due(), time.monotonic()
            session = self.session
            if wait is None and session.behind and self.fault is None:
                while session.behind and time.monotonic() - began < _SLICE:
                    session.catch_up()
                wait = 0.0
            elif wait is None and self.running and self.waiting:
                wait = self._hand - began
            elif wait is None and self.running and self._watched and self.fault is None:
                session.live()
                self.running = not session.over
                wait = 1.0 / self.pace - (time.monotonic() - began)
            if wait is None or wait > 0:
                self._lock.wait(wait)

    def _renew_if_due(self) -> float | None:
        """Start runs again if asked or changed; seconds to wait if a change is too fresh."""
        if not self._again:
            if not self.session.stale:
                return None
            rest = self._due - time.monotonic()
            if rest > 0:
                return rest
        self.fault = None
        if self._again:
            self._again = False
            self.session.again()
        else:
            self.session.renew()
        return None
