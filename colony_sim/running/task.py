"""One run as a task for a worker, on this machine or another: a scenario in, an outcome out."""

from __future__ import annotations

import sys
import time
import traceback
from dataclasses import dataclass
from functools import cache

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.measuring.outcome import Measuring
from colony_sim.running.processes import Stopped, stop_if_asked
from colony_sim.running.protocol import TaskResult
from colony_sim.running.runner import compile_kernels


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

    def run(self) -> TaskResult | None:
        """Simulate and measure; None if the run was stopped by its parent."""
        return run_task(self)


def run_task(task: Task) -> TaskResult | None:
    """Simulate and measure; None if the run was stopped by its parent."""
    from colony_sim.colony import simulate

    if (task.model, task.digest) != (model_fingerprint(), task.measuring.digest):
        return TaskResult(None, "OtherModel: this worker has another colony_sim", 0.0, None)
    get_ready()
    begin = time.perf_counter()
    try:
        # A measuring that needs a run of another length lives it itself.
        live = getattr(task.measuring, "live", simulate.simulate)
        record = live(task.scenario, stop_if_asked)
        seconds = time.perf_counter() - begin
        # A measuring that needs more than the daily series takes the whole record.
        of_record = getattr(task.measuring, "of_record", None)
        if of_record is not None:
            outcome = of_record(task.scenario, record)
        else:
            outcome = task.measuring.outcome(task.scenario, record.daily, record.died_out_day)
    except Stopped:
        return None
    except Exception as error:
        text = "".join(traceback.format_exception(error))
        return TaskResult(None, text, time.perf_counter() - begin, _peak_mb())
    return TaskResult(outcome, None, seconds, _peak_mb())


def software_of_worker() -> tuple[str, str]:
    """Fingerprint of the model and path of the Python of this process."""
    return model_fingerprint(), sys.executable


@cache
def get_ready() -> None:
    """Compile or load the kernels, once in a process."""
    # Loading the compiled kernels must not count as time of the first run.
    from colony_sim.colony import simulate

    compile_kernels()
    simulate.simulate(
        simulate.Scenario(Parameters.default(), constant(27.0), days=2, seed=0, breeders=10)
    )


def _peak_mb() -> float | None:
    try:
        import resource
    except ImportError:  # Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (2**20 if sys.platform == "darwin" else 2**10)
