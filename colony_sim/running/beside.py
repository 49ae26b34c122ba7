"""Work done beside this process, where there is a core for it, whose outcome is fetched later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from colony_sim.running.local import LocalExecutor, SerialExecutor
from colony_sim.running.protocol import Executor, TaskResult, WorkerLost
from colony_sim.running.runner import default_workers

T = TypeVar("T")


def open_beside() -> LocalExecutor | SerialExecutor:
    """One worker process, started with the first job; this process on a single core."""
    return LocalExecutor(1) if default_workers() > 1 else SerialExecutor()


@dataclass(frozen=True)
class _Call:
    """A function without arguments as a job; what it gives is stored nowhere."""

    work: Callable[[], Any]
    key: str = ""

    def run(self) -> TaskResult:
        return TaskResult(self.work(), None, 0.0, None)


def handed_over(work: Callable[[], T], executor: Executor | None) -> Callable[[], T]:
    """Hand over a function, picklable; what is returned waits for what it gives, or raises.

    What was under way in a process that is lost is done here, as is all without an executor.
    """
    if executor is None:
        return work
    future = executor.submit(_Call(work))

    def outcome() -> T:
        try:
            found: T = executor.result(future).outcome
        except WorkerLost:
            return work()
        return found

    return outcome
