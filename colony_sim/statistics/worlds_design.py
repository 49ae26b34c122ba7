"""How many worlds, and replicates in each, a probability over worlds needs."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike

MOST_REPLICATES = 1000
"""Replicates a world that are looked at."""


def replicates_a_world(
    between: float,
    within: float,
    cost_world: float = 0.0,
    cost_run: float = 1.0,
    purpose: Literal["mean", "probability"] = "mean",
    gain: float = 0.0,
) -> int:
    """Replicates in every world that give the least error for a given cost of all runs.

    With n replicates in each of W worlds the cost is W (cost_world + n cost_run).

    * Mean: the error is that of a nested design, (between + within / n) / W; the best n is near
      sqrt(within cost_world / (between cost_run)) (Cochran 1977, Sampling Techniques, section
      10.6), so a world that costs nothing of its own gets one replicate.
    * Probability: the error is that of the share of worlds drawn in as Louis (1984) has it, for
      normal worlds and chance (delta method, see `share_error`). There are two replicates at
      least, or chance could not be taken off.

    Parameters
    ----------
    between, within : float
        Variances as of `split_of_variance`, at least 0.
    cost_world, cost_run : float
        Cost of a new world, of one more pair of runs in it; any common unit.
    purpose : "mean" or "probability"
        What is to be estimated.
    gain : float
        Expected gain less the zone, unit of the gain; counts for the probability alone.

    Returns
    -------
    int
        1 to `MOST_REPLICATES`. Without variance between worlds, one world is as good as many: if
        a world costs anything, `MOST_REPLICATES`.

    Raises
    ------
    ValueError
        Variances below 0, a cost of a run not above 0, a cost of a world below 0, another purpose.
    """
    for name, value, least in (
        ("between", between, "at least 0"),
        ("within", within, "at least 0"),
        ("cost_world", cost_world, "at least 0"),
        ("cost_run", cost_run, "above 0"),
    ):
        if not math.isfinite(value) or value < 0 or (least == "above 0" and value == 0):
            raise ValueError(f"{name} is {value}, must be finite and {least}")
    if purpose not in ("mean", "probability"):
        raise ValueError(f"purpose is {purpose!r}, must be 'mean' or 'probability'")
    if within == 0:
        return 1
    fewest = 1 if purpose == "mean" else 2
    if between == 0:
        return MOST_REPLICATES if cost_world > 0 else fewest
    n = np.arange(fewest, MOST_REPLICATES + 1)
    if purpose == "mean":
        variance = between + within / n
    else:
        variance = share_error(gain, between, within, n, 1) ** 2
    return int(n[np.argmin(variance * (cost_world + n * cost_run))])


def share_error(
    gain: float, between: float, within: float, replicates: ArrayLike, worlds: int
) -> np.ndarray:
    """Standard error of the share of worlds ahead, if worlds and chance are normal.

    Delta method on the share of drawn-in means (Louis 1984) above 0: chance of the share itself,
    and of the estimated mean and variances that the means are drawn in by. The EM steps of
    `verdict_over_worlds` add a little.

    Parameters
    ----------
    gain : float
        Expected gain less the zone, unit of the gain.
    between, within : float
        Variances between worlds (above 0) and of chance within one.
    replicates : array of int
        In every world, at least 2.
    worlds : int

    Returns
    -------
    array
        Of the shape of `replicates`.
    """
    n = np.asarray(replicates, dtype=float)
    at = -gain / math.sqrt(between)
    p, density = float(scipy.stats.norm.sf(at)), float(scipy.stats.norm.pdf(at))
    chance = within / n
    total = between + chance
    f = np.sqrt(between / total)
    # Threshold on the means: it moves with their mean, their variance, and that of chance.
    of_mean = density / np.sqrt(total) * (1 / f - 1)
    bend = density / np.sqrt(total) * at * math.sqrt(between) / (2 * f**3)
    of_total, of_chance = bend * chance / total**2, -bend / total
    variance = (
        p * (1 - p)
        + of_mean**2 * total
        + 2 * of_total**2 * total**2
        + of_chance**2 * 2 * chance**2 / (n - 1)
        + 2 * of_mean * np.sqrt(total) * density
        + 2 * of_total * total * at * density
    )
    return np.sqrt(variance / worlds)


def least_error(p: float, worlds: int) -> float:
    """Least standard error of a probability `p` that this number of worlds allows.

    sqrt(p (1 - p) / worlds), of a share of worlds whose expected gains are known. A share of 0 or 1
    has an error too: `p` counts as no nearer to them than the rule of succession (Laplace) puts a
    share of none or all, 1 / (worlds + 2).

    Raises
    ------
    ValueError
        `p` outside 0 to 1, or no world.
    """
    _check_probability(p)
    if worlds < 1:
        raise ValueError(f"worlds is {worlds}, must be at least 1")
    end = 1 / (worlds + 2)
    p = min(max(p, end), 1 - end)
    return math.sqrt(p * (1 - p) / worlds)


def worlds_needed(p: float, error: float) -> int:
    """Fewest worlds whose `least_error` of a probability `p` is `error` or less.

    With few replicates a world more are needed: see `share_error`.

    Raises
    ------
    ValueError
        `p` outside 0 to 1, or `error` not above 0.
    """
    _check_probability(p)
    if not (math.isfinite(error) and error > 0):
        raise ValueError(f"error is {error}, must be finite and above 0")
    enough = 1
    while least_error(p, enough) > error:
        enough *= 2
    too_few = enough // 2
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        if least_error(p, middle) > error:
            too_few = middle
        else:
            enough = middle
    return enough


def _check_probability(p: float) -> None:
    if not 0 <= p <= 1:
        raise ValueError(f"p is {p}, must be from 0 to 1")
