"""The runs of a comparison as its store holds them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pandas as pd

from colony_sim.experiment.plan import Plan, PlannedRun
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.measuring.series import WholeSeries, unpack
from colony_sim.running.executor import outcome_key
from colony_sim.running.store import OutcomeStore


def planned(plan: Plan) -> Iterator[PlannedRun]:
    """The runs of a plan, each with the key under which its daily series is stored."""
    for run in plan.runs():
        yield replace(run, key=outcome_key(run.scenario, WholeSeries()))


def measured(run: PlannedRun, store: OutcomeStore) -> tuple[pd.DataFrame, dict[str, Any]]:
    """The daily series of a finished run, and its outcome."""
    found = unpack(store.get(run.key))
    return found.daily, SteadyMeasuring().outcome(run.scenario, found.daily, found.died_out_day)


def place(plan: Plan, run: PlannedRun) -> dict[str, Any]:
    """Where a run belongs."""
    place = {"policy": run.policy, "replicate": run.replicate, "seed": run.scenario.seed}
    return place if plan.profile is None else place | {"world": plan.world(run.replicate)}
