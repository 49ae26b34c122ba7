"""One run as a task for a worker, on this machine or another: a scenario in, an outcome out."""

from __future__ import annotations

import gc
import sys
import time
import traceback
from dataclasses import dataclass

from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.measuring.outcome import Measuring
from colony_sim.running.processes import Stopped, stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import get_ready


@dataclass(frozen=True)
class Task:
    """What a worker needs.

    Attributes
    ----------
    key : str
        Key under which the outcome is stored.
    scenario : Scenario
    measuring : Measuring
    model : str
        ``model_fingerprint()`` of the one who asks.
    digest : str
        ``measuring.digest`` of the one who asks.
    """

    key: str
    scenario: Scenario
    measuring: Measuring
    model: str
    digest: str

    def run(self) -> TaskResult:
        """As `run_task`."""
        return run_task(self)


def run_task(task: Task) -> TaskResult:
    """Simulate and measure; raises `Stopped` if the run was stopped by its parent."""
    if (task.model, task.digest) != (model_fingerprint(), task.measuring.digest):
        return TaskResult(None, "OtherModel: this worker has another colony_sim", 0.0, None)
    get_ready()
    begin = time.perf_counter()
    try:
        record = task.measuring.live(task.scenario, stop_if_asked)
        seconds = time.perf_counter() - begin
        outcome = task.measuring.of_record(task.scenario, record)
    except Stopped:
        raise
    except Exception as error:
        text = "".join(traceback.format_exception(error))
        return TaskResult(None, text, time.perf_counter() - begin, peak_mb())
    # A colony and its keeper hold each other, and too few objects are made for Python to look for
    # such circles often: a worker would grow by some megabytes a run.
    del record
    gc.collect()
    return TaskResult(outcome, None, seconds, peak_mb())


def software_of_worker() -> tuple[str, str]:
    """Fingerprint of the model and path of the Python of this process."""
    return model_fingerprint(), sys.executable


def peak_mb() -> float | None:
    """Most memory that this process has used so far (MB); None where it is not known."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (2**20 if sys.platform == "darwin" else 2**10)
