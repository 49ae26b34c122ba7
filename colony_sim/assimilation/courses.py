"""Other courses than the rules, for the weeks to come, and what comes of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from colony_sim.assimilation.conditioning import quantiles
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
    """

    courses: tuple[Course, ...]
    day: int
    members: np.ndarray
    weights: np.ndarray
    harvested_g: np.ndarray
    hatched: np.ndarray
    beetles: np.ndarray

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
        """Quantiles of what a course loses against another; default: moving the day after `day`."""
        lost = what[:, self.place(beside)] - what[:, self.place(course)]
        return quantiles(lost, self.weights, levels)
