"""Other courses than the rules, for the weeks to come, and what comes of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from colony_sim.assimilation.conditioning import Kind, adjust, quantiles
from colony_sim.assimilation.lived import Ahead
from colony_sim.assimilation.onward import Course

WAITS = (3, 7, 10)
"""Days of waiting whose cost is told."""
FRACTIONS = (0.5, 0.9)
"""Shares taken at a harvest that are tried beside that of the rules."""


def waiting(days: int) -> Course:
    """The beetles are moved so many days after tomorrow."""
    return Course(move_on=1 + days)


_TOMORROW = waiting(0)
_LOST = Kind(log=False, least=-np.inf)
COURSES = (
    Course(),
    *(waiting(days) for days in (0, *WAITS)),
    *(Course(rules=(("harvest.fraction", share),)) for share in FRACTIONS),
)  # fmt: skip
"""What is tried: the rules first, and what is laid beside them."""


@dataclass(frozen=True)
class Courses:
    """What comes of other courses than the rules, in the same possible colonies, on the same seeds.

    Attributes
    ----------
    courses : tuple of Course
    day : int
        Day of the log from which they were lived: today, or up to three days before.
    members : int array, shape (draws,)
    weights : float64 array, shape (draws,)
    harvested_g, hatched : float64 arrays, shape (draws, courses)
        Harvested (g), and eggs that hatch, in the weeks to come.
    beetles : float64 array, shape (draws, courses, weeks)
        At the end of each week.
    features, log : float64 arrays, shapes (draws, features) and (features,), or None
        Of the numbers that the members would have written, and of the keeper's: with them a cost
        is moved to the log by regression, with the errors of the jackknife+.
    """

    courses: tuple[Course, ...]
    day: int
    members: np.ndarray
    weights: np.ndarray
    harvested_g: np.ndarray
    hatched: np.ndarray
    beetles: np.ndarray
    features: np.ndarray | None = None
    log: np.ndarray | None = None

    @classmethod
    def of(
        cls,
        courses: tuple[Course, ...],
        day: int,
        members: np.ndarray,
        weights: np.ndarray,
        came: Sequence[Ahead],
    ) -> Courses:
        """From what came of each course; weights need not add to 1."""
        return cls(
            courses, day, members, weights / weights.sum(),
            np.column_stack([one["harvest_g"].sum(axis=(1, 2)) for one in came]),
            np.column_stack([one["hatched"].sum(axis=1) for one in came]),
            np.stack([one["beetles"] for one in came], axis=1),
        )  # fmt: skip

    def place(self, course: Course) -> int:
        """Where a course stands among them."""
        return self.courses.index(course)

    def cost(
        self,
        what: np.ndarray,
        course: Course,
        levels: tuple[float, ...],
        beside: Course = _TOMORROW,
    ) -> np.ndarray:
        """Quantiles of what a course loses against another (see `lost`)."""
        return quantiles(self.lost(what, course, beside), self.weights, levels)

    def lost(self, what: np.ndarray, course: Course, beside: Course = _TOMORROW) -> np.ndarray:
        """What a course loses against another, by draw; default: moving the day after `day`."""
        lost: np.ndarray = what[:, self.place(beside)] - what[:, self.place(course)]
        if self.features is not None and self.log is not None:
            moved = adjust(self.features, {"": lost[:, None]}, {"": _LOST}, self.weights, self.log)
            lost = moved.values[""][:, 0]
        return lost

    def beside_log(self, members: np.ndarray, features: np.ndarray, log: np.ndarray) -> Courses:
        """With the features of the log, and those of its members out of all of theirs."""
        places = {int(member): place for place, member in enumerate(members)}
        return replace(self, features=features[[places[int(m)] for m in self.members]], log=log)
