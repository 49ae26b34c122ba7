"""Runs claims in parallel and collects what they found."""

from __future__ import annotations

import io
import time
import traceback
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from .claim import Check
from .registry import discover


@dataclass(frozen=True)
class Outcome:
    """What one claim found.

    Attributes
    ----------
    name, statement, source, kind : str
        Of the claim.
    checks : list of Check
    png : bytes
        The figure, empty when none could be drawn.
    seconds : float
    error : str
        Traceback if the claim broke, else empty.
    """

    name: str
    statement: str
    source: str
    kind: str
    checks: list[Check]
    png: bytes
    seconds: float
    error: str = ""

    @property
    def passed(self) -> bool:
        """No error, at least one check, and every check within its tolerance."""
        return not self.error and bool(self.checks) and all(c.passed for c in self.checks)


def run_claim(name: str, fast: bool, seed: int, options: dict[str, Any], draw: bool) -> Outcome:
    """Run one claim and draw its figure; an exception becomes a failed outcome."""
    claim = discover()[name](seed, options.get(name))
    start = time.perf_counter()
    checks: list[Check] = []
    png, error = b"", ""
    try:
        checks = claim.run(fast)
        if draw:
            png = _draw(claim)
    except Exception:
        error = traceback.format_exc()
    seconds = time.perf_counter() - start
    return Outcome(name, claim.statement, claim.source, claim.kind, checks, png, seconds, error)


def _draw(claim) -> bytes:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    figure, ax = plt.subplots(figsize=(7, 4.2), layout="constrained")
    claim.figure(ax)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=110)
    plt.close(figure)
    return buffer.getvalue()


def run_all(
    names: list[str],
    *,
    fast: bool,
    seed: int,
    workers: int,
    options: dict[str, Any] | None = None,
    draw: bool = True,
    done: Callable[[Outcome], None] = lambda outcome: None,
) -> list[Outcome]:
    """Run claims on `workers` processes; outcomes in the order of `names`."""
    options = options or {}
    outcomes: dict[str, Outcome] = {}
    if workers <= 1 or len(names) == 1:
        for name in names:
            outcomes[name] = run_claim(name, fast, seed, options, draw)
            done(outcomes[name])
    else:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            waiting = [pool.submit(run_claim, n, fast, seed, options, draw) for n in names]
            for future in as_completed(waiting):
                outcome = future.result()
                outcomes[outcome.name] = outcome
                done(outcome)
    return [outcomes[name] for name in names]
