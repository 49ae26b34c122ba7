"""What a sweep would take, before it starts: runs, time, memory, disk."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.running.executor import run_all_points
from colony_sim.running.protocol import Executor
from colony_sim.running.store import Cost, open_store, read_store
from colony_sim.studies.sweep.run import SweepPlan

BYTES_PER_RUN = 2_000
"""Disk space of a run in store and tables, found from sweeps with all measures."""


@dataclass(frozen=True)
class SweepCost:
    """Cost of a sweep.

    Attributes
    ----------
    points, policies, replicates, most_replicates : int
        Runs are their product (with `replicates`, the first look of a rule).
    runs, stored, left : int
        Runs, those that are finished, and those to do.
    cost : Cost or None
        Of one run; None if there is nothing to go by.
    pilot : bool
        Whether the cost is that of one run just made for the purpose.
    at_once : int
        Runs at a time.
    """

    points: int
    policies: int
    replicates: int
    most_replicates: int
    runs: int
    stored: int
    cost: Cost | None
    pilot: bool
    at_once: int

    @property
    def left(self) -> int:
        """Runs to do."""
        return self.runs - self.stored

    @property
    def seconds(self) -> float | None:
        """Wall time; None if it is not known."""
        if self.cost is None:
            return None
        return self.cost.seconds * -(-self.left // self.at_once)

    @property
    def megabytes(self) -> float | None:
        """Memory of all workers at their peak; None if it is not known."""
        if self.cost is None or self.cost.peak_mb is None:
            return None
        return self.cost.peak_mb * min(self.at_once, max(self.left, 1))

    @property
    def disk_megabytes(self) -> float:
        """Disk space of the results."""
        return self.runs * BYTES_PER_RUN / 1e6


def estimate(sweep: SweepPlan, folder: Path, executor: Executor | None, at_once: int) -> SweepCost:
    """Count the runs and what one takes.

    The cost is the mean over the runs in the store of the folder. Without any, one pilot run of
    the first point is made on `executor`, if there is one, and not kept. Nothing is written.
    """
    measuring = SteadyMeasuring()
    stored, first = 0, next(iter(sweep.runs(measuring)), None)
    with read_store(folder) as store:
        cost = None if store is None else store.cost()
        if store is not None and cost is not None:
            stored = sum(store.has(run.key) for run in sweep.runs(measuring))
    pilot = False
    if cost is None and first is not None and executor is not None:
        pilot = True
        with open_store(None) as memory:
            for _ in run_all_points([first], 1, memory, executor, measuring):
                cost = memory.cost()
    return SweepCost(
        points=len(sweep.points),
        policies=len(sweep.plan.policies),
        replicates=sweep.replicates,
        most_replicates=sweep.most_replicates,
        runs=sweep.n_runs,
        stored=stored,
        cost=cost,
        pilot=pilot,
        at_once=at_once,
    )
