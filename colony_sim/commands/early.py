"""While a command still loads what it needs: a sign of life, and workers that load as well."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from colony_sim.running.local import LocalExecutor
    from colony_sim.running.protocol import Executor

PATIENCE_SECONDS = 0.4
LINE = "Getting ready."


@contextmanager
def getting_ready() -> Iterator[None]:
    """Say so if the block takes longer than a reader would wait."""
    timer = threading.Timer(PATIENCE_SECONDS, lambda: print(LINE, file=sys.stderr, flush=True))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


@contextmanager
def workers_ahead(file: Path, workers: int | None) -> Iterator[LocalExecutor]:
    """Worker processes for the runs of an experiment file, which get ready beside this one.

    Raises
    ------
    InputError
        If the file or `workers` is not allowed; nothing has been started then.
    """
    from colony_sim.experiment.files import load
    from colony_sim.running.local import LocalExecutor

    with LocalExecutor(workers) as executor:
        load(file)
        executor.ahead()
        yield executor


@contextmanager
def worker_beside(folder: Path) -> Iterator[Executor]:
    """A worker process beside this one for what is drawn of a results folder.

    On a single core it is this process. One that cannot be of use is not started.
    """
    from colony_sim.running.beside import open_beside

    with open_beside() as executor:
        if (folder / "manifest.json").is_file():
            executor.ahead()
        yield executor
