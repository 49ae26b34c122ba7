"""What is told of the life of a bin: its curves, their title, words and table."""

from __future__ import annotations

from copy import copy

import numpy as np
import pandas as pd

from colony_sim.studies.comparison.bin_cycles import Cycles, band, cycles, harvest_by_week
from colony_sim.studies.comparison.relive import Traces
from colony_sim.words.estimate import number
from colony_sim.words.labels import shortened
from colony_sim.words.units import scaled, symbol

STAGE_NAMES = {"eggs": "eggs", "larvae": "larvae", "pupae": "pupae", "adults": "beetles"}
_UNITS = {
    **dict.fromkeys(STAGE_NAMES, "insects a bin"),
    "larvae_g": "g larvae a bin",
    "skins_per_day": "skins shed a bin and day",
}
_HARVEST, _MOIST = "harvested_g_per_week", "moisture_starts"


class Life:
    """What is drawn of one policy.

    Attributes
    ----------
    bins : int
        Bins followed.
    bands : dict of str to DataFrame
        From `bin_cycles.band`, by what is counted.
    weeks : DataFrame
        From `bin_cycles.harvest_by_week`.
    moist : float or None
        Median day since the beetles left on which moisture starts; None with fewer than 3 bins.
    moist_bins : int
        Bins in which it did.
    """

    def __init__(self, lives: Cycles) -> None:
        self.bins = len(lives.ends)
        self.bands = {what: band(lives, what) for what in _UNITS}
        self.weeks = harvest_by_week(lives)
        moist = lives.ends["moist_age"].dropna()
        self.moist = float(moist.median()) if len(moist) >= 3 else None
        self.moist_bins = len(moist)

    @classmethod
    def of(cls, traces: Traces, policy: str) -> Life | None:
        """None where there are too few bins to show."""
        lives = cycles(traces, policy)
        if lives is None or lives.days.empty:
            return None
        life = cls(lives)
        return None if life.bands["larvae_g"].empty else life

    def in_house(self) -> Life:
        """The same with weights in the unit of the house."""
        found, mass = copy(self), self.bands["larvae_g"]
        ends = {name: scaled(mass[name], "g") for name in ("low", "median", "high")}
        found.bands = {**self.bands, "larvae_g": mass.assign(**ends)}
        found.weeks = self.weeks.assign(grams=scaled(self.weeks["grams"], "g"))
        return found

    @property
    def peak(self) -> pd.Series:
        """The day on which the median mass of larvae is largest."""
        table = self.bands["larvae_g"]
        return table.loc[table["median"].idxmax()]


def title(lives: dict[str, Life | None], most: int) -> str:
    """When the larvae of a bin weigh most, names cut to `most` characters; no claim beyond."""
    parts = []
    for policy, life in lives.items():
        if life is not None:
            day, grams = int(life.peak["age"]), _weight(life.peak["median"])
            parts.append((day, grams, f"“{shortened(policy, most)}”"))
    first, grams, name = parts[0]
    text = f"A bin’s larvae weigh most {_after(first)} ({grams}) under {name}"
    for day, grams, name in parts[1:]:
        when = _after(day) if min(first, day) < 0 else _days(day)
        text = f"{text}; {when} ({grams}) under {name}"
    return text


def _weight(grams: float) -> str:
    return f"{number(scaled(grams, 'g'))} {symbol('g')}"


def _days(day: int) -> str:
    return f"{day} day{'' if day == 1 else 's'}"


def _after(day: int) -> str:
    if day < 0:
        return f"{_days(-day)} before the beetles leave"
    return f"{_days(day)} after the beetles leave"


def moist_in_words(lives: dict[str, Life | None]) -> str:
    """When moisture starts."""
    parts = []
    for policy, life in lives.items():
        if life is None:
            parts.append(f"no settled run with 3 bins or more under “{policy}”")
        elif life.moist is None:
            parts.append(f"no moisture is started under “{policy}”")
        else:
            parts.append(f"moisture starts {life.moist:g} days after they leave under “{policy}”")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]} (medians over bins)."


def alt(lives: dict[str, Life | None]) -> str:
    """What the picture shows."""
    parts = []
    for policy, life in lives.items():
        if life is None:
            parts.append(f"Under “{policy}” there is nothing to show.")
            continue
        laid = life.bands["eggs"]["median"].max()
        skins = life.bands["skins_per_day"]
        top = skins.loc[skins["median"].idxmax()]
        week = life.weeks.loc[life.weeks["grams"].idxmax()] if len(life.weeks) else None
        best = "" if week is None else (
            f" and the largest harvest comes in week {int(week['week']) + 1}: "
            f"{_weight(week['grams'])} a bin"
        )  # fmt: skip
        parts.append(
            f"Under “{policy}” ({life.bins} bins) the median count of eggs reaches "
            f"{number(laid)}, the mass of larvae {_weight(life.peak['median'])} on day "
            f"{int(life.peak['age'])}, skins shed {number(top['median'])} a day on day "
            f"{int(top['age'])}{best}."
        )
    return (
        "Three rows by days since the beetles left: insects by stage, mass of larvae with the "
        f"harvest of each week, skins shed a day. {' '.join(parts)}"
    )


def data(lives: dict[str, Life | None]) -> pd.DataFrame:
    """One row a point drawn, tidy."""
    names = {"age": "days_since_beetles_left", "bins": "bins_in_use", "watched": "bins_watched"}
    tables = []
    for policy, life in lives.items():
        if life is None:
            continue
        for what, table in life.bands.items():
            head = {"policy": policy, "series": what, "unit": _UNITS[what]}
            tables.append(table.rename(columns=names).assign(**head, mean=np.nan))
        weeks = life.weeks.assign(days_since_beetles_left=7 * life.weeks["week"])
        head = {"policy": policy, "series": _HARVEST, "unit": "g a bin and week from that day"}
        tables.append(
            weeks.rename(columns={"bins": "bins_watched", "grams": "mean"}).assign(**head)
        )
        if life.moist is not None:
            row = {
                "policy": policy,
                "series": _MOIST,
                "unit": "day",
                "bins_in_use": life.moist_bins,
                "days_since_beetles_left": life.moist,
            }
            tables.append(pd.DataFrame([row]))
    columns = ["policy", "series", "unit", *names.values(), "low", "median", "high", "mean"]
    return pd.concat([table.reindex(columns=columns) for table in tables], ignore_index=True)
