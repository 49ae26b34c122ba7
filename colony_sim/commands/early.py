"""A sign of life while a command still loads what it needs."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

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
