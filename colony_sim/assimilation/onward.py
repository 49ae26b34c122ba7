"""The keeper after the log: from today on the handling rules, in a rack as the log has left it."""

from __future__ import annotations

from dataclasses import dataclass

from colony_sim.biology.parameters import Value
from colony_sim.colony.bins import Phase
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.model import Colony
from colony_sim.logs.log_keeper import LogKeeper


@dataclass(frozen=True)
class Course:
    """What is done otherwise than by the rules, in the weeks to come.

    Attributes
    ----------
    move_on : int or None
        Days from today to the next move of beetles, after which the rules hold. None: by the rules.
    rules : tuple of (str, value)
        Keys of the handling with other values than the rules have.
    """

    move_on: int | None = None
    rules: tuple[tuple[str, Value], ...] = ()

    @property
    def fraction(self) -> float | None:
        """Share of the larvae of harvest size that a harvest takes; None: by the rules."""
        found = dict(self.rules).get("harvest.fraction")
        return None if found is None else float(found)


class Onward(Keeper):
    """Takes over from a keeper who did what a log says.

    Parameters
    ----------
    model : Colony
        Its keeper is the one whose work goes on.
    course : Course
    """

    def __init__(self, model: Colony, course: Course) -> None:
        before = model.keeper
        assert isinstance(before, LogKeeper)
        super().__init__(model)
        # What both know of the bran: day, grams and pace at the last look at each bin.
        self._looked, self._left, self._pace = before._looked, before._left, before._pace
        self._look_today = before._look_today
        self.move_on = None if course.move_on is None else model.day + course.move_on
        breeding = self._bins(Phase.BREEDING)
        self.last_move = max((b.date_in or 0 for b in breeding), default=model.day)

    def _move_is_due(self) -> bool:
        if self.move_on is None or self.model.day > self.move_on:
            return super()._move_is_due()
        return self.model.day == self.move_on


def take_over(colony: Colony, course: Course, keeper: type[Onward] = Onward) -> None:
    """Let the rules go on from this evening.

    Parameters
    ----------
    colony : Colony
        With a `LogKeeper`.
    course : Course
    keeper : type of Onward
        Who takes over.
    """
    if course.rules:
        changed = dict(course.rules)
        colony.parameters = colony.parameters.with_values(changed, where="course")
    before, colony.keeper = colony.keeper, keeper(colony, course)
    assert isinstance(before, LogKeeper)
    before.remove()
