"""What a run came to: steady state and measures, from its daily series.

The estimand of every comparison is unconditional: the mean over all seeds, whatever became of the
colony. A run is measured over its steady window. One that is not yet steady is lived on, to
`LONGEST` times its days; what is not steady even then, and a colony that died out, is measured
over the last half of its days, those after its death counted with no harvest. So no run is left
out of a mean but where a measure has no meaning for it (losses per beetle without a beetle).

Large sets of runs keep one row per run instead of the daily series.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import pandas as pd

from colony_sim.colony.model import Colony
from colony_sim.colony.simulate import RunRecord, Scenario, simulate
from colony_sim.measuring import catalogue as measures
from colony_sim.measuring import steady_state
from colony_sim.measuring.catalogue import run_measures
from colony_sim.measuring.steady_state import SteadyState, common_period, steady_state_of_run
from colony_sim.source import source_bytes

LONGEST = 2
"""A run that is not steady is lived on to this many times the days asked for, once."""
IN_WORDS = (
    "The warm-up of each run was found from its daily series and left out. A run that was not "
    f"steady was lived on to {LONGEST} times its days, once; one that was not steady even then, or "
    "died out, was measured over the last half of its days, without harvest after its death."
)
"""How runs are measured, for a methods paragraph."""
FACTS = ("status", "died_out_day", "warm_up_days", "days_used", "note")
"""Fields of an outcome besides the measures."""


class Measuring:
    """A way to live and measure a run. It crosses process borders, so it must be picklable."""

    @property
    def digest(self) -> str:
        """Text that differs when an outcome could differ; part of the key of a stored outcome."""
        raise NotImplementedError

    def live(
        self,
        scenario: Scenario,
        each_day: Callable[[int], object] | None = None,
        record_bins: bool = False,
    ) -> RunRecord:
        """The run, over the days of the scenario."""
        return simulate(scenario, each_day, record_bins)

    def of_record(self, scenario: Scenario, record: RunRecord) -> dict[str, Any] | bytes:
        """What is kept of a run: `outcome` of its daily series, unless more is needed."""
        return self.outcome(scenario, record.daily, record.died_out_day)

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Fields of `FACTS` and measures by key, as plain Python values."""
        raise NotImplementedError


@dataclass(frozen=True)
class SteadyMeasuring(Measuring):
    """Measures over the steady window of each run, as in a comparison."""

    @property
    def digest(self) -> str:
        """Hash of the source that finds the window and measures in it."""
        return _source_digest()

    def live(
        self,
        scenario: Scenario,
        each_day: Callable[[int], object] | None = None,
        record_bins: bool = False,
    ) -> RunRecord:
        """The run, as long as it takes to be steady: its own days or `LONGEST` times them."""

        def steady(colony: Colony) -> bool:
            daily = colony.datacollector.get_model_vars_dataframe()
            return self.steady_state(scenario, daily, None).status != "unsettled"

        return simulate(
            replace(scenario, days=LONGEST * scenario.days),
            each_day,
            record_bins,
            over=lambda colony: (
                colony.alive == 0 or (colony.day == scenario.days and steady(colony))
            ),
        )

    def steady_state(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> SteadyState:
        """Steady state of a run lived under a scenario."""
        season = scenario.climate.period_days
        return steady_state_of_run(
            daily,
            died_out_day,
            smooth_period=handling_period(scenario.parameters),
            season_days=season if season > 1 else None,
        )

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Status, warm-up, days used, note and every measure."""
        steady = self.steady_state(scenario, daily, died_out_day)
        days = max(scenario.days, len(daily))
        warm_up = steady.warm_up_days
        if steady.status != "settled":
            warm_up = days - last_half(days, whole_period(scenario))
        return {
            "status": steady.status,
            "died_out_day": None if died_out_day is None else int(died_out_day),
            "warm_up_days": int(warm_up),
            "days_used": int(days - warm_up),
            "note": steady.note,
            **run_measures(daily, warm_up, days),
        }


def last_half(days: int, period: int) -> int:
    """Days of the last half of a run, whole periods (days) where one fits in."""
    half = max(days // 2, 1)
    return half - half % period if period <= half else half


def whole_period(scenario: Scenario) -> int:
    """Days of a season, where there are seasons, else of `handling_period`."""
    season = scenario.climate.period_days
    return season if season > 1 else handling_period(scenario.parameters)


def handling_period(parameters: Mapping[str, Any]) -> int:
    """Days after which the pulses of handling repeat; batches of that length even them out."""
    intervals = [
        parameters["rotation.interval_days"],
        parameters["rotation.collect_days"],
        parameters["harvest.interval_days"],
    ]
    if parameters["pupae.isolate"]:
        intervals.append(parameters["pupae.inspection_days"])
    return common_period([int(days) for days in intervals])


@cache
def _source_digest() -> str:
    digest = hashlib.sha256()
    for path in (__file__, measures.__file__, steady_state.__file__):
        digest.update(source_bytes(path))
    return digest.hexdigest()
