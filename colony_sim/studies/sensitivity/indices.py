"""Indices of sensitivity from the result at the points of a design, and the noise of the seeds.

The indices and their bootstrap are SALib's; see ``sensitivity`` for the methods.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.studies.points import mean_interval

LEVEL = 0.95
LEVELS = 4
"""Levels of the Morris grid."""
RESAMPLES = 1000


@dataclass(frozen=True)
class Noise:
    """Noise of the seeds in the result, the mean over `seeds` seeds.

    Attributes
    ----------
    seeds : int
    variance : float
        Of the interaction of point and seed, for one seed (NaN with one seed).
    share : float
        Share of it, after averaging, in the variance of the result over the points.
    """

    seeds: int
    variance: float
    share: float


def analyse(
    method: str,
    problem: dict[str, Any],
    matrix: np.ndarray,
    result: np.ndarray,
    central: float = math.nan,
    seed: int = 1,
) -> pd.DataFrame:
    """Indices of every key from the result at the points of a design.

    Parameters
    ----------
    method : str
        One of `METHODS`.
    problem : dict
        As SALib takes it: num_vars, names, bounds.
    matrix : array, shape (points, keys)
        The design.
    result : array, shape (points, seeds)
        The result at each point with each seed.
    central : float
        The result with nothing moved, for ``oneway``.
    seed : int
        Of the bootstrap.

    Returns
    -------
    pandas.DataFrame
        One row per key, the most influential first, with the columns ``influence`` (by which it
        is sorted), its 95 % interval (``influence_low``, ``influence_high``), its standard error
        over seeds (``seed_se``), and ``sign_changes`` of ``moves``: how often moving this key
        alone changed the sign of the mean result.
    """
    mean = result.mean(axis=1)
    if method == "oneway":
        table = _oneway(problem, matrix, result, central)
    else:
        table = _indices(method, problem, matrix, mean, seed)
        column = "mu_star" if method == "morris" else "ST"
        each = [
            _indices(method, problem, matrix, result[:, i], seed, 2)[column]
            for i in range(result.shape[1])
        ]
        table["seed_se"] = (
            np.std(each, axis=0, ddof=1) / math.sqrt(len(each)) if len(each) > 1 else np.nan
        )
    changes = _sign_changes(method, problem["num_vars"], matrix, mean, central)
    table["sign_changes"], table["moves"] = changes
    return table.sort_values("influence", ascending=False, ignore_index=True)


def _indices(
    method: str, problem: dict[str, Any], matrix: np.ndarray, result: np.ndarray, seed: int,
    resamples: int = RESAMPLES,
) -> pd.DataFrame:  # fmt: skip
    if method == "morris":
        from SALib.analyze import morris

        found = morris.analyze(
            problem, matrix, result, num_resamples=resamples, conf_level=LEVEL, num_levels=LEVELS,
            seed=seed,
        )  # fmt: skip
        table = pd.DataFrame({"key": problem["names"], **{
            name: np.asarray(found[name], dtype=float) for name in ("mu", "mu_star", "sigma")
        }})  # fmt: skip
        half = np.asarray(found["mu_star_conf"], dtype=float)
        table["influence"] = table["mu_star"]
    else:
        from SALib.analyze import sobol

        # Without any variance every index is 0 / 0: nothing has an influence.
        flat = float(np.ptp(result)) == 0.0
        found = {} if flat else sobol.analyze(
            problem, result, calc_second_order=False, num_resamples=resamples, conf_level=LEVEL,
            seed=seed,
        )  # fmt: skip
        nothing = np.zeros(problem["num_vars"])
        names = ("S1", "S1_conf", "ST", "ST_conf")
        table = pd.DataFrame({"key": problem["names"], **{
            name: np.asarray(found.get(name, nothing), dtype=float) for name in names
        }})  # fmt: skip
        half = table["ST_conf"].to_numpy()
        table["influence"] = table["ST"]
    table["influence_low"] = (table["influence"] - half).clip(lower=0)
    table["influence_high"] = table["influence"] + half
    return table


def _oneway(
    problem: dict[str, Any], matrix: np.ndarray, result: np.ndarray, central: float
) -> pd.DataFrame:
    rows = []
    for i, key in enumerate(problem["names"]):
        ends: dict[str, float] = {}
        for j, end in enumerate(("low", "high")):
            mean, _, low, high = mean_interval(result[2 * i + j])
            ends |= {f"at_{end}": mean, f"at_{end}_low": low, f"at_{end}_high": high,
                     f"{end}_used": matrix[2 * i + j, i]}  # fmt: skip
        span = np.abs(result[2 * i : 2 * i + 2].mean(axis=1) - central)
        # Influence: the larger change, from pair to pair.
        width = result[2 * i] - result[2 * i + 1]
        _, error, _, _ = mean_interval(width)
        rows.append({"key": key, **ends, "influence": float(span.max()), "seed_se": error})
    table = pd.DataFrame(rows)
    table["influence_low"] = table["influence_high"] = np.nan
    return table


def _sign_changes(
    method: str, k: int, matrix: np.ndarray, mean: np.ndarray, central: float
) -> tuple[np.ndarray, np.ndarray]:
    """How often moving one key alone changed the sign, and how often it was moved."""
    changes, moves = np.zeros(k, dtype=int), np.zeros(k, dtype=int)
    if method == "oneway":
        pairs = [(i, central, mean[2 * i + j]) for i in range(k) for j in (0, 1)]
    elif method == "morris":
        pairs = []
        for start in range(0, len(matrix), k + 1):
            for step in range(start, start + k):
                moved = np.flatnonzero(matrix[step] != matrix[step + 1])
                pairs += [(int(i), mean[step], mean[step + 1]) for i in moved]
    else:
        pairs = [
            (i, mean[start], mean[start + 1 + i])
            for start in range(0, len(matrix), k + 2)
            for i in range(k)
        ]
    for i, before, after in pairs:
        moves[i] += 1
        changes[i] += before * after < 0
    return changes, moves


def seed_noise(result: np.ndarray) -> Noise:
    """Noise of the seeds from the result, shape (points, seeds), less what seeds share."""
    points, seeds = result.shape
    if seeds < 2 or points < 2:
        return Noise(seeds, math.nan, math.nan)
    left = (
        result
        - result.mean(axis=1, keepdims=True)
        - result.mean(axis=0, keepdims=True)
        + result.mean()
    )
    variance = float((left**2).sum() / ((points - 1) * (seeds - 1)))
    total = float(result.mean(axis=1).var(ddof=1))
    return Noise(seeds, variance, min(variance / seeds / total, 1.0) if total > 0 else math.nan)
