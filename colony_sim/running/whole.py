"""How far a study of several rounds of runs is: one count, and the time left of all of it."""

from __future__ import annotations

from collections.abc import Callable

from colony_sim.running.runner import Progress

NOTHING = Progress(0, 0, 0, 0, None)


class Whole:
    """Adds up the rounds and tells the time to the end of the last.

    A round that has not finished a run yet is taken to be as slow as the one before.

    Parameters
    ----------
    on_progress : callable
        Told how far the whole is.
    total : int
        Runs of all rounds, as far as is known; may be set anew, see also `expect`.
    after : int
        Runs that follow those that the rounds tell of; may be set anew.

    Attributes
    ----------
    cost : float
        Of a run of this round, where a run of the whole length costs 1.
    total_cost : float or None
        Of all runs; None: they cost alike.
    """

    def __init__(
        self, on_progress: Callable[[Progress], None], total: int = 0, after: int = 0
    ) -> None:
        self.total, self.after = total, after
        self._on_progress = on_progress
        self._before = self._now = NOTHING
        self._each: float | None = None
        self.cost = 1.0
        self.total_cost: float | None = None
        self._spent = 0.0

    @property
    def reused(self) -> int:
        """Runs that were finished before."""
        return self._now.reused

    def expect(self, coming: float) -> None:
        """So many runs are still to come after this round."""
        self.total = self._now.done + self._now.failed + round(coming)
        if self.total_cost is not None:
            self.total_cost = self._spent + coming

    def report(self, now: Progress) -> None:
        """Take the progress of the present round."""
        ended = now.done + now.failed
        if now.seconds_left is not None and now.total > ended:
            self._each = now.seconds_left / (now.total - ended) / self.cost
        before = self._before
        past = before.done + before.failed
        total = max(self.total, past + now.total + self.after)
        coming = float(total - past - ended)
        if self.total_cost is not None:
            here = (now.total - ended) * self.cost
            coming = max(here, self.total_cost - self._spent - ended * self.cost)
        left = None if self._each is None else self._each * coming
        self._now = Progress(
            before.done + now.done, total, before.reused + now.reused,
            before.failed + now.failed, left,
        )  # fmt: skip
        self._on_progress(self._now)

    def next(self) -> None:
        """The next progress is of a new round."""
        ended = self._now.done + self._now.failed - self._before.done - self._before.failed
        self._spent += ended * self.cost
        self._before = self._now
