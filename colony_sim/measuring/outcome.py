"""What a run came to: steady state and measures, from its daily series.

Large sets of runs keep this one row per run instead of the daily series.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Protocol

import pandas as pd

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario
from colony_sim.measuring import catalogue as measures
from colony_sim.measuring import steady_state
from colony_sim.measuring.catalogue import run_measures
from colony_sim.measuring.steady_state import common_period, steady_state_of_run

FACTS = ("status", "died_out_day", "warm_up_days", "days_used", "note")
"""Fields of an outcome besides the measures."""


class Measuring(Protocol):
    """A way to measure a run. It crosses process borders, so it must be picklable."""

    @property
    def digest(self) -> str:
        """Text that differs when an outcome could differ; part of the key of a stored outcome."""

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Fields of `FACTS` and measures by key, as plain Python values."""


@dataclass(frozen=True)
class SteadyMeasuring:
    """Measures over the steady window of each run, as in a comparison."""

    @property
    def digest(self) -> str:
        """Hash of the source that finds the window and measures in it."""
        return _source_digest()

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """Status, warm-up, days used, note and every measure."""
        season = scenario.climate.period_days
        steady = steady_state_of_run(
            daily,
            died_out_day,
            smooth_period=handling_period(scenario.parameters),
            season_days=season if season > 1 else None,
        )
        return {
            "status": steady.status,
            "died_out_day": None if died_out_day is None else int(died_out_day),
            "warm_up_days": int(steady.warm_up_days),
            "days_used": int(steady.days_used),
            "note": steady.note,
            **run_measures(daily, steady),
        }


def handling_period(parameters: Parameters) -> int:
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
        # Line ends depend on how the source was checked out.
        digest.update(Path(path).read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()
