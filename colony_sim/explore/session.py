"""The run behind the page: settings, the run being lived, and the run held beside it.

Nothing here knows of a page, a clock or a thread.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Phase
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.simulate import Scenario, day_by_day
from colony_sim.explore.rules import changed, value
from colony_sim.measuring.catalogue import window_measures

#: Days that rates are averaged over, and days of a "month" in the charts.
WINDOW, MONTH = 28, 30
STAGES = ("eggs", "larvae", "pupae", "adults")
MEASURES = ("yield_g_per_day", "adult_losses_per_100_per_day", "work_hours_per_week")


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
class Numbers:
    """A run on one day.

    Attributes
    ----------
    day : int
    window : int
        Days that the measures are taken over: the last `WINDOW`, fewer before.
    stocks : dict
        Eggs, larvae, pupae and adults at the end of the day, and bins in use.
    measures : dict
        `MEASURES` over the window, in the units of `experiment.measures`; NaN where undefined.
    """

    day: int
    window: int
    stocks: dict[str, int]
    measures: dict[str, float]


class Lived:
    """The days that a run has lived: what numbers and charts are made from.

    Attributes
    ----------
    scenario : Scenario
    columns : dict of str to list
        The daily series, one value a day.
    """

    def __init__(self, scenario: Scenario, columns: dict[str, list[Any]]) -> None:
        self.scenario = scenario
        self.columns = columns

    @property
    def day(self) -> int:
        """The last day lived."""
        return len(self.columns["day"])

    @property
    def died_out_day(self) -> int | None:
        """Day on which no insect was left."""
        last = self.day - 1
        gone = last >= 0 and all(self.columns[stage][last] == 0 for stage in STAGES)
        return self.day if gone else None

    def numbers(self, day: int) -> Numbers | None:
        """The numbers of a day (the last one, if it was not reached); None before day 1."""
        day = min(day, self.day)
        if day < 1:
            return None
        first = max(0, day - WINDOW)
        window = pd.DataFrame({name: rows[first:day] for name, rows in self.columns.items()})
        measures = window_measures(window)
        return Numbers(
            day=day,
            window=day - first,
            stocks={name: int(self.columns[name][day - 1]) for name in (*STAGES, "bins_in_use")},
            measures={key: measures[key] for key in MEASURES},
        )

    def months(self) -> list[float]:
        """Harvest (g/day) of each whole stretch of `MONTH` days."""
        grams = self.columns["harvest_g"]
        whole = len(grams) // MONTH
        return [sum(grams[k * MONTH : (k + 1) * MONTH]) / MONTH for k in range(whole)]


@dataclass(frozen=True)
class BinState:
    """A bin at the end of a day.

    Attributes
    ----------
    label : int
    phase : str
        "free", "breeding" or "growing".
    age : int or None
        Days since the beetles went in (breeding) or out (growing); None for a free bin.
    due : int or None
        Days until they are moved, or until the bin is emptied as old, at the latest; None where
        the rule does not go by the date.
    stages : tuple of int
        Eggs, larvae, pupae and adults.
    """

    label: int
    phase: str
    age: int | None
    due: int | None
    stages: tuple[int, int, int, int]


class Run(Lived):
    """A run being lived, day by day.

    Attributes
    ----------
    colony : Colony
    """

    def __init__(self, scenario: Scenario) -> None:
        self._days = day_by_day(scenario)
        self.colony = next(self._days)
        super().__init__(scenario, self.colony.datacollector.model_vars)

    @property
    def over(self) -> bool:
        """Whether the last day was lived, or no insect is left."""
        return self.day >= self.scenario.days or self.colony.alive == 0

    def rack(self) -> list[BinState]:
        """Every bin now."""
        colony, day = self.colony, self.day
        p = self.scenario.parameters
        states = []
        for bin_ in colony.bins:
            since = bin_.date_out if bin_.phase is Phase.GROWING else bin_.date_in
            age, due = None if since is None else day - since, None
            if bin_.phase is Phase.BREEDING:
                # A keeper of one's own need not go by the date of the last move.
                if p["rotation.when"] == "by_date" and isinstance(colony.keeper, Keeper):
                    due = max(0, p["rotation.interval_days"] - (day - colony.keeper.last_move))
            elif bin_.phase is Phase.GROWING and p["rack.clear_when"] == "by_date":
                due = max(0, p["rack.clear_after_days"] - age)
            states.append(BinState(bin_.label, bin_.phase.value, age, due, bin_.counts))
        return states

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
    """What one page works on.

    A changed rule starts the run again from day 1 with the same seed. It then catches up to the
    day on which the earlier run stood, which is held beside it, so that both show the same day.

    Parameters
    ----------
    start : Scenario
        What the page starts from and can go back to.

    Attributes
    ----------
    scenario : Scenario
        As set on the page; `stale` until the run is one of this scenario.
    run : Run
    held : Lived or None
        The run before the last change, or the one that is kept.
    keep : bool
        Whether later changes leave `held` as it is.
    target : int
        Day that the run catches up to.
    """

    def __init__(self, start: Scenario) -> None:
        self.start = start
        self.scenario = start
        self.run = Run(start)
        self.held: Lived | None = None
        self.keep = False
        self.target = 0

    @property
    def stale(self) -> bool:
        """Whether the settings have changed since the run was started."""
        return self.scenario != self.run.scenario

    @property
    def catching_up(self) -> bool:
        """Whether the run is behind the day it is to reach at once."""
        return self.run.day < self.target and not self.run.over

    def change(self, key: str, to: Any) -> None:
        """Set one rule; nothing changes if the value is refused.

        Raises
        ------
        InputError
        """
        self.scenario = changed(self.scenario, key, to, self.start.climate)

    def value(self, key: str) -> Any:
        """What is set for a rule."""
        return value(self.scenario, key)

    def start_value(self, key: str) -> Any:
        """What was set for a rule at the start."""
        return value(self.start, key)

    def revert(self) -> None:
        """Set all rules as they were at the start."""
        self.scenario = self.start

    def adopt(self, run: Run) -> None:
        """Go on with a new run, and hold the one before it.

        A run that had not yet caught up is not held: it was only passed through.
        """
        before, same = self.run, run.scenario == self.run.scenario
        caught_up = before.day > 0 and not self.catching_up
        kept = self.keep and self.held is not None
        if caught_up and not kept and not same:
            self.held = Lived(before.scenario, before.columns)
        self.target = max(self.target, before.day)
        self.run = run

    def renew(self) -> None:
        """Start a run of what is set, if it is stale."""
        if self.stale:
            self.adopt(Run(self.scenario))

    def again(self) -> None:
        """Start the run of what is set from its first day; what is held stays."""
        self.run = Run(self.scenario)
        self.target = 0

    def live(self) -> None:
        """Live one day."""
        self.run.live()

    def stop_here(self) -> None:
        """Give up catching up."""
        self.target = min(self.target, self.run.day)
