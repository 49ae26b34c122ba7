"""What happened to whom: counts and masses per bin and day, and their balances."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from colony_sim.population.insects import Insects, Stage


class Event(IntEnum):
    """Columns of the event counts; each insect's exit from a stage is exactly one of them."""

    EGG_LAID = 0
    EGG_HATCHED = 1
    EGG_EATEN_ADULTS = 2
    EGG_EATEN_LARVAE = 3
    EGG_LOST_HANDLING = 4
    EGG_UNHATCHED = 5
    LARVA_DIED = 6
    LARVA_HARVESTED = 7
    LARVA_LOST_HANDLING = 8
    PUPA_FORMED = 9
    PUPA_EATEN_ADULTS = 10
    PUPA_EATEN_LARVAE = 11
    PUPA_DIED = 12
    PUPA_LOST_HANDLING = 13
    PUPA_INJURED = 14  # emerged as an adult that does not breed
    ADULT_EMERGED = 15  # emerged whole
    ADULT_DIED_AGE = 16
    ADULT_DIED_BACKGROUND = 17
    ADULT_DIED_HANDLING = 18
    ADULT_REMOVED_SURPLUS = 19


class Flow(IntEnum):
    """Columns of the mass flows, whole nanograms."""

    EGG_MASS = 0  # laid
    GAIN = 1  # larval growth
    HATCHING_LOSS = 2
    PUPATION_LOSS = 3
    EMERGENCE_LOSS = 4
    DEAD_MASS = 5  # bodies of all that died or were eaten or lost
    HARVEST_MASS = 6
    SURPLUS_MASS = 7
    BRAN_EATEN = 8
    FRASS_MADE = 9
    WATER_DRUNK = 10
    WATER_EVAPORATED = 11
    BRAN_GIVEN = 12
    WATER_GIVEN = 13
    BRAN_DISCARDED = 14
    FRASS_DISCARDED = 15
    WATER_DISCARDED = 16
    SKIN_MASS = 17  # shed skins, part of the bran eaten


#: Ways into and out of each stage.
ENTRIES = {
    Stage.EGG: (Event.EGG_LAID,),
    Stage.LARVA: (Event.EGG_HATCHED,),
    Stage.PUPA: (Event.PUPA_FORMED,),
    Stage.ADULT: (Event.ADULT_EMERGED, Event.PUPA_INJURED),
}
EXITS = {
    Stage.EGG: (
        Event.EGG_HATCHED,
        Event.EGG_EATEN_ADULTS,
        Event.EGG_EATEN_LARVAE,
        Event.EGG_LOST_HANDLING,
        Event.EGG_UNHATCHED,
    ),
    Stage.LARVA: (
        Event.PUPA_FORMED,
        Event.LARVA_DIED,
        Event.LARVA_HARVESTED,
        Event.LARVA_LOST_HANDLING,
    ),
    Stage.PUPA: (
        Event.ADULT_EMERGED,
        Event.PUPA_INJURED,
        Event.PUPA_EATEN_ADULTS,
        Event.PUPA_EATEN_LARVAE,
        Event.PUPA_DIED,
        Event.PUPA_LOST_HANDLING,
    ),
    Stage.ADULT: (
        Event.ADULT_DIED_AGE,
        Event.ADULT_DIED_BACKGROUND,
        Event.ADULT_DIED_HANDLING,
        Event.ADULT_REMOVED_SURPLUS,
    ),
}


class Balance:
    """Running totals since the start, against which the living are counted.

    Attributes
    ----------
    events : int64 array, shape (len(Event),)
    flows : int64 array, shape (len(Flow),), ng
    """

    def __init__(self, insects: Insects, bran: int, frass: int, water: int) -> None:
        self.events = np.zeros(len(Event), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)
        self._start_counts = _stage_counts(insects)
        self._start_mass = _total_mass(insects)
        self._start_stocks = (int(bran), int(frass), int(water))

    def add(self, events: np.ndarray, flows: np.ndarray) -> None:
        """Add a day's totals (summed over bins)."""
        self.events += events
        self.flows += flows

    def bring(self, stage: Stage, count: int, mass: int) -> None:
        """Insects from outside (`mass` in ng) count as there from the start."""
        self._start_counts[stage] += count
        self._start_mass += mass

    def errors(self, insects: Insects, bran: int, frass: int, water: int) -> dict[str, int]:
        """Differences between what is there and what the ledger says; all zero when it closes.

        Insects in counts, masses and stocks in ng.
        """
        now = _stage_counts(insects)
        e, f = self.events, self.flows
        gaps = {
            stage.name.lower(): int(
                now[stage]
                - self._start_counts[stage]
                - sum(e[i] for i in ENTRIES[stage])
                + sum(e[o] for o in EXITS[stage])
            )
            for stage in ENTRIES
        }
        expected = (
            self._start_mass
            + f[Flow.EGG_MASS]
            + f[Flow.GAIN]
            - f[Flow.HATCHING_LOSS]
            - f[Flow.PUPATION_LOSS]
            - f[Flow.EMERGENCE_LOSS]
            - f[Flow.DEAD_MASS]
            - f[Flow.HARVEST_MASS]
            - f[Flow.SURPLUS_MASS]
        )
        gaps["insect_mass"] = int(_total_mass(insects) - expected)
        start_bran, start_frass, start_water = self._start_stocks
        gaps["bran"] = int(
            bran - start_bran - f[Flow.BRAN_GIVEN] + f[Flow.BRAN_EATEN] + f[Flow.BRAN_DISCARDED]
        )
        gaps["frass"] = int(frass - start_frass - f[Flow.FRASS_MADE] + f[Flow.FRASS_DISCARDED])
        gaps["moisture"] = int(
            water
            - start_water
            - f[Flow.WATER_GIVEN]
            + f[Flow.WATER_DRUNK]
            + f[Flow.WATER_EVAPORATED]
            + f[Flow.WATER_DISCARDED]
        )
        return gaps


def _stage_counts(insects: Insects) -> np.ndarray:
    return np.bincount(insects.view("stage"), minlength=len(Stage)).astype(np.int64)


def _total_mass(insects: Insects) -> int:
    alive = insects.view("stage") != Stage.DEAD
    return int(insects.view("mass")[alive].sum(dtype=np.int64))
