"""How fast this machine is today, for times that are told before anything has been run."""

from __future__ import annotations

import time
from functools import cache

_STEPS = 200_000
_REFERENCE = 0.0073
"""Seconds that `_loop` took where the seconds that are scaled were measured (2 cores, x86_64)."""


def here(seconds: float) -> float:
    """Seconds of the machine on which they were measured, as seconds of this one, about."""
    return seconds * _slowness()


@cache
def _slowness() -> float:
    # Not the least: what else the machine does is waited for, too.
    taken = sorted(_loop() for _ in range(5))
    return taken[len(taken) // 2] / _REFERENCE


def _loop() -> float:
    begin, total = time.perf_counter(), 0
    for step in range(_STEPS):
        total += step
    return time.perf_counter() - begin
