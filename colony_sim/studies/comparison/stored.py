"""The runs of a comparison as its store holds them."""

from __future__ import annotations

from typing import Any

import pandas as pd

from colony_sim.experiment.plan import PlannedRun
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.measuring.series import unpack
from colony_sim.running.store import OutcomeStore


def measured(run: PlannedRun, store: OutcomeStore) -> tuple[pd.DataFrame, dict[str, Any]]:
    """The daily series of a finished run, and its outcome."""
    found = unpack(store.get(run.key))
    return found.daily, SteadyMeasuring().outcome(run.scenario, found.daily, found.died_out_day)
