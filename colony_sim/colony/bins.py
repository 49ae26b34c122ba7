"""A bin of the rack, as a Mesa agent over the colony's arrays."""

from __future__ import annotations

from enum import StrEnum

from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.framework import mesa
from colony_sim.colony.state import State
from colony_sim.population import census


class Phase(StrEnum):
    """What a bin is used for."""

    FREE = "free"
    BREEDING = "breeding"
    GROWING = "growing"


class Bin(mesa.Agent):
    """One bin: its phase, the dates on its label, and views of its stocks.

    Attributes
    ----------
    index : int
        Place in the rack, from 0; labels count from 1.
    phase : Phase
    date_in, date_out : int or None
        Day the beetles went in and out.
    moist : bool
        Whether moisture has been started.
    harvested : bool
        Whether it has been harvested since it was filled.
    """

    model: State

    def __init__(self, model: State, index: int) -> None:
        super().__init__(model)
        self.index = index
        self.make_free()

    def make_free(self) -> None:
        """Wipe the label: the bin is empty and waits for its next use."""
        self.phase = Phase.FREE
        self.date_in: int | None = None
        self.date_out: int | None = None
        self.moist = self.harvested = False

    @property
    def label(self) -> int:
        """Number on the bin, from 1."""
        return self.index + 1

    @property
    def age(self) -> int:
        """Days since the beetles left; only a growing bin has an age."""
        assert self.date_out is not None
        return self.model.day - self.date_out

    @property
    def counts(self) -> tuple[int, int, int, int]:
        """Eggs, larvae, pupae and adults at the last census."""
        eggs, larvae, pupae, adults = self.model.table[self.index, :4].tolist()
        return eggs, larvae, pupae, adults

    @property
    def insects(self) -> int:
        """Insects of all stages at the last census."""
        return sum(self.counts)

    @property
    def larvae_g(self) -> float:
        """Live mass of larvae at the last census (g)."""
        return float(self.model.table[self.index, census.LARVA_MASS]) / NG_PER_G

    @property
    def bran_g(self) -> float:
        """Bran left (g)."""
        return float(self.model.substrate.bran[self.index]) / NG_PER_G

    @property
    def frass_g(self) -> float:
        """Frass (g)."""
        return float(self.model.substrate.frass[self.index]) / NG_PER_G

    @property
    def moisture_g(self) -> float:
        """Free moisture (g)."""
        return float(self.model.substrate.moisture[self.index]) / NG_PER_G

    @property
    def temperature_c(self) -> float:
        """Mean temperature of the day (C); NaN before the first."""
        return float(self.model.substrate.temperature[self.index])

    @property
    def skins(self) -> int:
        """Skins shed in this bin since it was filled."""
        return int(self.model.substrate.skins[self.index])

    @property
    def visible_skins(self) -> int:
        """Skins large enough to be seen."""
        return int(self.model.substrate.visible_skins[self.index])

    @property
    def dead_adults(self) -> int:
        """Dead beetles lying in the bin."""
        return int(self.model.substrate.dead_adults[self.index])


#: Columns of the daily series of bins, and the attribute each is read from.
BIN_COLUMNS = {
    "bin": lambda b: b.label,
    "phase": lambda b: b.phase.value,
    "date_in": lambda b: b.date_in,
    "date_out": lambda b: b.date_out,
    "eggs": lambda b: b.counts[0],
    "larvae": lambda b: b.counts[1],
    "pupae": lambda b: b.counts[2],
    "adults": lambda b: b.counts[3],
    "larvae_g": lambda b: b.larvae_g,
    "bran_g": lambda b: b.bran_g,
    "frass_g": lambda b: b.frass_g,
    "moisture_g": lambda b: b.moisture_g,
    "temperature_c": lambda b: b.temperature_c,
    "skins": lambda b: b.skins,
    "visible_skins": lambda b: b.visible_skins,
    "dead_adults": lambda b: b.dead_adults,
}
