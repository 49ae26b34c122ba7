"""Live one pair of stored runs again, with what a comparison does not keep: bins and bin log."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.colony.simulate import RunRecord, Scenario
from colony_sim.errors import InputError
from colony_sim.experiment.plan import Plan, PlannedRun
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.running.beside import handed_over
from colony_sim.running.processes import stop_if_asked
from colony_sim.running.protocol import Executor


@dataclass(frozen=True)
class Traces:
    """The same seed under every policy of a comparison.

    Attributes
    ----------
    seed : int
    plan : Plan
        Of the comparison.
    records : dict of str to RunRecord
        By policy, baseline first; with a row a day and bin.
    warm_up : dict of str to int or None
        Day after which the run of each policy counts as settled; None: it never settled.
    """

    seed: int
    plan: Plan
    records: dict[str, RunRecord]
    warm_up: dict[str, int | None]


def retrace(
    folder: Path, policies: tuple[str, ...] | None = None, seed: int | None = None
) -> Traces:
    """Run one seed of a stored comparison again under its policies, bins recorded.

    Parameters
    ----------
    folder : Path
        Results folder of a comparison.
    policies : tuple of str, optional
        Default: all.
    seed : int, optional
        Default: the first seed that settled under the most policies.

    Raises
    ------
    InputError
        If a run does not come out as it is stored: the model is another than it was then.
    """
    folder = Path(folder)
    data = manifest.read(folder)
    seed, plan, asked, runs = _asked(folder, data, policies, seed)
    daily = pd.read_parquet(folder / "daily.parquet", filters=[("seed", "==", seed)])
    known = _known(folder, _changed(folder), seed)
    records: dict[str, RunRecord] = {}
    warm_up: dict[str, int | None] = {}
    for run in asked:
        if run.policy not in known.lived:
            coming = known.coming.pop(run.policy, None)
            record = coming() if coming else _again(run.scenario)
            _refuse_other(record, daily[daily["policy"] == run.policy], data, folder)
            known.lived[run.policy] = record
        records[run.policy] = known.lived[run.policy]
        row = runs[(runs["policy"] == run.policy) & (runs["seed"] == seed)].iloc[0]
        warm_up[run.policy] = int(row["warm_up_days"]) if row["status"] == "settled" else None
    return Traces(seed, plan, records, warm_up)


def begin(folder: Path, executor: Executor, seed: int | None = None) -> None:
    """Have every second run that `retrace` of this folder will ask for lived by an executor.

    Does nothing where `retrace` would refuse.
    """
    with suppress(InputError):
        seed, _, asked, _ = _asked(folder, manifest.read(folder), None, seed)
        coming = _known(folder, _changed(folder), seed).coming
        coming |= {
            run.policy: handed_over(partial(_again, run.scenario), executor) for run in asked[1::2]
        }


def _again(scenario: Scenario) -> RunRecord:
    """A stored run once more, bins recorded."""
    return SteadyMeasuring().live(scenario, stop_if_asked, record_bins=True)


@dataclass
class _Pair:
    """By policy: runs that were lived again, and what waits for one that is lived meanwhile."""

    lived: dict[str, RunRecord] = field(default_factory=dict)
    coming: dict[str, Callable[[], RunRecord]] = field(default_factory=dict)


def _asked(
    folder: Path, data: dict[str, Any], policies: tuple[str, ...] | None, seed: int | None
) -> tuple[int, Plan, list[PlannedRun], pd.DataFrame]:
    """Seed, plan, runs to live again, and the table of all runs."""
    plan = manifest.plan_from(data, str(folder / MANIFEST))
    runs = pd.read_parquet(folder / "runs.parquet")
    seed = _first_settled(runs, plan) if seed is None else seed
    of_seed = [run for run in plan.runs() if run.scenario.seed == seed]
    asked = [run for run in of_seed if policies is None or run.policy in policies]
    return seed, plan, asked, runs


def _changed(folder: Path) -> int:
    return (folder / MANIFEST).stat().st_mtime_ns


@lru_cache(maxsize=1)
def _known(folder: Path, changed: int, seed: int) -> _Pair:
    """What is known of a seed: a page has the racks and the slides of the same runs."""
    return _Pair()


def _first_settled(runs: pd.DataFrame, plan: Plan) -> int:
    settled = runs[runs["status"] == "settled"].groupby("seed").size()
    return max(plan.seeds, key=lambda seed: int(settled.get(seed, 0)))


def _refuse_other(
    record: RunRecord, stored: pd.DataFrame, data: dict[str, Any], folder: Path
) -> None:
    shared = [name for name in stored.columns if name in record.daily]
    same = len(stored) == len(record.daily) and all(
        np.array_equal(stored[name].to_numpy(), record.daily[name].to_numpy()) for name in shared
    )
    if not same:
        differing = "; ".join(manifest.differing_software(data)) or "software unchanged"
        raise InputError(
            str(folder), "runs", f"come out otherwise than stored ({differing})",
            "results of this version: run the comparison again",
        )  # fmt: skip
