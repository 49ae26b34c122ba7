"""Parts of the scale benchmark that run in processes of their own."""

from __future__ import annotations

import json
import os
import resource
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import RunRecord, Scenario
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.measuring.outcome import Measuring
from colony_sim.running.cluster import ClusterExecutor
from colony_sim.running.executor import outcome_key
from colony_sim.running.jobs import run_jobs
from colony_sim.running.store import open_store
from colony_sim.running.task import Task

#: Of a run of about 10 ms; short, but a run as any other.
DAYS, BREEDERS = 5, 10
WAIT_SECONDS = 0.010
_busy = {"runs": 0, "lived": 0, "in_runs": 0.0, "at_start": 0.0}


@dataclass(frozen=True)
class LastDay(Measuring):
    """What there is on the last day; counts the processor time of runs in this process."""

    @property
    def digest(self) -> str:
        """Nothing of the model hangs on it."""
        return "last day"

    def live(self, scenario: Scenario, each_day=None, record_bins: bool = False) -> RunRecord:
        """The run, its processor time noted."""
        begin = time.thread_time()
        try:
            return super().live(scenario, each_day, record_bins)
        finally:
            _busy["runs"] += 1
            _busy["lived"] += 1
            _busy["in_runs"] += time.thread_time() - begin

    def outcome(
        self, scenario: Scenario, daily: pd.DataFrame, died_out_day: int | None
    ) -> dict[str, Any]:
        """The last row of the daily series."""
        return {name: float(value) for name, value in daily.iloc[-1].items()}


@dataclass(frozen=True)
class Waiting(LastDay):
    """A run that takes its time without a core, so that more can be under way than there are."""

    size: int
    """Bytes of an outcome."""

    @property
    def digest(self) -> str:
        """Another than that of runs lived."""
        return "waiting"

    def live(self, scenario: Scenario, each_day=None, record_bins: bool = False) -> RunRecord:
        """Nothing but the time of a run; what a worker took to be ready is noted before."""
        _busy["at_start"] = _busy["at_start"] or time.process_time()
        _busy["runs"] += 1
        time.sleep(WAIT_SECONDS)
        nothing = pd.DataFrame()
        return RunRecord(nothing, nothing, nothing, None)

    def of_record(self, scenario: Scenario, record: RunRecord) -> dict[str, Any]:
        """An outcome that tells its seed."""
        return {"seed": scenario.seed, "measures": "0" * self.size}


def busy() -> dict[str, float]:
    """Runs of this process, their processor time (s), and that of the process."""
    return {**_busy, "process": time.process_time()}


def tasks(runs: int, size: int) -> Iterator[Task]:
    """Runs of seeds 1, 2, ...: waiting, with outcomes of a size (bytes), or lived if it is 0."""
    parameters, climate = Parameters.default(), constant(25.0)
    measuring = Waiting(size) if size else LastDay()
    for seed in range(1, runs + 1):
        scenario = Scenario(parameters, climate, DAYS, seed, BREEDERS)
        key = outcome_key(scenario, measuring)
        yield Task(key, scenario, measuring, model_fingerprint(), measuring.digest)


def drive(folder: str, address: str, runs: str, size: str) -> None:
    """Do the runs that are not in the store; tell once a second how far they are, in a line."""
    told, first = 0.0, None

    def tell(**more: object) -> None:
        line = {"at": time.time(), "processor": time.process_time(), "rss": rss(os.getpid())}
        print(json.dumps({**line, "first": first, **more}), flush=True)

    with open_store(Path(folder)) as store, ClusterExecutor(address) as executor:
        reused = ended = 0
        tell(reused=reused, ended=ended)
        for one in run_jobs(tasks(int(runs), int(size)), int(runs), store, executor):
            if one.error:
                raise RuntimeError(one.error)
            reused += one.reused
            ended += not one.reused
            if first is None and not one.reused:
                first = time.time()
            if time.monotonic() - told > 1.0:
                told = time.monotonic()
                tell(reused=reused, ended=ended)
        workers = executor._client.run(busy)
        tell(reused=reused, ended=ended, workers=list(workers.values()))


def rss(pid: int) -> int:
    """Memory (bytes) that a process has in use now."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * resource.getpagesize()


def processor(pid: int) -> float:
    """Processor time (s) of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
