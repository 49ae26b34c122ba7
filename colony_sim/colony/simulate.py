"""One run: a scenario in, its daily series, bin log and end out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import mesa
import pandas as pd

from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.bins import Bin
from colony_sim.colony.model import Colony


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
    """

    parameters: Parameters
    climate: Climate
    days: int
    seed: int
    breeders: int
    larvae: int = 0


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


def forget(colony: Colony) -> None:
    """Let a colony that is over be freed: Mesa before 3.5 keeps every model it counted for."""
    counters = getattr(mesa.Agent, "_ids", None)
    if counters is not None:
        counters.pop(colony, None)


def simulate(
    scenario: Scenario,
    each_day: Callable[[int], None] | None = None,
    record_bins: bool = False,
) -> RunRecord:
    """Live a scenario from day 1 to its end, or until no insect is left.

    Parameters
    ----------
    scenario : Scenario
    each_day : callable, optional
        Called with the number of each day after it is over.
    record_bins : bool
        Whether to keep a row a day for each bin.

    Raises
    ------
    RuntimeError
        A ledger of the run does not close: a fault of the program, never of the input.
    """
    colony = Colony(
        as_lived(scenario.parameters, scenario.climate),
        scenario.climate.daily(scenario.days),
        scenario.seed,
        scenario.breeders,
        scenario.larvae,
        record_bins,
    )
    died_out_day = None
    for day in range(1, scenario.days + 1):
        colony.step()
        if each_day is not None:
            each_day(day)
        if colony.alive == 0:
            died_out_day = day
            break
    forget(colony)
    gaps = {name: gap for name, gap in colony.balance_errors().items() if gap}
    if gaps:
        raise RuntimeError(f"ledger does not close: {gaps}")
    bins_daily = pd.DataFrame()
    if record_bins:
        bins_daily = colony.datacollector.get_agenttype_vars_dataframe(Bin).reset_index(drop=True)
    return RunRecord(
        daily=colony.datacollector.get_model_vars_dataframe(),
        bin_log=colony.binlog.frame(),
        bins_daily=bins_daily,
        died_out_day=died_out_day,
    )
