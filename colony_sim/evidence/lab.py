"""What the replications have in common: rooms, cups, groups of beetles, and what is counted."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

from colony_sim.biology.parameters import Parameters
from colony_sim.evidence.box import Boxes, Record
from colony_sim.population import census
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event

#: Dry matter of wheat bran as fed (from memory of feed tables).
BRAN_DRY = 0.88
#: Depth of feed in a cup (cm), where only the number of larvae per volume matters.
CUP_CM = 3.0
#: Insects of a cohort: enough that sampling decides nothing.
COHORT = 400
#: No stage is followed longer (d).
LONGEST = 500

#: What a replication reports: a number, or one number an individual.
Found = Mapping[str, float | np.number[Any] | np.ndarray]


@dataclass(frozen=True)
class Lab:
    """One draw of a replication: the biology, the seed, and the open circumstances.

    All boxes of a draw share the seed, so that their comparisons are paired.
    """

    p: Parameters
    seed: int
    given: Mapping[str, float]

    def __getitem__(self, name: str) -> float:
        return self.given[name]

    @property
    def water(self) -> float:
        """Share of the need of moisture that is met; all of it unless a range is drawn from."""
        return self.given.get("water", self.given.get("water_on_bran", 1.0))

    def bran_g(self, cm3: float) -> float:
        """Bran (g) that fills a volume."""
        return cm3 / self.p["feed.bran_cm3_per_g"]

    def boxes(self, **settings: Any) -> Boxes:
        """Boxes of this draw; water as drawn unless it is given."""
        return Boxes(self.p, self.seed, **{"water": self.water, **settings})

    def layer(self, area_dm2: float, depth_cm: float, **settings: Any) -> Boxes:
        """Boxes with bran to a depth."""
        bran = self.bran_g(100.0 * area_dm2 * depth_cm)
        return self.boxes(area_dm2=area_dm2, bran_g=bran, **settings)

    def cup(self, larvae: int = COHORT, per_cm3: float | None = None, **settings: Any) -> Boxes:
        """A cup of feed for so many larvae at the drawn number per volume, or a given one."""
        per_cm3 = self.given.get("larvae_per_cm3", 0.1) if per_cm3 is None else per_cm3
        cm3 = max(50.0, larvae / per_cm3)
        return self.layer(cm3 / (100.0 * CUP_CM), CUP_CM, **settings)

    # ---- Development

    def larvae(self, room_c: float, count: int = COHORT, **settings: Any) -> Record:
        """Hatchlings reared until all are pupae or dead; pupae are taken out as they form."""
        cup = self.cup(count, **settings)
        cup.larvae(count)
        return cup.live(room_c, LONGEST, remove=(Stage.PUPA,))

    def larval_days(self, room_c: float, **settings: Any) -> float:
        """Mean larval period (d)."""
        return self.larvae(room_c, **settings).mean_day(Event.PUPA_FORMED)

    def eggs(self, room_c: float, count: int = 2 * COHORT) -> Record:
        """Eggs of parents at this temperature, kept until all have hatched or died."""
        cup = self.cup(count)
        cup.eggs(count, room_c)
        return cup.live(room_c, 100, remove=(Stage.LARVA,))

    def egg_days(self, room_c: float) -> float:
        """Mean egg period (d)."""
        return self.eggs(room_c).mean_day(Event.EGG_HATCHED)

    def pupae(self, room_c: float, count: int = COHORT) -> Record:
        """Fresh pupae kept apart until all have emerged or died."""
        dish = self.layer(count / 100.0, 1.0)
        dish.pupae(count)
        return dish.live(room_c, 120, remove=(Stage.ADULT,))

    def pupal_days(self, room_c: float) -> float:
        """Mean pupal period (d)."""
        return self.pupae(room_c).mean_day(Event.ADULT_EMERGED)

    def life(self, room_c: float, count: int = COHORT) -> Record:
        """Eggs reared to beetles, which are taken out as they emerge."""
        cup = self.cup(count)
        cup.eggs(count, room_c)
        return cup.live(room_c, LONGEST, remove=(Stage.ADULT,))

    # ---- Beetles

    def couples(
        self,
        room_c: float,
        days: int,
        pairs: int = 200,
        removal_days: int = 1,
        age: float = 0.0,
    ) -> Laying:
        """Beetles of even sex from emergence (or an age) on; eggs and larvae taken out at times.

        At the drawn density (`adults_per_dm2`, else 10) on 1 cm of feed.
        """
        box = self.layer(2 * pairs / self.given.get("adults_per_dm2", 10.0), 1.0)
        box.beetles(2 * pairs, room_c, age)

        def look(b: Boxes) -> tuple[int, int]:
            found = 0
            if b.day % removal_days == 0:
                found = int(b.table[:, census.EGGS].sum() + b.table[:, census.LARVAE].sum())
                b.remove(Stage.EGG)
                b.remove(Stage.LARVA)
            return found, females(b)

        record = box.live(room_c, days, each_day=look, until=lambda b: not females(b))
        found, alive = np.array(record.seen).T
        return Laying(pairs, found, alive, record)

    def lives(self, room_c: float, beetles: int = COHORT) -> np.ndarray:
        """Lengths of life (d) of beetles from emergence on."""
        box = self.layer(beetles / self.given.get("adults_per_dm2", 10.0), 1.0)
        box.beetles(beetles, room_c)
        record = box.live(room_c, 600, remove=(Stage.EGG, Stage.LARVA))
        dead = (Event.ADULT_DIED_AGE, Event.ADULT_DIED_BACKGROUND)
        return np.concatenate([record.days(event) for event in dead])

    def doubling_days(self, room_c: float) -> float:
        """Doubling time (d) of a population, from its life table (Lotka's equation).

        Infinite where it does not grow.
        """
        reared = self.life(room_c, 2 * COHORT)
        emerged = reared.days(Event.ADULT_EMERGED)
        laying = self.couples(room_c, 260)
        by_age = laying.found / laying.pairs
        age = np.arange(by_age.size) + 0.5

        def excess(r: float) -> float:
            daughters = self.p["adult.female_share"] * np.exp(-r * emerged).sum() / (2 * COHORT)
            return float(daughters * (by_age * np.exp(-r * age)).sum()) - 1.0

        if excess(0.0) <= 0.0:
            return math.inf
        return math.log(2.0) / brentq(excess, 0.0, 1.0)


@dataclass(frozen=True)
class Laying:
    """Eggs found at each removal and females alive, by day (int arrays)."""

    pairs: int
    found: np.ndarray
    alive: np.ndarray
    record: Record

    @property
    def per_female(self) -> float:
        """Eggs found in a lifetime per female that began."""
        return float(self.found.sum() / self.pairs)

    @property
    def per_day(self) -> float:
        """Eggs found per female alive and day."""
        return float(self.found.sum() / max(1, self.alive.sum()))

    def weekly(self) -> np.ndarray:
        """Eggs per living female and day over seven days around each day."""
        seven = np.ones(7)
        alive = np.convolve(self.alive, seven, "same")
        return np.convolve(self.found, seven, "same") / np.maximum(alive, 1)


def females(boxes: Boxes) -> int:
    """Females alive."""
    store = boxes.insects
    return int(store.has(store.rows(Stage.ADULT), Flag.FEMALE).sum())


def ratio(first: float, second: float) -> float:
    """first / second; NaN where the second is zero."""
    return float(first / second) if second else math.nan
