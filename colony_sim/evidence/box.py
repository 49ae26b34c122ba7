"""Containers as experimenters keep them: insects placed at will, no keeper, the engine's own day.

This is the one place outside the colony that calls `population.kernels.step`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from colony_sim.biology.growth import ideal_clock
from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG, constants, day_rates
from colony_sim.population import census, grown, kernels
from colony_sim.population.draws import Block, duration_factors, uniforms
from colony_sim.population.draws import blocks as word_blocks
from colony_sim.population.insects import Flag, Insects, Stage
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.substrate import Substrate


class Boxes:
    """Some boxes of one floor area in one room.

    Parameters
    ----------
    p : Parameters
        The biology.
    seed : int
        Seed of all draws of the engine.
    boxes : int
    area_dm2 : float, optional
        Floor of each; default: `rack.bin_area_dm2`.
    bran_g : float or array of shape (boxes,)
        Bran in each at the start and, if `renewed`, again before every day, without frass.
    water : float
        Share of the insects' need of moisture that is met every day (0 to 1).
    renewed : bool

    Attributes
    ----------
    insects, substrate : Insects, Substrate
    table : int64 array, shape (boxes + 1, census.COLUMNS)
        The living after the last day; the last row is the engine's tray and stays empty.
    events, flows : int64 arrays
        Of the last day; events per box, masses in ng over all.
    day : int
        Days lived.
    """

    def __init__(
        self,
        p: Parameters,
        seed: int,
        *,
        boxes: int = 1,
        area_dm2: float | None = None,
        bran_g: float | np.ndarray = 100.0,
        water: float = 1.0,
        renewed: bool = True,
    ) -> None:
        if area_dm2 is not None:
            p = p.with_values({"rack.bin_area_dm2": float(area_dm2)}, "box")
        self.p = p
        self.constants = constants(p)
        self.seed, self.day, self.bins = seed, 0, boxes
        self.bran = np.rint(np.broadcast_to(bran_g, boxes) * NG_PER_G).astype(np.int64)
        self.water, self.renewed = water, renewed
        self.insects = Insects()
        self.substrate = Substrate(boxes)
        self.substrate.bran[:-1] = self.bran
        self.events = np.zeros((boxes + 1, len(Event)), np.int64)
        self.flows = np.zeros(len(Flow), np.int64)
        self._next = 1
        self.count()

    def count(self) -> None:
        """Take the census."""
        self.table = census.count(self.insects, self.bins + 1, self.constants.predator_mass)

    def idents(self, count: int) -> np.ndarray:
        """New identities (uint64)."""
        found = np.arange(self._next, self._next + count, dtype=np.uint64)
        self._next += count
        return found

    def add(
        self, count: int, stage: Stage, bins: np.ndarray | int = 0, **fields: np.ndarray | float
    ) -> slice:
        """Place insects and count anew; masses in ng, `bins` a number or one per insect."""
        fields = {"factor": 1.0, "size": 1.0, "stage": stage, "bin": bins, **fields}
        if "ident" not in fields:
            fields["ident"] = self.idents(count)
        if "tolerance" not in fields:
            ident = np.asarray(fields["ident"])
            fields["tolerance"] = grown.tolerances(self.seed, stage, ident)
        rows = self.insects.append(count, **fields)
        self.count()
        return rows

    def _sexes(self, ident: np.ndarray) -> np.ndarray:
        female = uniforms(self.seed, Block.FOUNDER, 3, ident, 0) < self.p["adult.female_share"]
        return np.where(female, Flag.FEMALE, 0).astype(np.uint8)

    def eggs(self, each: int, parents_c: float) -> None:
        """Eggs just laid by parents at a temperature (C), the same number in each box."""
        place = np.repeat(np.arange(self.bins), each)
        ident = self.idents(place.size)
        words = word_blocks(self.seed, Block.LAID, ident, 0)
        viable = (
            uniforms(self.seed, Block.LAID, 1, ident, 0) < day_rates(self.p, parents_c).viability
        )
        self.add(
            place.size,
            Stage.EGG,
            place,
            ident=ident,
            mass=self.constants.egg_mass,
            factor=1.0 / duration_factors(words[:, 2:], self.p["egg.duration_cv"])[0],
            flags=self._sexes(ident) | np.where(viable, Flag.VIABLE, 0).astype(np.uint8),
        )

    def larvae(self, each: int | np.ndarray, clock: float = 0.0, mass_mg: float = 0.0) -> None:
        """Larvae of one age: hatchlings, at a point of the clock, or of an average mass (mg).

        `each` is a number for all boxes or one per box.
        """
        if mass_mg > 0.0:
            clock = min(0.99, float(ideal_clock(self.p, mass_mg)))
        place = np.repeat(np.arange(self.bins), each)
        ident = self.idents(place.size)
        columns = grown.larvae(self.p, self.seed, ident, np.full(place.size, clock))
        self.add(place.size, bins=place, flags=self._sexes(ident), **columns)

    def pupae(self, each: int | np.ndarray, mass_mg: float = 0.0) -> None:
        """Fresh pupae, of ideal mass unless it is given."""
        ideal = self.p["larva.mature_mass_mg"] * self.p["pupa.mass_share"]
        place = np.repeat(np.arange(self.bins), each)
        ident = self.idents(place.size)
        words = word_blocks(self.seed, Block.PUPATED, ident, 0)
        self.add(
            place.size,
            Stage.PUPA,
            place,
            ident=ident,
            mass=round((mass_mg or ideal) * NG_PER_MG),
            factor=1.0 / duration_factors(words[:, :2], self.p["pupa.duration_cv"])[0],
            flags=self._sexes(ident),
        )

    def beetles(
        self,
        each: int | np.ndarray,
        room_c: float,
        age: float = 0.0,
        female: str | float = "paired",
    ) -> None:
        """Beetles of one age (d), of even sex ("paired") or a share of females drawn at random.

        Beetles of age 0 have just emerged and are still teneral.
        """
        place = np.repeat(np.arange(self.bins), each)
        ident = self.idents(place.size)
        columns = grown.beetles(self.p, self.seed, ident, np.full(place.size, age), room_c)
        if age == 0.0:
            columns["size"] = 0.0
        if female == "paired":
            first = np.concatenate([[0], np.cumsum(np.bincount(place, minlength=self.bins))[:-1]])
            sex = ((np.arange(place.size) - first[place]) % 2 == 0).astype(np.uint8)
        else:
            chance = uniforms(self.seed, Block.FOUNDER, 3, ident, 0)
            sex = (chance < female).astype(np.uint8)
        self.add(place.size, bins=place, flags=sex, **columns)

    def take(self, stage: Stage) -> None:
        """Take all insects of a stage away; the next census knows."""
        self.insects.view("stage")[self.insects.rows(stage)] = Stage.DEAD

    def remove(self, stage: Stage) -> None:
        """Take all insects of a stage away and count anew."""
        self.take(stage)
        self.insects.compact()
        self.count()

    def supply(self) -> None:
        """Feed and water before a day."""
        stock = self.substrate
        if self.renewed:
            stock.bran[:-1] = self.bran
            stock.frass[:] = 0
        alive = self.table[:-1, census.LARVA_MASS] + self.table[:-1, census.ADULT_MASS]
        stock.moisture[:-1] = np.ceil(self.water * self.constants.water_need * alive)

    def step(self, room_c: float) -> None:
        """Supply, live a day, count."""
        self.run_day(room_c)
        self.insects.compact()
        self.count()

    def run_day(self, room_c: float) -> None:
        """Supply and live a day; the dead and the census are left as they are."""
        self.day += 1
        self.supply()
        self.events[:] = 0
        self.flows[:] = 0
        kernels.step(
            self.constants,
            room_c,
            self.seed,
            self.day,
            self.insects,
            self.substrate,
            self.table,
            self.events,
            self.flows,
        )

    def masses(self, stage: Stage, box: int | None = None) -> np.ndarray:
        """Masses (mg) of the insects of a stage."""
        return self.insects.mass[self.insects.rows(stage, box)] / NG_PER_MG

    def live(
        self,
        room_c: float,
        days: int,
        remove: Iterable[Stage] = (),
        until: Callable[[Boxes], bool] | None = None,
        each_day: Callable[[Boxes], object] | None = None,
    ) -> Record:
        """Live some days, or until nobody is left or `until` holds.

        `each_day` sees the boxes after every day, when the stages to `remove` are gone.
        """
        events, flows, seen, fresh = [], [], [], []
        for _ in range(days):
            self.run_day(room_c)
            events.append(self.events[:-1].copy())
            flows.append(self.flows.copy())
            if self.events[:, Event.PUPA_FORMED].any():
                store = self.insects
                new = np.flatnonzero((store.view("stage") == Stage.PUPA) & (store.view("age") == 0))
                fresh.append(
                    np.column_stack([store.bin[new], store.mass[new] / NG_PER_MG, store.tally[new]])
                )
            for stage in remove:
                self.take(stage)
            self.insects.compact()
            self.count()
            if each_day is not None:
                seen.append(each_day(self))
            if (until is not None and until(self)) or not self.table[:, :4].any():
                break
        pupae = np.concatenate(fresh) if fresh else np.zeros((0, 3))
        return Record(np.array(events), np.array(flows), pupae, seen)


@dataclass(frozen=True)
class Record:
    """What was seen over some days.

    Attributes
    ----------
    events : int64 array, shape (days, boxes, len(Event))
    flows : int64 array, shape (days, len(Flow)), ng
    pupae : float64 array, shape (pupae, 3)
        Box, mass (mg) and last instar of each fresh pupa.
    seen : list
        What `each_day` returned.
    """

    events: np.ndarray
    flows: np.ndarray
    pupae: np.ndarray
    seen: list[Any]

    def days(self, event: Event, box: int | slice = slice(None)) -> np.ndarray:
        """Days since the start at which each such event happened, in the middle of its day."""
        counts = self.events[:, box, event]
        counts = counts if counts.ndim == 1 else counts.sum(axis=1)
        return np.repeat(np.arange(counts.size) + 0.5, counts)

    def mean_day(self, event: Event, box: int | slice = slice(None)) -> float:
        """Mean of `days`; NaN when it never happened."""
        found = self.days(event, box)
        return float(found.mean()) if found.size else math.nan

    def total(self, *wanted: Event, box: int | slice = slice(None)) -> int:
        """Number of such events."""
        return int(sum(self.events[:, box, event].sum() for event in wanted))

    def feed_per_gain(self) -> float:
        """Bran eaten per larval gain (g/g); NaN without gain."""
        gain = self.flows[:, Flow.GAIN].sum()
        return float(self.flows[:, Flow.BRAN_EATEN].sum() / gain) if gain > 0 else math.nan
