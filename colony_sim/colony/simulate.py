"""One run: a scenario in, its daily series, bin log and end out."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Bin
from colony_sim.colony.framework import mesa
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.model import Colony
from colony_sim.colony.own_keeper import MakeKeeper, OwnKeeper

Observer = Callable[[Colony], object]


@dataclass(frozen=True)
class Scenario:
    """All that a run depends on.

    Attributes
    ----------
    parameters : Parameters
        Biology and handling.
    climate : Climate
        Room temperature.
    days : int
        Length of the run (d).
    seed : int
        Run seed, 0 to 2**64 - 1.
    breeders, larvae : int
        Founder beetles, and founder larvae spread over all ages.
    keeper : OwnKeeper or None
        A keeper of one's own; None: `keeper.Keeper`, who follows the handling keys.
    """

    parameters: Parameters
    climate: Climate
    days: int
    seed: int
    breeders: int
    larvae: int = 0
    keeper: OwnKeeper | None = None


@dataclass
class RunRecord:
    """What a run left behind.

    Attributes
    ----------
    daily : DataFrame
        One row a day, columns of `colony.daily.DAILY_COLUMNS`.
    bin_log : DataFrame
        One row for each action on a bin.
    bins_daily : DataFrame
        One row a day and bin, empty unless asked for.
    died_out_day : int or None
        Day on which no insect was left.
    """

    daily: pd.DataFrame
    bin_log: pd.DataFrame
    bins_daily: pd.DataFrame
    died_out_day: int | None


def as_lived(parameters: Parameters, climate: Climate) -> Parameters:
    """Parameters without heat of the insects where the climate was logged inside a bin."""
    if climate.place != "bin":
        return parameters
    return parameters.with_values({"heat.own": False}, where="climate.place")


def day_by_day(
    scenario: Scenario,
    keeper: MakeKeeper | None = None,
    observers: Iterable[Observer] = (),
    *,
    over: Callable[[Colony], bool] = lambda colony: colony.alive == 0,
    record_bins: bool = False,
) -> Iterator[Colony]:
    """Live a scenario: its colony on day 0 and after each day, always the same object.

    Parameters
    ----------
    scenario : Scenario
    keeper : callable, optional
        Makes who works in the colony (see `own_keeper.KeeperLike`); default: that of the scenario.
    observers : iterable of callable
        Called with the colony after each day, in this order; what one raises ends the run.
    over : callable
        Whether the run ends with this day, before its last; default: no insect is left.
    record_bins : bool
        Whether to keep a row a day for each bin.

    Raises
    ------
    RuntimeError
        A ledger of the run does not close at its end: a fault of the program or of a keeper of
        one's own, never of the input.
    """
    observers = tuple(observers)
    colony = Colony(
        as_lived(scenario.parameters, scenario.climate),
        scenario.climate.daily(max(scenario.days, 1)),
        scenario.seed,
        scenario.breeders,
        scenario.larvae,
        record_bins,
        keeper or scenario.keeper or Keeper,
    )
    try:
        ended = scenario.days == 0
        yield colony
        while not ended:
            colony.step()
            ended = colony.day == scenario.days or over(colony)
            if ended:
                _check_ledgers(colony)
            for observe in observers:
                observe(colony)
            yield colony
    finally:
        # Mesa before 3.5 keeps every model it counted agents for.
        getattr(mesa.Agent, "_ids", {}).pop(colony, None)


def live(
    scenario: Scenario,
    keeper: MakeKeeper | None = None,
    observers: Iterable[Observer] = (),
    **options: Any,
) -> Colony:
    """Live a scenario to its end, as `day_by_day` with the same arguments; the colony then."""
    return deque(day_by_day(scenario, keeper, observers, **options), maxlen=1).pop()


def _check_ledgers(colony: Colony) -> None:
    gaps = {name: gap for name, gap in colony.balance_errors().items() if gap}
    if gaps:
        raise RuntimeError(f"ledger does not close: {gaps}")


def simulate(
    scenario: Scenario,
    each_day: Callable[[int], object] | None = None,
    record_bins: bool = False,
    keeper: MakeKeeper | None = None,
    **options: Any,
) -> RunRecord:
    """Live a scenario from day 1 to its end, or until no insect is left.

    Parameters
    ----------
    scenario : Scenario
    each_day : callable, optional
        Called with the number of each day after it is over.
    record_bins : bool
        Whether to keep a row a day for each bin.
    keeper : callable, optional
    **options
        As in `day_by_day`, which also tells what is raised.
    """
    observers = [] if each_day is None else [lambda colony: each_day(colony.day)]
    colony = live(scenario, keeper, observers, record_bins=record_bins, **options)
    collected = colony.datacollector
    bins_daily = pd.DataFrame()
    if record_bins:
        bins_daily = collected.get_agenttype_vars_dataframe(Bin).reset_index(drop=True)
    return RunRecord(
        daily=collected.get_model_vars_dataframe(),
        bin_log=colony.binlog.frame(),
        bins_daily=bins_daily,
        died_out_day=colony.day if colony.alive == 0 else None,
    )
