"""What a plan keeps of a run: weeks, months, first dates and the life of every bin filling."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.colony.binlog import Action
from colony_sim.colony.simulate import RunRecord, Scenario
from colony_sim.measuring.outcome import Measuring
from colony_sim.source import source_bytes

WEEKLY_SUMS = {
    "harvest_g": "harvest_g",
    "harvest_larvae": "harvest_larvae",
    "bran_g": "bran_given_g",
    "moisture_g": "moisture_given_g",
    "minutes": "work_minutes",
}
"""Sums over a week or month, and the daily column they are of."""
WEEKLY_MEANS = {"bins": "bins_in_use", "breeders": "breeders", "temperature_c": "temperature_c"}
EVENTS = {
    "first_pupa": "pupae_formed",
    "first_own_beetle": "adults_emerged",
    "first_harvest": "harvest_g",
}
"""First days on which a daily column is above 0."""


@dataclass(frozen=True)
class PlanMeasuring(Measuring):
    """Measures a run for a plan (see ``outcome.Measuring``); asks for the whole record.

    Attributes
    ----------
    start : str
        Date of day 1 (ISO 8601): months are those of the calendar.
    """

    start: str

    @property
    def digest(self) -> str:
        """Hash of the start date and of this module's source."""
        return hashlib.sha256(self.start.encode() + source_bytes(__file__)).hexdigest()

    def of_record(self, scenario: Scenario, record: RunRecord) -> dict[str, Any]:
        """Everything a plan needs of a run, as plain values.

        Returns
        -------
        dict
            died_out_day; weeks (by name, a list over weeks of 7 days, the last may be shorter);
            daily harvest (g) as ``harvest``; months (by name, a list over calendar months);
            the days of `EVENTS`; fillings (see `fillings`). Days after the colony died out
            count as days without anything.
        """
        daily = _whole(record.daily, scenario)
        died = record.died_out_day
        return {
            "died_out_day": None if died is None else int(died),
            "days": scenario.days,
            "weeks": _weeks(daily),
            "months": _months(daily, date.fromisoformat(self.start)),
            "harvest": [round(value, 6) for value in daily["harvest_g"].tolist()],
            **{event: _first(daily, column) for event, column in EVENTS.items()},
            "fillings": fillings(record.bin_log),
        }

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Not enough for a plan: the bin log is needed."""
        raise TypeError("a plan measures a whole record: of_record")


def fillings(log: pd.DataFrame) -> list[list[Any]]:
    """Life of every filling of a bin with beetles, from the bin log.

    Returns
    -------
    list of list
        Per filling [day in, first harvest, day by which 9 tenths of its harvest were taken, day
        emptied, harvest (g)]; a day that is not in the log is None. Larvae moved on to another
        bin when theirs was emptied count to that one.
    """
    own = log[log["bin"].notna() & log["date_in"].notna()]
    columns = [own[name].tolist() for name in ("bin", "date_in", "action", "day", "grams")]
    lives: dict[tuple[int, int], _Life] = {}
    # Loops, as a plan measures thousands of fillings in small groups.
    for label, day_in, action, day, grams in zip(*columns, strict=True):
        life = lives.setdefault((int(label), int(day_in)), _Life([], [], None))
        if action == Action.HARVEST:
            life.days.append(int(day))
            life.grams.append(float(grams))
        elif action == Action.CLEARED:
            life.out = int(day)
    found = []
    for (_, day_in), life in sorted(lives.items()):
        total, first, most = float(sum(life.grams)), None, None
        if total > 0:
            share = np.cumsum(life.grams) / total
            first, most = life.days[0], life.days[int(np.argmax(share >= 0.9 - 1e-12))]
        found.append([day_in, first, most, life.out, total])
    return sorted(found, key=lambda row: row[0])


@dataclass
class _Life:
    """Harvests of a filling, and the day on which its bin was emptied."""

    days: list[int]
    grams: list[float]
    out: int | None


def months_of(start: date, days: int) -> list[str]:
    """The calendar months that days 1 to `days` fall in, as YYYY-MM."""
    dates = pd.date_range(start, periods=days, freq="D")
    return list(dict.fromkeys(dates.strftime("%Y-%m")))


def day_date(start: date, day: float) -> date:
    """Date of a day of the run; day 1 is the start."""
    return start + timedelta(days=int(day) - 1)


def _whole(daily: pd.DataFrame, scenario: Scenario) -> pd.DataFrame:
    missing = scenario.days - len(daily)
    if missing <= 0:
        return daily
    rest = pd.DataFrame(0.0, index=range(missing), columns=daily.columns)
    rest["temperature_c"] = scenario.climate.daily(scenario.days)[len(daily) :]
    return pd.concat([daily, rest], ignore_index=True)


def _weeks(daily: pd.DataFrame) -> dict[str, list[float]]:
    week = np.arange(len(daily)) // 7
    grouped = daily.groupby(week)
    weeks = {name: grouped[column].sum().tolist() for name, column in WEEKLY_SUMS.items()}
    weeks |= {name: grouped[column].mean().tolist() for name, column in WEEKLY_MEANS.items()}
    weeks["bins_most"] = grouped["bins_in_use"].max().tolist()
    return weeks


def _months(daily: pd.DataFrame, start: date) -> dict[str, list[float]]:
    month = pd.date_range(start, periods=len(daily), freq="D").strftime("%Y-%m").to_numpy()
    grouped = daily.groupby(month, sort=False)
    return {name: grouped[column].sum().tolist() for name, column in WEEKLY_SUMS.items()}


def _first(daily: pd.DataFrame, column: str) -> int | None:
    days = np.flatnonzero(daily[column].to_numpy() > 0)
    return int(days[0]) + 1 if len(days) else None
