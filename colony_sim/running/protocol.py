"""What can be run (`Job`), what comes of it (`TaskResult`) and where it is run (`Executor`)."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Protocol

DIED = "WorkerDied: the worker process ended abruptly, most often because memory ran out"


class WorkerLost(Exception):
    """The process that had the job is gone; the job itself may be sound."""


class ClusterLost(Exception):
    """The scheduler or all workers of a cluster are gone; finished runs are stored."""


@dataclass(frozen=True)
class TaskResult:
    """What came of a job: an outcome, or the text of an error.

    Attributes
    ----------
    outcome : dict, bytes or None
        Facts and measures of the run, or a file that holds more than that.
    error : str or None
        Traceback of a run that raised.
    seconds : float
        Wall time of the simulation.
    peak_mb : float or None
        Most memory the worker process has used so far (MB); None where it is not known.
    """

    outcome: Any
    error: str | None
    seconds: float
    peak_mb: float | None


class Job(Protocol):
    """Work for one worker. It crosses process borders, so it must be picklable."""

    @property
    def key(self) -> str:
        """Key under which the outcome is stored: a hash of all that decides it."""

    def run(self) -> TaskResult:
        """Do it; raises `processes.Stopped` if its parent asks for an end."""


class Executor(Protocol):
    """Where jobs run. Used in a ``with`` block."""

    @property
    def at_once(self) -> int:
        """Jobs that run at a time."""

    @property
    def window(self) -> int:
        """Jobs to have handed over at a time."""

    def submit(self, job: Job) -> Future[Any]:
        """Hand over a job; the future takes ``add_done_callback``."""

    def result(self, future: Future[Any]) -> TaskResult:
        """What came of an ended job; raises WorkerLost if its process is gone."""

    def restart(self) -> None:
        """Be ready for jobs again after a WorkerLost."""

    def check(self) -> None:
        """Called now and then; raises if nothing can run any more."""

    def stop(self, futures: Sequence[Future[Any]]) -> None:
        """End the jobs under way soon."""

    def __enter__(self) -> Executor: ...

    def __exit__(self, *_: object) -> None: ...
