"""The bins that are there when a plan begins, from a log or a short list, and runs that go on from.

A log is lived up to the plan by its own colony, as `today` does; then the rules of the plan take
over. A short list says what is in each bin on the day before: it is a log of that one day.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.assimilation import lived
from colony_sim.assimilation.onward import Course, Onward, take_over
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Value
from colony_sim.colony.daily import DailyCollector
from colony_sim.colony.model import Colony
from colony_sim.colony.simulate import RunRecord, Scenario, as_lived
from colony_sim.errors import InputError
from colony_sim.logs.reading import read_schedule
from colony_sim.logs.schedule import Schedule, compile_schedule
from colony_sim.logs.words import ABOUT_ERROR, LONGEST_LOG_DAYS, Entry, LogAction
from colony_sim.planning.buying import Buyer, Buying
from colony_sim.planning.measuring import PlanMeasuring
from colony_sim.source import source_bytes

LISTED = {"beetles": "beetles", "larvae": "larvae", "small_larvae": "small larvae",
          "large_larvae": "large larvae"}  # fmt: skip
"""Keys of a bin in a short list, and what they are called."""
_RACK = ("rack.bins", "rack.bin_area_dm2")
"""Handling that a log has in common with the plan."""


@dataclass(frozen=True)
class RackNow:
    """Bins as they stand.

    Attributes
    ----------
    schedule : Schedule
        Of the log, or of the one day of a list.
    today : int
        Day of the log before day 1 of the plan.
    temperatures : tuple of float
        Daily means (C) of days 1 to `today` of the log.
    source : str
        "log" or "list".
    in_words : str
        What is there, in a phrase.
    """

    schedule: Schedule
    today: int
    temperatures: tuple[float, ...]
    source: str
    in_words: str

    @property
    def bins(self) -> int:
        """Bins that the log or the list names."""
        return len(self.schedule.bins)

    @cached_property
    def digest(self) -> str:
        """SHA-256 over all of it."""
        content = [*self.schedule.content, self.today, self.temperatures]
        return hashlib.sha256(json.dumps(content).encode()).hexdigest()


def from_log(
    path: Path, start: date | None, climate_from: Callable[[date], Climate]
) -> tuple[RackNow, date]:
    """The rack at the end of a log, and day 1 of the plan.

    Parameters
    ----------
    path : Path
    start : date or None
        Day 1; rows from it on are left aside. Default: the day after the last row.
    climate_from : callable
        The room, with a date as its day 1.

    Raises
    ------
    InputError
        The first fault of the log, or no row before `start`.
    """
    until = date.max if start is None else start - timedelta(days=1)
    logbook, schedule = read_schedule(path, until, numbers_needed=False)
    rows = sum(entry.date <= until for entry in logbook.entries)
    if not schedule.steps:
        raise InputError(str(path), "rows", rows, "at least one before the start of the plan")
    last = schedule.start + timedelta(days=schedule.days)
    day_one = last + timedelta(days=1) if start is None else start
    if (day_one - schedule.start).days > LONGEST_LOG_DAYS:
        allowed = f"within {LONGEST_LOG_DAYS} days of the first row, {schedule.start}"
        raise InputError(str(path), "start", str(day_one), allowed)
    today = (day_one - schedule.start).days - 1
    climate = climate_from(schedule.start + timedelta(days=1))
    warm = tuple(climate.daily(today).tolist()) if today else ()
    said = f"your bins as your log has them ({rows} rows up to {last})"
    return RackNow(schedule, today, warm, "log", said), day_one


def from_list(listed: Sequence[Mapping[str, int]], start: date) -> RackNow:
    """The rack of a short list: what is in each bin, from the first on (see `LISTED`).

    Numbers count as guesses, with the error of a row of a log that says `about`.
    """
    entries: list[Entry] = []
    total = dict.fromkeys(LISTED, 0)
    before = start - timedelta(days=1)
    for number, contents in enumerate(listed, start=1):
        for key, count in contents.items():
            total[key] += count
            if not count:
                continue
            action = LogAction.BEETLES_IN if key == "beetles" else LogAction.LARVAE_IN
            entries.append(
                Entry(len(entries) + 1, before, str(number), action, LISTED[key], float(count),
                      error=ABOUT_ERROR)
            )  # fmt: skip
    schedule = compile_schedule(entries, numbers_needed=False)
    larvae = sum(count for key, count in total.items() if key != "beetles")
    said = f"your bins as listed: about {total['beetles']} beetles and {larvae:,} larvae"
    return RackNow(schedule, 0, (), "list", said)


class _BuyingOnward(Buying, Onward):
    """Takes over from the log, and brings bought beetles."""

    buys: dict[int, int] = {}


@dataclass(frozen=True)
class FromRack(PlanMeasuring):
    """Lives a log to the plan, then the plan; measures the days of the plan.

    Attributes
    ----------
    rack : RackNow
    logged : tuple of (str, value)
        Handling while the log was lived; then that of the scenario holds.
    """

    rack: RackNow
    logged: tuple[tuple[str, Value], ...]

    @property
    def digest(self) -> str:
        """As of a plan, with the rack and how it was handled."""
        parts = [super().digest, self.rack.digest, repr(self.logged)]
        return hashlib.sha256(source_bytes(__file__) + " ".join(parts).encode()).hexdigest()

    def live(
        self,
        scenario: Scenario,
        each_day: Callable[[int], object] | None = None,
        record_bins: bool = False,
    ) -> RunRecord:
        """The days of the plan, counted from 1; bins filled before have days below 1."""
        rack, today = self.rack, self.rack.today
        then = scenario.parameters.with_values(dict(self.logged), where="log")
        warm = [*rack.temperatures, *scenario.climate.daily(max(scenario.days, 1))]
        colony = lived.found(
            rack.schedule, as_lived(then, scenario.climate), np.array(warm), scenario.seed
        )

        def live_to(day: int) -> None:
            while colony.day < day and (colony.alive or colony.day < today):
                colony.step()
                if each_day is not None:
                    each_day(colony.day)

        live_to(today)
        rules = tuple((key, scenario.parameters[key]) for key, _ in self.logged)
        take_over(colony, Course(rules=rules), _BuyingOnward)
        if isinstance(scenario.keeper, Buyer):
            assert isinstance(colony.keeper, _BuyingOnward)
            colony.keeper.buys = {today + day: count for day, count in scenario.keeper.buys}
        colony.datacollector = DailyCollector(None)
        live_to(today + scenario.days)
        lived.end(colony)
        return _record(colony, today)


def _record(colony: Colony, today: int) -> RunRecord:
    daily = colony.datacollector.get_model_vars_dataframe()
    log = colony.binlog.frame()
    daily["day"] -= today
    for name in ("day", "date_in", "date_out"):
        log[name] -= today
    died = colony.day - today if colony.alive == 0 else None
    return RunRecord(daily, log, pd.DataFrame(), died)


def handling_of(values: Mapping[str, Any]) -> tuple[tuple[str, Value], ...]:
    """Handling while a log is lived, of the values of a candidate."""
    return tuple((k, v) for k, v in values.items() if k not in _RACK and not k.startswith("start."))
