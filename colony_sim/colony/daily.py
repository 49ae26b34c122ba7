"""The columns of the daily series: stocks at the end of the day and flows of the day."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.framework import DataCollector
from colony_sim.colony.rack import Rack
from colony_sim.population import census
from colony_sim.population.ledger import Event, Flow

Reader = Callable[[Rack], float]


def _stock(column: int) -> Reader:
    return lambda m: int(m.stock_totals[column])


def _event(event: Event) -> Reader:
    return lambda m: int(m.event_totals[event])


def _grams(flow: Flow) -> Reader:
    return lambda m: float(m.flows[flow]) / NG_PER_G


def _substrate(name: str) -> Reader:
    return lambda m: float(getattr(m.substrate, name).sum()) / NG_PER_G


def _breeders(m: Rack) -> int:
    return sum(int(m.table[b.index, census.BREEDERS]) for b in m.bins if b.phase is Phase.BREEDING)


#: Column name to how it is read; counts unless the name ends in _g (grams) or says otherwise.
DAILY_COLUMNS: dict[str, Reader] = {
    "day": lambda m: m.day,
    "temperature_c": lambda m: m.temperature_c,
    "eggs": _stock(census.EGGS),
    "larvae": _stock(census.LARVAE),
    "pupae": _stock(census.PUPAE),
    "adults": _stock(census.ADULTS),
    "breeders": _breeders,
    "larvae_g": lambda m: float(m.stock_totals[census.LARVA_MASS]) / NG_PER_G,
    "bins_in_use": lambda m: m.bins_in_use(),
    "bran_g": _substrate("bran"),
    "frass_g": _substrate("frass"),
    "moisture_g": _substrate("moisture"),
    "harvest_larvae": _event(Event.LARVA_HARVESTED),
    "harvest_g": _grams(Flow.HARVEST_MASS),
    "eggs_laid": _event(Event.EGG_LAID),
    "eggs_hatched": _event(Event.EGG_HATCHED),
    "eggs_eaten_adults": _event(Event.EGG_EATEN_ADULTS),
    "eggs_eaten_larvae": _event(Event.EGG_EATEN_LARVAE),
    "eggs_lost_handling": _event(Event.EGG_LOST_HANDLING),
    "eggs_unhatched": _event(Event.EGG_UNHATCHED),
    "larvae_died": _event(Event.LARVA_DIED),
    "larvae_lost_handling": _event(Event.LARVA_LOST_HANDLING),
    "pupae_formed": _event(Event.PUPA_FORMED),
    "pupae_eaten_adults": _event(Event.PUPA_EATEN_ADULTS),
    "pupae_eaten_larvae": _event(Event.PUPA_EATEN_LARVAE),
    "pupae_injured": _event(Event.PUPA_INJURED),
    "pupae_died": _event(Event.PUPA_DIED),
    "pupae_lost_handling": _event(Event.PUPA_LOST_HANDLING),
    "adults_emerged": _event(Event.ADULT_EMERGED),
    "adults_died_age": _event(Event.ADULT_DIED_AGE),
    "adults_died_background": _event(Event.ADULT_DIED_BACKGROUND),
    "adults_died_handling": _event(Event.ADULT_DIED_HANDLING),
    "adults_removed_surplus": _event(Event.ADULT_REMOVED_SURPLUS),
    "bran_given_g": _grams(Flow.BRAN_GIVEN),
    "bran_eaten_g": _grams(Flow.BRAN_EATEN),
    "moisture_given_g": _grams(Flow.WATER_GIVEN),
    "work_minutes": lambda m: m.keeper.minutes,
}


class DailyCollector(DataCollector):
    """Mesa's collector with the daily series, whose plain numbers need no deep copy.

    Copies and checks of every number took Mesa's own longer than the kernels a small colony.
    """

    def __init__(self, agenttype_reporters: Mapping[type[Bin], Any] | None = None) -> None:
        super().__init__(agenttype_reporters=agenttype_reporters)
        self.model_vars: dict[str, list[Any]] = {name: [] for name in DAILY_COLUMNS}

    def collect(self, model: Rack) -> None:
        """Add a row for the day."""
        for name, read in DAILY_COLUMNS.items():
            self.model_vars[name].append(read(model))
        super().collect(model)

    def get_model_vars_dataframe(self) -> pd.DataFrame:
        """One row a day, columns of `DAILY_COLUMNS`."""
        return pd.DataFrame(self.model_vars)
