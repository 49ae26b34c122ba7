"""An executor that needs no processes: it makes up outcomes at once."""

from __future__ import annotations

import math
from concurrent.futures import Future

import numpy as np

from colony_sim.measuring.catalogue import catalogue
from colony_sim.running.protocol import TaskResult
from colony_sim.running.task import Task


def made_up(task: Task) -> TaskResult:
    """An outcome that depends on the scenario alone; one seed in eight does not settle."""
    p = task.scenario.parameters
    own = [p["rotation.interval_days"], round(1000 * p["harvest.fraction"])]
    rng = np.random.default_rng([task.scenario.seed, *own])
    shared = np.random.default_rng(task.scenario.seed).normal(scale=5.0)
    settled = rng.random() > 1 / 8
    level = 100 + shared + 40 * p["harvest.fraction"] - p["rotation.interval_days"] / 7
    values = {key: level + rng.normal() if settled else math.nan for key in catalogue()}
    status = "settled" if settled else "unsettled"
    facts = {"status": status, "died_out_day": None, "warm_up_days": 300, "days_used": 400}
    return TaskResult({**facts, "note": "Made up.", **values}, None, 0.5, 200.0)


class Inline:
    """Runs tasks in this process by a function; `ran` is what it ran."""

    def __init__(self, work=made_up) -> None:
        self.work, self.ran = work, []

    at_once, window = 2, 4

    def submit(self, task: Task) -> Future:
        self.ran.append(task)
        future = Future()
        future.set_result(self.work(task))
        return future

    def result(self, future: Future) -> TaskResult:
        return future.result()

    def restart(self) -> None: ...

    def check(self) -> None: ...

    def stop(self, futures) -> None: ...

    def __enter__(self) -> Inline:
        return self

    def __exit__(self, *_) -> None: ...
