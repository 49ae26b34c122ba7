"""A job done beside this process, where there is a core for it, whose outcome is fetched later."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from colony_sim.running.local import LocalExecutor, SerialExecutor
from colony_sim.running.protocol import Executor, Job, WorkerLost
from colony_sim.running.runner import default_workers


def open_beside() -> LocalExecutor | SerialExecutor:
    """One worker process, started with the first job; this process on a single core."""
    return LocalExecutor(1) if default_workers() > 1 else SerialExecutor()


def handed_over(job: Job, executor: Executor | None) -> Callable[[], Any]:
    """Hand over a job; what is returned waits for its outcome, and raises what the job raised.

    A job whose process is lost is done here, as are all without an executor.
    """
    if executor is None:
        return lambda: job.run().outcome
    future = executor.submit(job)

    def outcome() -> Any:
        try:
            return executor.result(future).outcome
        except WorkerLost:
            return job.run().outcome

    return outcome
