"""Possible colonies lived behind the page, both ways, so that the answer sharpens as one looks.

Which values of the biology a colony has is not known. Each possible colony is one joint draw of
what the literature (or a keeper's own log) allows; it is lived the old way and the new way with
the same chance. Gains are in live weight, as in a comparison.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass
from typing import Literal

from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.plan import Plan
from colony_sim.experiment.worlds import Worlds
from colony_sim.running.local import LocalExecutor
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import default_workers
from colony_sim.running.store import OutcomeStore, open_store

#: Colonies lived at most.
MOST = 30

Pair = tuple[Scenario, Scenario]


@dataclass(frozen=True)
class SoFar:
    """What the colonies that were lived say.

    Attributes
    ----------
    colonies : int
        That were lived both ways (one way where nothing is changed).
    most : int
        That will be lived.
    ahead : tuple of bool
        By colony: whether the new way gave more.
    probability, error : float
        Share of colonies in which it does, and its standard error; NaN below two.
    known : str
        "more", "less", or "open" between.
    larvae : tuple of float, or None
        Larvae a day the old way: what 8 of 10 colonies lie between; None below five.
    """

    colonies: int = 0
    most: int = MOST
    ahead: tuple[bool, ...] = ()
    probability: float = math.nan
    error: float = math.nan
    known: Literal["more", "less", "open"] = "open"
    larvae: tuple[float, float] | None = None


class Colonies:
    """Lives possible colonies in worker processes that give way to all else.

    Parameters
    ----------
    worlds : Worlds
        What is possible.
    executor : Executor, optional
        Default: one process less than there are cores, at least one.

    Attributes
    ----------
    version : int
        Counts changes of what there is to say.
    fault : str or None
        Why no colony is lived any more.
    """

    def __init__(self, worlds: Worlds, executor: Executor | None = None) -> None:
        self.worlds = worlds
        self.version = 0
        self.fault: str | None = None
        self._executor = executor or LocalExecutor(max(1, default_workers() - 1), behind=True)
        self._pair: Pair | None = None
        self._asked = 0
        self._watched = self._closed = False
        self._found: dict[int, dict[str, dict[str, float]]] = {}
        self._so_far = SoFar()
        self._lock = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="colonies", daemon=True)
        self._thread.start()

    def ask(self, old: Scenario, new: Scenario) -> None:
        """Ask about two ways; what is under way for others is dropped."""
        with self._lock:
            if (old, new) == self._pair:
                return
            self._pair = (old, new)
            self._asked += 1
            self._found, self._so_far, self.fault = {}, SoFar(), None
            self.version += 1
            self._lock.notify_all()

    def watch(self, watched: bool) -> None:
        """Tell whether anybody looks: colonies are lived only then."""
        with self._lock:
            self._watched = watched
            self._lock.notify_all()

    def so_far(self) -> SoFar:
        """What the colonies that were lived say about the pair that was asked about last."""
        with self._lock:
            return self._so_far

    def close(self) -> None:
        """End the thread and its processes."""
        with self._lock:
            self._closed = True
            self._lock.notify_all()
        # Ends what is under way, which the thread is waiting for.
        self._executor.stop([])
        self._thread.join()

    # -- the thread ---------------------------------------------------------------------

    def _work(self) -> None:
        with open_store(None) as store, self._executor:
            done = 0
            while (asked := self._next(done)) is not None:
                try:
                    if self._answer(asked, store):
                        done = asked
                # The page must say so; a dead thread would not.
                except Exception as error:
                    with self._lock:
                        done = asked
                        self.fault = f"{type(error).__name__}: {error}"
                        self.version += 1

    def _next(self, done: int) -> int | None:
        """Wait for a question that is not answered; its number, None at the end."""
        with self._lock:
            while not self._closed and (not self._watched or self._asked == done):
                self._lock.wait()
            return None if self._closed else self._asked

    def _answer(self, asked: int, store: OutcomeStore) -> bool:
        """Live the colonies of a question, unless another comes; whether all were lived."""
        with self._lock:
            pair = self._pair
        if pair is None:
            return True
        # Loads the statistics, which a page that opens need not wait for.
        from colony_sim.explore import possible

        plan = possible.plan_of(pair, self.worlds, MOST)
        for number, way, outcome in possible.lived(
            plan, store, self._executor, lambda: self._stands(asked)
        ):
            self._take(asked, plan, number, way, outcome)
        return self._stands(asked)

    def _stands(self, asked: int) -> bool:
        with self._lock:
            return self._asked == asked and self._watched and not self._closed

    def _take(
        self, asked: int, plan: Plan, number: int, way: str, outcome: dict[str, float]
    ) -> None:
        from colony_sim.explore import possible

        with self._lock:
            if asked != self._asked:
                return
            found = self._found.setdefault(number, {})
            found[way] = outcome
            if len(found) == len(plan.policies):
                self._so_far = possible.summary(self._found, len(plan.policies), len(plan.seeds))
                self.version += 1
