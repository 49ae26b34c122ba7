"""Jobs on the workers of an existing Dask cluster (optional extra ``cluster``).

Workers need this package, in the version of the one who asks, and nothing else: no shared folder,
no files. A worker that is lost costs the runs it had under way; the scheduler gives them to
another. One thread a worker is best (``dask worker --nthreads 1``).
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import Any

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.running.protocol import DIED, ClusterLost, Job, TaskResult
from colony_sim.running.task import software_of_worker

CONNECT_SECONDS = 10
"""How long to wait for the scheduler, and for its first worker."""
ALONE_SECONDS = 60
"""How long to go on without any worker before giving up."""
_ADDRESS = re.compile(r"([a-z]+://)?[^\s/]+:\d+")
INSTALL = "pip install 'colony-sim[cluster]'"


class ClusterExecutor:
    """The workers of a Dask cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://10.0.0.1:8786``.

    Raises
    ------
    InputError
        No package ``distributed``, no scheduler at the address, no worker, or a worker without
        this very model.
    """

    def __init__(self, address: str) -> None:
        distributed = _distributed(address)
        if not _ADDRESS.fullmatch(address):
            raise _bad(address, "an address such as tcp://10.0.0.1:8786")
        self._address = address
        self._threads, self._looked, self._with_workers = 0, 0.0, time.monotonic()
        try:
            self._client = distributed.Client(
                address, timeout=CONNECT_SECONDS, set_as_default=False, name="colony-sim"
            )
        except Exception as error:
            reason = f"the address of a Dask scheduler that answers ({_brief(error)})"
            raise _bad(address, reason) from None
        try:
            self._check_workers()
        except BaseException:
            self._close()
            raise

    @property
    def at_once(self) -> int:
        """Threads of all workers there are now."""
        if time.monotonic() - self._looked > 1.0:
            self._look()
        return self._threads

    @property
    def window(self) -> int:
        """Two jobs per thread."""
        return max(2 * self.at_once, 1)

    def submit(self, job: Job) -> Future[Any]:
        """Hand over a job."""
        return self._client.submit(job.run, pure=False)

    def result(self, future: Any) -> TaskResult:
        """What came of a job; the cluster itself has repeated those of lost workers."""
        from distributed import KilledWorker

        try:
            return future.result()
        except KilledWorker:
            return TaskResult(None, DIED, 0.0, None)
        except Exception as error:
            raise ClusterLost(f"The cluster at {self._address} is lost ({_brief(error)})") from None
        finally:
            future.release()

    def restart(self) -> None:
        """Nothing to do: the cluster looks after its workers."""

    def check(self) -> None:
        """Give up if there has been no worker for a minute."""
        self._look()
        if self._client.status != "running":
            raise ClusterLost(f"The cluster at {self._address} is lost")
        if time.monotonic() - self._with_workers > ALONE_SECONDS:
            raise ClusterLost(f"The cluster at {self._address} has no worker left")

    def stop(self, futures: Sequence[Any]) -> None:
        """Take back what has not begun; a worker ends the run it is at."""
        with suppress(Exception):
            self._client.cancel(list(futures), force=True)

    def __enter__(self) -> ClusterExecutor:
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _close(self) -> None:
        with suppress(Exception):
            self._client.close(timeout=5)

    def _look(self) -> None:
        self._looked = time.monotonic()
        there = self._client.nthreads() if self._client.status == "running" else {}
        self._threads = sum(there.values())
        if there:
            self._with_workers = self._looked

    def _check_workers(self) -> None:
        try:
            self._client.wait_for_workers(1, timeout=CONNECT_SECONDS)
        except Exception:
            raise _bad(self._address, "a cluster with at least one worker") from None
        try:
            found = self._client.run(software_of_worker, on_error="return")
        except Exception as error:
            raise _bad(self._address, f"a cluster that answers ({_brief(error)})") from None
        for worker, answer in found.items():
            if isinstance(answer, OSError):
                continue  # A worker that has just left; the others will do.
            if isinstance(answer, BaseException):
                allowed = f"workers with this colony_sim installed; {worker}: {_brief(answer)}"
                raise _bad(self._address, allowed)
            model, python = answer
            if model != model_fingerprint():
                allowed = f"workers with this very model; {worker} ({python}) has another"
                raise _bad(self._address, allowed)


def _distributed(address: str) -> Any:
    try:
        import distributed
    except ImportError:
        allowed = f"with the package distributed, which is not installed; add it with {INSTALL}"
        raise _bad(address, allowed) from None
    # What goes wrong is told here in one line; its logs would add many.
    for name in [*logging.root.manager.loggerDict]:
        if name.split(".")[0] == "distributed":
            logging.getLogger(name).setLevel(logging.CRITICAL)
    return distributed


def _bad(value: str, allowed: str) -> InputError:
    return InputError(ARGUMENT, "cluster", value, allowed)


def _brief(error: BaseException) -> str:
    text = str(error).strip() or type(error).__name__
    return text.splitlines()[-1]
