"""Verdicts given after made-up literatures, and whether they came true.

Worlds drawn for a literature whose truth is known say with what probability 14 days are ahead of
21, and other things that a keeper would decide by. Few worlds of each literature can be lived, so a
surface gives the margin of the decision at all of them, each with a keeper's strain of its own, and
a logistic link its probability. Both are fitted to lived worlds of other literatures, never to a
truth: a surface's error is large and grows with the margin, and the link takes it as it is.

Chance: the truth is the mean over some seeds of the rack lived under the row that made the
literature. Lived worlds have one seed, so their margins scatter more about a surface than means do;
the link is made steeper by that ratio. A first bin is seen once, in truth and forecast alike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit

from colony_sim.evidence.conditions import key, seed_of
from colony_sim.running.runner import Progress
from colony_sim.worlds import prior, rotations
from colony_sim.worlds.bank import Bank, strains
from colony_sim.worlds.emulator import Surface, columns, surface
from colony_sim.worlds.likelihood import fences
from colony_sim.worlds.prior import Scores

#: Gain (g/day) below which a keeper would not change.
INDIFFERENT_G = 0.5
#: A first harvest by then (d), and a bin that gives so much (g): the middle of the prior, about.
BY_DAY, FROM_G = 100.0, 200.0
#: Added to a harvest (g/day), minutes, bins and bran (g) before a ratio: a colony may die out.
FLOOR = 0.1
#: Folds of literatures.
FOLDS = 8
#: Weight of the normal prior of a link's slope, so that it is finite whatever came.
_RIDGE = 0.1

#: What is decided, in words.
DECISIONS = {
    "yield": "14 days give more than 21",
    "yield_clearly": f"14 days give {INDIFFERENT_G:g} g/day more than 21",
    "per_hour": "14 days give more per hour of work",
    "per_bin": "14 days give more per bin in use",
    "per_bran": "14 days give more per kg of bran",
    "first_harvest": f"10 g are harvested within {BY_DAY:.0f} days",
    "bin_yield": f"a bin gives more than {FROM_G:.0f} g",
}
#: Those on 14 against 21 days.
ROTATIONS = tuple(DECISIONS)[:5]


@dataclass(frozen=True, eq=False)
class Fit:
    """Worlds drawn for one made-up literature.

    Attributes
    ----------
    row : int
        Of the bank: the truth.
    without : (str, int) or None
        Option of a structure that the fit lacked and the truth has; None: it had all.
    scores : Scores
    """

    row: int
    without: tuple[str, int] | None
    scores: Scores


@dataclass(frozen=True, eq=False)
class Lived:
    """Lived pairs of rotations.

    Attributes
    ----------
    scores : Scores
    strains : float array, shape (pairs, len(STRAIN))
    found : float array, shape (pairs, policies, len(rotations.KEPT))
        Means over the seeds of a pair.
    seeds : int array, shape (pairs,)
        Number of its seeds.
    literature : int array, shape (pairs,)
        Row of the bank that made the literature; of a truth, the row itself.
    truth : bool array, shape (pairs,)
    chance : float array, shape (ROTATIONS,)
        SD of `margins` from one seed to the next.
    first : float array, shape (pairs, ROTATIONS)
        Margins of the first seed alone.
    left : float array, shape (ROTATIONS,)
        Variance from seed to seed on the scale of `scaled`.
    """

    scores: Scores
    strains: np.ndarray
    found: np.ndarray
    seeds: np.ndarray
    literature: np.ndarray
    truth: np.ndarray
    chance: np.ndarray
    first: np.ndarray
    left: np.ndarray


def live(
    bank: Bank,
    fits: Sequence[Fit],
    seed: int,
    seeds: int,
    worlds: int,
    folder: Path | None = None,
    *,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Lived:
    """Live the truths of all fits, and some worlds of those that had all structures.

    Parameters
    ----------
    bank : Bank
    fits : sequence of Fit
    seed : int
        Of strains and of the engine, with the number of a row.
    seeds : int
        Of each truth, at least 2.
    worlds : int
        Lived for each literature, at least 1.
    folder, workers, on_progress
        As in `bank.fill`.
    """
    rows = sorted({fit.row for fit in fits})
    every = np.repeat(rows, seeds)
    engine = [seed_of(seed, "verdict truth", row, k) for row in rows for k in range(seeds)]

    def fill(scores: Scores, strain: np.ndarray, engine: list[int]) -> np.ndarray:
        return rotations.fill(
            scores, strain, np.array(engine), folder, workers=workers, on_progress=on_progress
        )

    truths = fill(bank.scores.take(every), bank.strains[every, -1], engine)
    truths = truths.reshape(len(rows), seeds, *truths.shape[1:])
    own = [fit for fit in fits if fit.without is None]
    drawn, strain, engine = [], [], []
    for fit in own:
        rng = np.random.default_rng(key(seed, "verdict worlds", fit.row))
        for k, at in enumerate(rng.permutation(len(fit.scores))[:worlds]):
            world = fit.scores.take([int(at)])
            rng = np.random.default_rng(key(seed, "verdict strain", fit.row, k))
            drawn.append(world)
            strain.append(strains(world, 1, rng)[0, 0])
            engine.append(seed_of(seed, "verdict world", fit.row, k))
    found = fill(Scores.join(*drawn), np.array(strain), engine)
    chance = np.sqrt(np.var(margins(truths), axis=1, ddof=1).mean(axis=0))
    return Lived(
        Scores.join(bank.scores.take(rows), *drawn),
        np.concatenate([bank.strains[rows, -1], strain]),
        np.concatenate([truths.mean(axis=1), found]),
        np.repeat([seeds, 1], [len(rows), len(found)]),
        np.concatenate([rows, np.repeat([fit.row for fit in own], worlds)]).astype(int),
        np.repeat([True, False], [len(rows), len(found)]),
        chance,
        margins(np.concatenate([truths[:, 0], found])),
        np.var(scaled(margins(truths), chance), axis=1, ddof=1).mean(axis=0),
    )


def margins(found: np.ndarray) -> np.ndarray:
    """By how much each of `ROTATIONS` is so, from what both gave (... x policies x kept).

    Log ratio (14 over 21 days) of harvest, gain (g/day) above `INDIFFERENT_G`, log ratios of
    harvest per hour, per bin and per kg of bran. Along the last axis; above 0 it is so.
    """
    log = np.log(found + FLOOR)
    ratio = log[..., 0, :] - log[..., 1, :]
    gain = found[..., 0, :1] - found[..., 1, :1] - INDIFFERENT_G
    return np.concatenate([ratio[..., :1], gain, ratio[..., :1] - ratio[..., 1:]], axis=-1)


def scaled(margin: np.ndarray, unit: np.ndarray) -> np.ndarray:
    """Margins in units of their chance, large ones by their logarithm, as errors grow with them."""
    return np.arcsinh(margin / unit)


def forecasts(bank: Bank, fits: Sequence[Fit], lived: Lived, held: int, seed: int) -> pd.DataFrame:
    """Verdicts of all fits.

    Parameters
    ----------
    bank : Bank
    fits : sequence of Fit
    lived : Lived
    held : int
        First rows of the bank that no surface of the bin is fitted to.
    seed : int

    Returns
    -------
    DataFrame
        One row a fit and decision: structure (left out; empty: none), option, literature (row of
        the bank), decision, p (probability), came (whether it came true), direct (share of the
        lived worlds of that literature in which it did; NaN without) below (how many of them
        have a smaller margin than the truth, all of one seed) and lived (their number).
    """
    x, margin = columns(lived.scores, lived.strains), margins(lived.found)
    true, y = margin > 0.0, scaled(margin, lived.chance)
    found = []
    fitted: dict[object, list[_Forecaster]] = {}
    for fit in fits:
        fold = fit.without or fit.row % FOLDS
        if fold not in fitted:
            rows = np.flatnonzero(_teach(lived, fit))
            fitted[fold] = [
                _forecaster(x[rows], y[rows, k], left, left / lived.seeds.max())
                for k, left in enumerate(lived.left)
            ]
        at = columns(fit.scores, _strains_of(fit, seed))
        p = np.array([of(at) for of in fitted[fold]])
        mine = lived.literature == fit.row
        came = true[mine & lived.truth][0]
        direct = below = np.full(len(ROTATIONS), np.nan)
        if fit.without is None:
            direct = true[mine & ~lived.truth].mean(axis=0)
            below = lived.first[mine & ~lived.truth] < lived.first[mine & lived.truth]
            below = below.sum(axis=0)
        found += _rows(fit, ROTATIONS, p, came, direct, below, int((mine & ~lived.truth).sum()))
    found += _of_a_bin(bank, fits, held, seed)
    return pd.DataFrame(found)


@dataclass(frozen=True, eq=False)
class _Forecaster:
    """The probability that a margin is above 0: a surface, and a logistic link."""

    of: Surface
    link: np.ndarray

    def __call__(self, x: np.ndarray) -> float:
        """Mean over worlds (worlds x columns)."""
        margin = (x[:, self.of.pairs[:, 0]] * x[:, self.of.pairs[:, 1]]) @ self.of.weights
        return float(expit(self.link[0] + self.link[1] * margin).mean())


def _forecaster(x: np.ndarray, y: np.ndarray, chance: float, wanted: float) -> _Forecaster:
    """Learn from scaled margins (rows).

    `chance` is the variance from seed to seed in `y`, `wanted` that in what is forecast.
    """
    low, high = fences(y[:, None])
    of = surface(x, np.clip(y, low, high))
    told = np.clip(y, low, high) - of.residuals  # By surfaces that lack the row.
    link = logistic(np.column_stack([np.ones(y.size), told]), y > 0.0, _RIDGE)
    variance = float(np.mean(of.residuals**2))
    error = max(0.0, variance - chance)
    if variance > 0.0 and error + wanted > 0.0:
        link = link * np.sqrt((error + chance) / (error + wanted))
    return _Forecaster(of, link)


def logistic(x: np.ndarray, came: np.ndarray, ridge: float = 0.0) -> np.ndarray:
    """Weights of a logistic regression (rows x columns, the first of ones), by Newton's method.

    `ridge` is the precision of a normal prior of all but the first; infinite or NaN weights if
    there is none and what came can be told apart without a miss.
    """
    weights, prior_of = np.zeros(x.shape[1]), np.diag([0.0, *[ridge] * (x.shape[1] - 1)])
    for _ in range(50):
        fitted = expit(x @ weights)
        curved = (x * (fitted * (1.0 - fitted))[:, None]).T @ x + prior_of
        if not np.isfinite(curved).all() or np.linalg.cond(curved) > 1e14:
            return np.full(x.shape[1], np.nan)
        step = np.linalg.solve(curved, x.T @ (came - fitted) - prior_of @ weights)
        weights = weights + step
        if abs(step).max() < 1e-10:
            break
    return weights


def _rows(
    fit: Fit,
    names: Sequence[str],
    p: np.ndarray,
    came: np.ndarray,
    direct: np.ndarray,
    below: np.ndarray,
    lived: int,
) -> list[dict[str, object]]:
    structure, option = "", ""
    if fit.without is not None:
        structure, code = fit.without
        option = str(prior.options()[prior.STRUCTURES.index(structure)][code]).lower()
    return [
        {"structure": structure, "option": option, "literature": fit.row, "decision": name,
         "p": float(p[k]), "came": bool(came[k]), "direct": float(direct[k]),
         "below": float(below[k]), "lived": lived}
        for k, name in enumerate(names)
    ]  # fmt: skip


def _teach(lived: Lived, fit: Fit) -> np.ndarray:
    """Which lived worlds may teach what a fit forecasts by."""
    if fit.without is None:
        return np.asarray(~lived.truth & (lived.literature % FOLDS != fit.row % FOLDS))
    return ~lived.truth & _lacks(lived.scores, fit.without)


def _lacks(scores: Scores, without: tuple[str, int]) -> np.ndarray:
    structure, code = without
    return np.asarray(scores.structures[:, prior.STRUCTURES.index(structure)] != code)


def _strains_of(fit: Fit, seed: int) -> np.ndarray:
    rng = np.random.default_rng(key(seed, "verdict keepers", fit.row))
    return strains(fit.scores, 1, rng)[:, 0]


def _of_a_bin(bank: Bank, fits: Sequence[Fit], held: int, seed: int) -> list[dict[str, object]]:
    """Verdicts on a keeper's first bin."""
    lived = np.isfinite(bank.seen[:, :2]).all(axis=1)
    x = columns(bank.scores, bank.strains[:, -1])
    late = np.log(bank.seen[:, 0] / BY_DAY)
    y = np.column_stack([-late, np.sqrt(bank.seen[:, 1]) - np.sqrt(FROM_G)])
    names = tuple(name for name in DECISIONS if name not in ROTATIONS)
    fitted: dict[object, list[_Forecaster]] = {}
    found = []
    for fit in fits:
        if not lived[fit.row]:
            continue
        if fit.without not in fitted:
            teach = lived & (np.arange(len(bank)) >= held)
            if fit.without is not None:
                teach = lived & _lacks(bank.scores, fit.without)
            rows = np.flatnonzero(teach)
            fitted[fit.without] = [_forecaster(x[rows], column, 0.0, 0.0) for column in y[rows].T]
        at = columns(fit.scores, _strains_of(fit, seed))
        p = np.array([of(at) for of in fitted[fit.without]])
        none = np.full(len(names), np.nan)
        found += _rows(fit, names, p, y[fit.row] > 0.0, none, none, 0)
    return found
