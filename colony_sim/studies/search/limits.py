"""What a keeper has, what a colony must not come to, and how often handling keeps to both.

Every limit is a statement about single runs, each in a world of its own, so that how surely a way
of handling keeps to it is a share of runs: a probability over worlds and chance.

A colony *fades* in a run if it dies out, lays no eggs in the measured days, or has on average over
these days fewer fertile beetles in breeding bins than half of what it began with or, if that is
less, of what one breeding bin may hold.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import entry
from colony_sim.experiment.plan import Plan
from colony_sim.measuring.catalogue import YIELD

LOSSES, WORK, LAID = "adult_losses_per_100_per_day", "work_hours_per_week", "eggs_laid_per_day"
BREEDERS, ON_BRAN, BINS = "breeders_alive", "yield_g_per_kg_bran", "bins_in_use"
MEASURES = (YIELD, LOSSES, WORK, LAID, BREEDERS, ON_BRAN, BINS)
SHORT = 0.5
"""Share of the beetles begun with below which a colony is short of breeders."""


MOST_SHARE = 0.999
"""To show more takes thousands of runs of every candidate."""


@dataclass(frozen=True)
class Limits:
    """What the keeper has.

    Attributes
    ----------
    bins : int or None
        Bins in the rack; None: as in the experiment file.
    minutes_per_week : float or None
        Work at most; None: no limit.
    breeders : int or None
        Founder beetles; None: as in the experiment file.
    persist : float
        Probability with which the colony must not fade.
    bran_kg_per_week : float or None
        Bran at most (kg a week); None: no limit.
    grams_per_day : float or None
        Yield at least, what the birds eat (g/day); None: no limit.
    sure : float
        Share of worlds and years in which minutes, bran and grams must be kept to.
    """

    bins: int | None = None
    minutes_per_week: float | None = None
    breeders: int | None = None
    persist: float = 0.8
    bran_kg_per_week: float | None = None
    grams_per_day: float | None = None
    sure: float = 0.8

    def check(self) -> dict[str, Value]:
        """Values laid over every candidate: bins and founders.

        Raises
        ------
        InputError
            A limit that is not allowed.
        """
        for name in ("persist", "sure"):
            share = getattr(self, name)
            if not 0 < share <= MOST_SHARE:
                raise InputError(ARGUMENT, name, share, f"above 0 and at most {MOST_SHARE}")
        for name in ("minutes_per_week", "bran_kg_per_week", "grams_per_day"):
            amount = getattr(self, name)
            if amount is not None and not 0 < amount < math.inf:
                raise InputError(ARGUMENT, name, amount, "above 0")
        fixed: dict[str, Value] = {}
        for key, option, value in (("rack.bins", "bins", self.bins),
                                   ("start.breeders", "breeders", self.breeders)):  # fmt: skip
            if value is not None:
                fixed[key] = entry(key).check(value, f"{ARGUMENT} {option}")
        return fixed

    def kept(self, rows: pd.DataFrame) -> pd.DataFrame:
        """Whether each run keeps to each of the limits that there are (bool, one column a limit).

        A run without a yield has no bran a gram, and its bran counts as kept to.
        """
        kept = pd.DataFrame(index=rows.index)
        if self.minutes_per_week is not None:
            kept["minutes"] = 60 * rows[WORK] <= self.minutes_per_week
        if self.bran_kg_per_week is not None:
            kept["bran"] = ~(bran_a_week(rows) > self.bran_kg_per_week)
        if self.grams_per_day is not None:
            kept["grams"] = rows[YIELD] >= self.grams_per_day
        return kept


def bran_a_week(rows: pd.DataFrame) -> pd.Series:
    """Bran (kg a week) of each run; NaN without a yield."""
    return 7.0 * rows[YIELD] / rows[ON_BRAN]


def expected_breeders(plan: Plan, point: Mapping[str, Value]) -> float:
    """Beetles that a colony of the plan's first policy begins with or a breeding bin may hold."""
    key = "rotation.most_breeders_per_bin"
    held = point.get(key, plan.policies[0].parameters[key])
    return min(float(point.get("start.breeders", plan.breeders)), float(held))


def faded(rows: pd.DataFrame, breeders: float) -> pd.Series:
    """Whether the colony fades in each run; `breeders` as of `expected_breeders`."""
    died = rows["died_out_day"].notna() | ~(rows[LAID] > 0)
    return died | ~(rows[BREEDERS] >= SHORT * breeders)


@dataclass(frozen=True)
class Came:
    """What a candidate came to over its runs.

    Attributes
    ----------
    runs, persisted : int
        Runs, and those in which the colony did not fade.
    means : dict
        yield_g_per_day, minutes_per_week, fading (share of runs), adult_losses (per 100 adults a
        day; NaN if no run had a beetle).
    kept : dict
        Share of the runs that keep to each limit.
    all_kept : float
        Share of the runs that keep to all limits and do not fade.
    short : dict
        By how much each share lies below what is asked for; above 0 is too little.
    """

    runs: int
    persisted: int
    means: dict[str, float]
    kept: dict[str, float]
    all_kept: float
    short: dict[str, float]

    @property
    def feasible(self) -> bool:
        """Whether all shares are as asked for."""
        return max(self.short.values()) <= 1e-12

    @property
    def worst(self) -> float:
        """The largest lack, 0 without one."""
        return max(0.0, *self.short.values())


def came_to(rows: pd.DataFrame, breeders: float, limits: Limits) -> Came:
    """What the runs of a candidate came to."""
    gone, kept = faded(rows, breeders), limits.kept(rows)
    losses = rows[LOSSES].dropna()
    shares = {name: float(kept[name].mean()) for name in kept}
    short = {name: limits.sure - share for name, share in shares.items()}
    short["persist"] = limits.persist - float(1 - gone.mean())
    means: dict[str, Any] = {
        "yield_g_per_day": rows[YIELD].mean(), "minutes_per_week": 60 * rows[WORK].mean(),
        "fading": gone.mean(), "adult_losses": losses.mean() if len(losses) else math.nan,
    }  # fmt: skip
    every = np.logical_and.reduce([~gone, *(kept[name] for name in kept)])
    return Came(
        len(rows), int((~gone).sum()), {name: float(mean) for name, mean in means.items()}, shares,
        float(np.mean(every)), short,
    )  # fmt: skip
