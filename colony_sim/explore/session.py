"""What one page works on: the old way and the new way to handle a rack, and the run of each.

Nothing here knows of a page, a clock or a thread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario, day_by_day
from colony_sim.explore.rules import COMMON, changed, value
from colony_sim.measuring.catalogue import window_measures
from colony_sim.planning.wants import LARVAE_EACH

#: Days that rates are averaged over.
WINDOW = 28
STAGES = ("eggs", "larvae", "pupae", "adults")


def invented() -> Scenario:
    """The scenario of the page without a file: invented, every rule at its default."""
    return Scenario(
        parameters=Parameters.default(),
        climate=constant(25.0),
        days=1500,
        seed=1,
        breeders=300,
        larvae=13_000,
    )


@dataclass(frozen=True)
class Gives:
    """What a rack gives, over the last `WINDOW` days or as many as were lived.

    Attributes
    ----------
    days : int
        Days that it is the mean of; 0: none was lived.
    larvae, grams : float
        Larvae harvested a day, and their live weight (g).
    hours : float
        Work a week (h).
    """

    days: int
    larvae: float = 0.0
    grams: float = 0.0
    hours: float = 0.0

    @property
    def birds(self) -> int:
        """Birds that are fed, each with its allowance."""
        return birds_fed(self.larvae)


def birds_fed(larvae: float) -> int:
    """Birds that so many larvae a day feed, each with the allowance of a plan."""
    return int(larvae / LARVAE_EACH)


class Run:
    """A rack that is lived day by day.

    Attributes
    ----------
    scenario : Scenario
    colony : Colony
    columns : dict of str to list
        The daily series, one value a day.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self._days = day_by_day(scenario)
        self.colony = next(self._days)
        self.columns: dict[str, list[Any]] = self.colony.datacollector.model_vars

    @property
    def day(self) -> int:
        """The last day lived."""
        return len(self.columns["day"])

    @property
    def died_out(self) -> bool:
        """Whether no insect is left."""
        return bool(self.colony.alive == 0)

    @property
    def over(self) -> bool:
        """Whether the last day was lived, or no insect is left."""
        return self.day >= self.scenario.days or self.died_out

    def gives(self, day: int) -> Gives:
        """What the rack gives on a day: days after its death count, with nothing."""
        first = max(0, day - WINDOW)
        lived = {name: rows[first:day] for name, rows in self.columns.items()}
        if not lived["day"]:
            return Gives(min(day, WINDOW))
        measures = window_measures(pd.DataFrame(lived))
        share = len(lived["day"]) / (day - first)
        return Gives(
            day - first,
            share * measures["yield_larvae_per_day"],
            share * measures["yield_g_per_day"],
            share * measures["work_hours_per_week"],
        )

    def live(self) -> None:
        """Live one day, unless the run is over.

        Raises
        ------
        RuntimeError
            At the end, if a ledger does not close: a fault of the program.
        """
        if not self.over:
            next(self._days)


class Session:
    """The old way, the new way, and the day it is.

    Both ways have one room, one start and one chance: a change of these (`rules.COMMON`) goes to
    both, any other to the new way alone. A run of a way that was changed begins anew and is lived
    up to today.

    Parameters
    ----------
    start : Scenario
        What the page starts from and can go back to.

    Attributes
    ----------
    old, new : Scenario
        As set; equal as long as nothing is changed.
    old_run : Run
        Of the old way.
    new_run : Run or None
        Of the new way, if it is another.
    day : int
        Today: runs that are behind catch up to it.
    """

    def __init__(self, start: Scenario) -> None:
        self.start = self.old = self.new = start
        self.old_run = Run(start)
        self.new_run: Run | None = None
        self.day = 0

    @property
    def runs(self) -> tuple[Run, ...]:
        """The run of the old way, and that of the new one if there is one."""
        return (self.old_run,) if self.new_run is None else (self.old_run, self.new_run)

    @property
    def shown(self) -> Run:
        """The run whose rules are set on the page."""
        return self.new_run or self.old_run

    @property
    def stale(self) -> bool:
        """Whether a way is set that no run lives."""
        lived = self.old if self.new_run is None else self.new_run.scenario
        return self.old_run.scenario != self.old or lived != self.new

    @property
    def behind(self) -> list[Run]:
        """Runs that are to be lived up to today."""
        return [run for run in self.runs if run.day < self.day and not run.over]

    @property
    def over(self) -> bool:
        """Whether no day is left to live."""
        return self.day >= self.start.days or all(run.died_out for run in self.runs)

    def change(self, key: str, to: Any) -> None:
        """Set one rule; nothing changes if the value is refused.

        Raises
        ------
        InputError
        """
        new = changed(self.new, key, to, self.start.climate)
        if key in COMMON:
            self.old = changed(self.old, key, to, self.start.climate)
        self.new = new

    def value(self, key: str) -> Any:
        """What is set for a rule."""
        return value(self.new, key)

    def start_value(self, key: str) -> Any:
        """What was set for a rule at the start."""
        return value(self.start, key)

    def back(self) -> None:
        """Leave the new way."""
        self.new = self.old

    def keep(self) -> None:
        """Let the new way be the old one from now on."""
        self.old = self.new
        if self.new_run is not None and self.new_run.scenario == self.new:
            self.old_run, self.new_run = self.new_run, None

    def to_the_start(self) -> None:
        """Set everything as it was when the page was opened first."""
        self.old = self.new = self.start

    def renew(self) -> None:
        """Start a run of each way that is set and has none."""
        if self.old_run.scenario != self.old:
            self.old_run = Run(self.old)
        if self.new == self.old:
            self.new_run = None
        elif self.new_run is None or self.new_run.scenario != self.new:
            self.new_run = Run(self.new)

    def again(self) -> None:
        """Start both ways from their first day."""
        self.day = 0
        self.old_run = Run(self.old)
        self.new_run = None if self.new == self.old else Run(self.new)

    def catch_up(self) -> None:
        """Live one day of the run that is furthest behind."""
        min(self.behind, key=lambda run: run.day).live()

    def live(self) -> None:
        """Live one day in all racks."""
        if not self.over:
            self.day += 1
            for run in self.behind:
                run.live()
