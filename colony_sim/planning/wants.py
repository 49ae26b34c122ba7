"""What a keeper wants of a rack, and what there is: the two sides that a plan has to match."""

from __future__ import annotations

import math
from dataclasses import dataclass

from colony_sim.words.estimate import number
from colony_sim.words.units import show

STRETCH_DAYS = 28
"""A want counts as met where every stretch of this many days in a row yields it. Larvae keep for
some weeks in a cool place (common practice, no source), so a good week feeds a poor one."""
YEAR_STRETCHES = 13
"""Stretches that must be left to judge a plan by: a year of them."""
LARVAE_EACH = 10.0
"""Larvae a bird a day where the keeper says nothing: a treat beside a full ration. Cautious;
common practice, no source."""
LARVA_MG = 85.0
"""Mass of a harvested larva (mg): what the model's keeper takes from 80 mg on, once a week."""
AFTER_DAYS = 365
"""Days from the start after which the want has to be met: from the second year on."""
AFTER_DAYS_BINS = 126
"""The same where the plan begins from bins that are there: what is harvested before is in them."""
PROBABILITY = 0.8


@dataclass(frozen=True)
class Want:
    """Live larvae wanted a day.

    Attributes
    ----------
    grams_per_day : float
        Live larvae (g a day).
    probability : float
        Least share of runs that have to meet it.
    after_days : int
        Days from the start after which it has to be met.
    birds, larvae_each, larva_mg : float or None
        What the grams were worked out from: birds, larvae a bird a day, mg a larva.
    assumed : bool
        Whether the allowance is a default, not the keeper's own.
    animals : str
        What the grams are for, in words; empty: see `birds`.
    """

    grams_per_day: float
    probability: float = PROBABILITY
    after_days: int = AFTER_DAYS
    birds: int | None = None
    larvae_each: float | None = None
    larva_mg: float | None = None
    assumed: bool = False
    animals: str = ""

    @property
    def in_words(self) -> str:
        """The want in one phrase."""
        text = f"{show(self.grams_per_day, 'g', number)} of larvae a day"
        if self.animals:
            return f"{text} ({self.animals})"
        if self.birds is None:
            return text
        assert self.larva_mg is not None
        each = f"{show(self.larva_mg, 'mg')}"
        bird = "bird" if self.birds == 1 else "birds"
        return f"{text} ({self.birds} {bird} x {self.larvae_each:g} larvae, {each})"


@dataclass(frozen=True)
class Have:
    """What the keeper has.

    Attributes
    ----------
    bins : int
        Bins of the rack.
    bin_area_dm2 : float
        Floor area of a bin (dm2).
    breeders : int
        Beetles to start with, at most.
    minutes_per_week : float or None
        Work at most, as the mean over steady running (min a week); None: no limit.
    larvae : int
        Larvae of all ages there at the start.
    bran_price_per_kg : float or None
        In the keeper's own money.
    """

    bins: int
    bin_area_dm2: float
    breeders: int
    minutes_per_week: float | None = None
    larvae: int = 0
    bran_price_per_kg: float | None = None


def for_birds(
    birds: int,
    larvae_each: float | None,
    larva_mg: float | None,
    probability: float = PROBABILITY,
    after_days: int = AFTER_DAYS,
) -> Want:
    """The want of a flock; a default allowance is marked as assumed."""
    each = LARVAE_EACH if larvae_each is None else larvae_each
    mass = LARVA_MG if larva_mg is None else larva_mg
    return Want(
        birds * each * mass / 1000.0,
        probability,
        after_days,
        birds=birds,
        larvae_each=each,
        larva_mg=mass,
        assumed=larvae_each is None,
    )


def stretches(after_days: int, days: int) -> int:
    """Whole stretches between the day the want has to be met from and the end of a run."""
    return max(0, math.floor((days - after_days) / STRETCH_DAYS))
