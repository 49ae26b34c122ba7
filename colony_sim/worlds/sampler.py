"""Sequential Monte Carlo from the prior to what a literature allows.

Tempering (Del Moral, Doucet and Jasra 2006, doi 10.1111/j.1467-9868.2006.00553.x): the likelihood
is let in by powers from 0 to 1, each chosen so that the effective sample size halves at most;
worlds are resampled and moved. Moves keep the prior and take turns: steps that shrink towards the
prior (Neal 1998; Cotter et al. 2013, doi 10.1214/13-STS421) on a few values, differences of two
other worlds (ter Braak 2006, doi 10.1007/s11222-006-8769-1), and a change of one structure.

Why not a neural posterior: with some ninety values and a thousand rows a flow has to learn from
fewer rows than it has directions, while the polynomials are fitted number by number, can be
checked number by number, and serve any literature without training.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from colony_sim.worlds import prior
from colony_sim.worlds.prior import Scores

#: Effective sample size, as a share of the worlds, that a power may leave.
KEPT = 0.5
#: Moves after each power, and after the last unless more are asked for.
MOVES, LAST_MOVES = 18, 60
#: Values that a small step moves at once.
_BLOCK = 6.0


@dataclass(frozen=True, eq=False)
class Sample:
    """Worlds in proportion to their probability.

    Attributes
    ----------
    scores : Scores
    evidence : float
        Log probability of the literature, by the product of the mean weights.
    powers : tuple of float
    accepted : float
        Share of proposals that were accepted in the last moves.
    log_likelihood : float64 array, shape (worlds,)
    """

    scores: Scores
    evidence: float
    powers: tuple[float, ...]
    accepted: float
    log_likelihood: np.ndarray


def sample(
    likelihood: Callable[[Scores], np.ndarray],
    count: int,
    rng: np.random.Generator,
    *,
    power: float = 1.0,
    last: int = LAST_MOVES,
    allowed: Callable[[Scores], np.ndarray] | None = None,
) -> Sample:
    """Draw worlds.

    Parameters
    ----------
    likelihood : callable
        Log likelihood of worlds.
    count : int
        Worlds.
    rng : Generator
    power : float
        Power of the likelihood at the end; below 1 for a wider sample.
    last : int
        Moves after the last power.
    allowed : callable, optional
        Which structures count (bool array); the others are never drawn.
    """
    scores = prior.draw(count, rng)
    if allowed is not None:
        scores = _only(scores, allowed, rng)
    log = likelihood(scores)
    at, evidence, powers, accepted = 0.0, 0.0, [], 0.0
    while at < power:
        step = _step(log, power - at)
        at = power if step >= power - at else at + step
        powers.append(at)
        raised = step * log
        top = raised.max()
        weights = np.exp(raised - top)
        evidence += float(top + np.log(weights.mean()))
        rows = _resampled(weights, rng)
        scores, log = scores.take(rows), log[rows]
        moves = last if at == power else MOVES
        scores, log, accepted = _moved(scores, log, at, likelihood, moves, rng, allowed)
    return Sample(scores, evidence, tuple(powers), accepted, log)


def _only(
    scores: Scores, allowed: Callable[[Scores], np.ndarray], rng: np.random.Generator
) -> Scores:
    while not (fine := allowed(scores)).all():
        fresh = prior.draw(len(scores), rng).structures
        structures = np.where(fine[:, None], scores.structures, fresh)
        scores = Scores(scores.values, scores.spreads, structures)
    return scores


def effective(weights: np.ndarray) -> float:
    """Effective sample size of weights (Kish)."""
    return float(weights.sum() ** 2 / (weights**2).sum())


def _step(log: np.ndarray, most: float) -> float:
    """The power to add, at most `most`, that keeps the effective sample size."""
    centred = log - log.max()

    def spare(step: float) -> float:
        return effective(np.exp(step * centred)) / log.size - KEPT

    return most if spare(most) >= 0.0 else float(brentq(spare, 0.0, most, xtol=1e-6 * most))


def _resampled(weights: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Rows in proportion to weights, systematically."""
    at = (rng.random() + np.arange(weights.size)) / weights.size
    return np.searchsorted(np.cumsum(weights) / weights.sum(), at).clip(0, weights.size - 1)


def _moved(
    scores: Scores,
    log: np.ndarray,
    power: float,
    likelihood: Callable[[Scores], np.ndarray],
    moves: int,
    rng: np.random.Generator,
    allowed: Callable[[Scores], np.ndarray] | None,
) -> tuple[Scores, np.ndarray, float]:
    """Worlds after some moves that keep the tempered posterior, and the share accepted."""
    step, wins, tries = 0.5, 0, 0
    x = np.hstack([scores.values, scores.spreads])
    words, log = scores.structures.copy(), log.copy()
    wide = scores.values.shape[1]
    for k in range(moves):
        who = np.arange(len(x))
        if k % 3 == 1:
            # Half of the worlds move along differences of the other half, which rests.
            mixed = rng.permutation(len(x))
            who, rest = mixed[: len(x) // 2], mixed[len(x) // 2 :]
            new = _differences(x[who], x[rest], rng)
            ratio = 0.5 * (x[who] ** 2 - new**2).sum(axis=1)
        else:
            new, ratio = _shrunk(x, step, rng), np.zeros(len(x))
        new_words = _other_word(words, rng) if k % 3 == 2 else words[who]
        asked = Scores(new[:, :wide], new[:, wide:], new_words)
        proposed = likelihood(asked)
        chance = power * (proposed - log[who]) + ratio
        if allowed is not None:
            chance = np.where(allowed(asked), chance, -np.inf)
        won = np.log(rng.random(who.size)) < chance
        gone = who[won]
        x[gone], words[gone], log[gone] = new[won], new_words[won], proposed[won]
        if k % 3 == 0:
            wins, tries = wins + int(won.sum()), tries + won.size
            step = float(np.clip(step * np.exp(won.mean() - 0.3), 0.05, 1.0))
    return Scores(x[:, :wide], x[:, wide:], words), log, wins / max(1, tries)


def _shrunk(x: np.ndarray, step: float, rng: np.random.Generator) -> np.ndarray:
    """A step on a few scores that leaves the prior as it is."""
    some = rng.random(x.shape) < _BLOCK / x.shape[1]
    new = np.sqrt(1.0 - step**2) * x + step * rng.standard_normal(x.shape)
    return np.where(some, new, x)


def _differences(x: np.ndarray, others: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Along the difference of two other worlds, on a part of the scores."""
    a, b = others[rng.integers(0, len(others), (2, len(x)))]
    share = rng.choice([0.1, 0.3, 1.0], len(x))[:, None]
    some = rng.random(x.shape) < share
    scale = 2.38 / np.sqrt(2.0 * np.maximum(1, some.sum(axis=1, keepdims=True)))
    return x + np.where(some, scale * (a - b) + 1e-4 * rng.standard_normal(x.shape), 0.0)


def _other_word(words: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Another option of one structure for each world."""
    new = words.copy()
    which = rng.integers(0, words.shape[1], len(words))
    for k, of in enumerate(prior.options()):
        rows = np.flatnonzero(which == k)
        new[rows, k] = (words[rows, k] + rng.integers(1, len(of), rows.size)) % len(of)
    return new
