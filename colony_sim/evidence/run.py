"""Live every replication and put the model's numbers beside the published ones."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Parameters
from colony_sim.evidence.conditions import DRAWS, draw, seed_of
from colony_sim.evidence.lab import Lab
from colony_sim.evidence.numbers import Compare, Number, Standing, allowances, numbers
from colony_sim.evidence.registry import replications

#: Ends of the model's range, in percent.
TAILS = (5.0, 95.0)
#: The largest number a table holds in place of "never".
NEVER = 1e9
#: The model's numbers by id; one array a draw (of one number, or of one an individual).
Lived = dict[str, list[np.ndarray]]


def live(name: str, p: Parameters, seed: int, draws: int = DRAWS) -> Lived:
    """Live one replication under its draws, at most `draws`."""
    replication = replications()[name]
    found: Lived = {}
    for k, given in enumerate(draw(replication.conditions, name, seed, draws)):
        own = seed_of(seed, name, k)
        with np.errstate(all="ignore"), warnings.catch_warnings():
            # Where nobody is left to be counted a number is NaN, and judged as none.
            warnings.simplefilter("ignore", RuntimeWarning)
            lived = replication.live(Lab(p, own, given))
        for what, value in lived.items():
            found.setdefault(f"{name}.{what}", []).append(np.atleast_1d(value).astype(float))
    return found


def run(
    p: Parameters,
    seed: int = 1,
    *,
    only: Iterable[str] | None = None,
    workers: int = 1,
    draws: int = DRAWS,
    done: Callable[[str], object] = lambda name: None,
) -> pd.DataFrame:
    """Live the replications and judge the published numbers.

    Parameters
    ----------
    p : Parameters
    seed : int
    only : iterable of str, optional
        Names of replications; default: all.
    workers : int
        Processes.
    draws : int
        Draws of what a paper leaves open, at most.
    done : callable
        Called with the name of each replication lived.

    Returns
    -------
    DataFrame
        One row a published number, see `judge`; those held against only if all are run.
    """
    names = list(replications() if only is None else only)
    lived: Lived = {}
    if workers == 1:
        for name in names:
            lived |= live(name, p, seed, draws)
            done(name)
    else:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            waiting = {name: pool.submit(live, name, p, seed, draws) for name in names}
            for name, future in waiting.items():
                lived |= future.result()
                done(name)
    wanted = [n for n in numbers() if only is None or n.replication in names]
    return pd.DataFrame([judge(number, lived.get(number.id)) for number in wanted])


def judge(number: Number, values: list[np.ndarray] | None) -> dict[str, object]:
    """One row: the published number, the model's, their ratio, and whether it comes out.

    `values` holds one array a draw, None where the model cannot live the number. For words and
    overlap the array has one value; the model's middle is the median over the draws and its
    range 5 to 95 %, of all individuals where the paper gives a range of individuals. The ratio
    is the model's middle over the nearest end of the published range, 1 within it.
    """
    middle = low = high = math.nan
    if number.standing is not Standing.HELD:
        if values is None:
            raise KeyError(f"no replication lives {number.id}")
        pooled = np.minimum(np.concatenate(values), NEVER)
        # A draw that gives no number (nobody hatched) leaves none to compare.
        if pooled.size and not np.isnan(pooled).any():
            low, middle, high = (float(v) for v in np.percentile(pooled, (TAILS[0], 50, TAILS[1])))
    allowance = allowances()[number.kind]
    held = number.standing is Standing.HELD
    miss = "no process" if held else _miss(number, low, middle, high)
    return {
        "id": number.id,
        "theme": number.theme,
        "quantity": number.quantity,
        "unit": number.unit,
        "published": number.published,
        "published_low": number.low,
        "published_high": number.high,
        "model": middle,
        "model_low": low,
        "model_high": high,
        "ratio": _ratio(number, middle),
        "below": allowance.below,
        "above": allowance.above,
        "points": allowance.points,
        "standing": str(number.standing),
        "miss": miss,
        "in": not miss,
        "read": str(number.read),
        "source": number.source,
        "reason": number.reason,
    }


def _miss(number: Number, low: float, middle: float, high: float) -> str:
    """Why a number does not come out ("low", "high", "wide", "none"); empty if it does."""
    least, most = allowances()[number.kind].widened(number.low, number.high)
    if math.isnan(middle):
        return "none"
    if number.compare is Compare.WORDS:
        low = high = middle
    if number.compare is Compare.INDIVIDUALS:
        below, above = low < least, high > most
        return "wide" if below and above else "low" if below else "high" if above else ""
    return "low" if high < least else "high" if low > most else ""


def _ratio(number: Number, middle: float) -> float:
    """Model over published; NaN for words and around zero."""
    if number.compare is Compare.WORDS or not number.low > 0.0:
        return math.nan
    return middle / min(max(middle, number.low), number.high)
