"""Measures of one run over a window of its days.

Every ratio is a ratio of sums over the window, never a mean of daily ratios. A ratio whose
denominator is 0 is NaN: a colony that died out has no losses per beetle, but it has a yield, and
that is 0 from its death on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Measure:
    """What a measure is, its unit, and whether more or less of it is better (None: neither)."""

    key: str
    label: str
    unit: str
    better: Literal["more", "less"] | None
    description: str


YIELD = "yield_g_per_day"
"""The measure that a comparison asks about."""
_LOSS_UNIT = "per 100 adults per day"
_MEASURES = (
    Measure("yield_g_per_day", "Yield", "g/day", "more", "Live larvae harvested, by weight."),
    Measure(
        "yield_larvae_per_day",
        "Larvae harvested",
        "larvae/day",
        "more",
        "Live larvae harvested, by number.",
    ),
    Measure(
        "yield_g_per_kg_bran",
        "Yield on bran",
        "g/kg",
        "more",
        "Live larvae harvested per kg of bran given.",
    ),
    Measure(
        "adult_losses_per_100_per_day",
        "Adult losses",
        _LOSS_UNIT,
        "less",
        "Adults dead of age, background or handling, over adult-days; "
        "surplus removed is not a loss.",
    ),
    Measure(
        "adult_losses_age_per_100_per_day",
        "Adult losses, age",
        _LOSS_UNIT,
        "less",
        "Adults dead of age, over adult-days.",
    ),
    Measure(
        "adult_losses_background_per_100_per_day",
        "Adult losses, background",
        _LOSS_UNIT,
        "less",
        "Adults dead of background causes, over adult-days.",
    ),
    Measure(
        "adult_losses_handling_per_100_per_day",
        "Adult losses, handling",
        _LOSS_UNIT,
        "less",
        "Adults killed or lost in handling, over adult-days.",
    ),
    Measure(
        "adult_surplus_removed_per_100_per_day",
        "Surplus adults removed",
        _LOSS_UNIT,
        None,
        "Live adults taken out as surplus, over adult-days.",
    ),
    Measure("eggs_laid_per_day", "Eggs laid", "eggs/day", "more", "Eggs laid by all adults."),
    Measure(
        "eggs_eaten_share",
        "Eggs eaten",
        "share",
        "less",
        "Eggs eaten by adults or larvae, of eggs that hatched or were lost in the window.",
    ),
    Measure(
        "eggs_eaten_by_adults_share",
        "Eggs eaten by adults",
        "share",
        "less",
        "Eggs eaten by adults, of eggs that hatched or were lost in the window.",
    ),
    Measure(
        "eggs_eaten_by_larvae_share",
        "Eggs eaten by larvae",
        "share",
        "less",
        "Eggs eaten by larvae, of eggs that hatched or were lost in the window.",
    ),
    Measure("pupae_formed_per_day", "Pupae formed", "pupae/day", None, "Larvae that pupated."),
    Measure(
        "pupae_eaten_or_injured_share",
        "Pupae eaten or injured",
        "share",
        "less",
        "Pupae eaten or injured, of pupae that emerged or were lost in the window.",
    ),
    Measure(
        "breeders_alive",
        "Breeders",
        "adults",
        None,
        "Mean number of fertile adults in breeding bins.",
    ),
    Measure("work_hours_per_week", "Work", "h/week", "less", "Handling time."),
    Measure("bins_in_use", "Bins in use", "bins", "less", "Mean number of bins in use."),
    Measure(
        "bins_in_use_peak",
        "Bins in use, peak",
        "bins",
        "less",
        "Largest number of bins in use on any day of the window.",
    ),
    Measure("larvae_standing_g", "Larvae standing", "g", None, "Mean live weight of larvae."),
)

_EGG_FATES = (
    "eggs_hatched",
    "eggs_eaten_adults",
    "eggs_eaten_larvae",
    "eggs_lost_handling",
    "eggs_unhatched",
)
_PUPA_FATES = (
    "adults_emerged",
    "pupae_eaten_adults",
    "pupae_eaten_larvae",
    "pupae_injured",
    "pupae_died",
    "pupae_lost_handling",
)


def catalogue() -> dict[str, Measure]:
    """All measures by key, in the order of reports."""
    return {m.key: m for m in _MEASURES}


def run_measures(daily: pd.DataFrame, warm_up: int, days: int) -> dict[str, float]:
    """Measures of one run over its days after the warm-up.

    Parameters
    ----------
    daily : `RunRecord.daily`, one row a day in order; stocks at day end, flows per day.
    warm_up : days at the start that are left out.
    days : days of the run. Those that `daily` lacks at its end are days after the colony died
        out, on which nothing was there and nothing was harvested.

    Returns
    -------
    dict : one number per key of `catalogue()`, in its unit; NaN where undefined.

    Raises
    ------
    ValueError : no day after the warm-up, more days than `days`, or days not consecutive.
    KeyError : if a column is missing.
    """
    if not 0 <= warm_up < days or len(daily) > days:
        raise ValueError("the window does not belong to this daily table")
    if not (daily["day"].diff().iloc[1:] == 1).all():
        raise ValueError("daily must hold consecutive days in order")
    if len(daily) < days:
        rest = pd.DataFrame(0, index=range(days - len(daily)), columns=daily.columns)
        rest["day"] = np.arange(len(daily) + 1, days + 1)
        daily = pd.concat([daily, rest], ignore_index=True)
    return window_measures(daily.iloc[warm_up:])


def window_measures(window: pd.DataFrame) -> dict[str, float]:
    """Measures over some days of a daily series, at least one, settled or not.

    Parameters
    ----------
    window : rows of `RunRecord.daily`, consecutive days in order.

    Returns
    -------
    dict : one number per key of `catalogue()`, in its unit; NaN where undefined.

    Notes
    -----
    Adult-days are the sum of adults at day end. Egg and pupa shares take each fate as final and
    exclusive: an injured pupa is lost and does not emerge as well.
    """
    days = len(window)

    def total(*columns: str) -> float:
        return float(sum(window[c].sum() for c in columns))

    adult_days = total("adults")

    def losses(*columns: str) -> float:
        return 100.0 * _ratio(total(*columns), adult_days)

    eggs_decided = total(*_EGG_FATES)
    pupae_lost = total("pupae_eaten_adults", "pupae_eaten_larvae", "pupae_injured")
    return {
        "yield_g_per_day": total("harvest_g") / days,
        "yield_larvae_per_day": total("harvest_larvae") / days,
        "yield_g_per_kg_bran": 1000.0 * _ratio(total("harvest_g"), total("bran_given_g")),
        "adult_losses_per_100_per_day": losses(
            "adults_died_age", "adults_died_background", "adults_died_handling"
        ),
        "adult_losses_age_per_100_per_day": losses("adults_died_age"),
        "adult_losses_background_per_100_per_day": losses("adults_died_background"),
        "adult_losses_handling_per_100_per_day": losses("adults_died_handling"),
        "adult_surplus_removed_per_100_per_day": losses("adults_removed_surplus"),
        "eggs_laid_per_day": total("eggs_laid") / days,
        "eggs_eaten_share": _ratio(total("eggs_eaten_adults", "eggs_eaten_larvae"), eggs_decided),
        "eggs_eaten_by_adults_share": _ratio(total("eggs_eaten_adults"), eggs_decided),
        "eggs_eaten_by_larvae_share": _ratio(total("eggs_eaten_larvae"), eggs_decided),
        "pupae_formed_per_day": total("pupae_formed") / days,
        "pupae_eaten_or_injured_share": _ratio(pupae_lost, total(*_PUPA_FATES)),
        "breeders_alive": total("breeders") / days,
        "work_hours_per_week": total("work_minutes") / 60.0 * 7.0 / days,
        "bins_in_use": total("bins_in_use") / days,
        "bins_in_use_peak": float(window["bins_in_use"].max()),
        "larvae_standing_g": total("larvae_g") / days,
    }


def _ratio(part: float, whole: float) -> float:
    return part / whole if whole > 0 else math.nan
