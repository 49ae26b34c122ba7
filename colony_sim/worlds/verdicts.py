"""Verdicts given after made-up literatures, and whether they came true.

Worlds drawn for a literature whose truth is known say with what probability 14 days are ahead of
21, and other things that a keeper would decide by. Lived worlds are too few for a probability, so
surfaces of what both rotations gave, fitted to all lived pairs but those of the literature's own
fold, are evaluated at its worlds, each with a keeper's strain of its own, and residuals of rows
left out are added.

Chance: the truth is the mean over some seeds of the rack lived under the row that made the
literature. Residuals hold the error of the surface and the chance of their row; they are scaled so
that their variance is that of the error and of the chance left in such a mean.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

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
#: Folds of literatures, and residuals drawn for each world.
FOLDS, RESIDUALS = 8, 16

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
    chance : float array, shape (outputs,)
        Variance of `outputs` from one seed to the next.
    """

    scores: Scores
    strains: np.ndarray
    found: np.ndarray
    seeds: np.ndarray
    literature: np.ndarray
    truth: np.ndarray
    chance: np.ndarray


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
        Lived for each literature.
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
    return Lived(
        Scores.join(bank.scores.take(rows), *drawn),
        np.concatenate([bank.strains[rows, -1], strain]),
        np.concatenate([truths.mean(axis=1), found]),
        np.repeat([seeds, 1], [len(rows), len(found)]),
        np.concatenate([rows, np.repeat([fit.row for fit in own], worlds)]).astype(int),
        np.repeat([True, False], [len(rows), len(found)]),
        np.var(outputs(truths), axis=1, ddof=1).mean(axis=0),
    )


def outputs(found: np.ndarray) -> np.ndarray:
    """What is regressed, from what both rotations gave (... x policies x kept).

    Log ratio (14 over 21 days) of harvest, of harvest per hour, per bin and per kg of bran; log of
    both harvests together. Along the last axis.
    """
    log = np.log(found + FLOOR)
    ratio = log[..., 0, :] - log[..., 1, :]
    together = np.log(found[..., 0].sum(axis=-1) + 2.0 * FLOOR)
    return np.concatenate(
        [ratio[..., :1], ratio[..., :1] - ratio[..., 1:], together[..., None]], axis=-1
    )


def decided(out: np.ndarray) -> np.ndarray:
    """Whether each of `ROTATIONS` is so, from `outputs` (last axis)."""
    ratio, together = out[..., 0], np.exp(out[..., -1])
    gain = together * np.tanh(ratio / 2.0)
    return np.stack(
        [ratio > 0.0, gain > INDIFFERENT_G, *(out[..., k] > 0.0 for k in (1, 2, 3))], axis=-1
    )


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
        lived worlds of that literature in which it did; NaN without).
    """
    x, y = columns(lived.scores, lived.strains), outputs(lived.found)
    true = decided(y)
    y = np.clip(y, *fences(y))
    found = []
    fitted: dict[object, list[tuple[Surface, float]]] = {}
    for fit in fits:
        fold = fit.without or fit.row % FOLDS
        if fold not in fitted:
            rows = np.flatnonzero(_teach(lived, fit))
            some = [surface(x[rows], column) for column in y[rows].T]
            fitted[fold] = [
                (of, _scale(of, lived.seeds[rows], lived.chance[k], lived.seeds.max()))
                for k, of in enumerate(some)
            ]
        at = columns(fit.scores, _strains_of(fit, seed))
        drawn = _drawn([of for of, _ in fitted[fold]], at, [c for _, c in fitted[fold]], fit, seed)
        p = decided(drawn).mean(axis=(0, 1))
        mine = lived.literature == fit.row
        came = true[mine & lived.truth][0]
        direct = np.full(len(ROTATIONS), np.nan)
        if fit.without is None and (mine & ~lived.truth).any():
            direct = true[mine & ~lived.truth].mean(axis=0)
        found += _rows(fit, ROTATIONS, p, came, direct)
    found += _of_a_bin(bank, fits, held, seed)
    return pd.DataFrame(found)


def _rows(
    fit: Fit, names: Sequence[str], p: np.ndarray, came: np.ndarray, direct: np.ndarray
) -> list[dict[str, object]]:
    structure, option = "", ""
    if fit.without is not None:
        structure, code = fit.without
        option = str(prior.options()[prior.STRUCTURES.index(structure)][code]).lower()
    return [
        {"structure": structure, "option": option, "literature": fit.row, "decision": name,
         "p": float(p[k]), "came": bool(came[k]), "direct": float(direct[k])}
        for k, name in enumerate(names)
    ]  # fmt: skip


def _teach(lived: Lived, fit: Fit) -> np.ndarray:
    """Which lived pairs may teach the surfaces for a fit."""
    if fit.without is None:
        return np.asarray(lived.literature % FOLDS != fit.row % FOLDS)
    return _lacks(lived.scores, fit.without)


def _lacks(scores: Scores, without: tuple[str, int]) -> np.ndarray:
    structure, code = without
    return np.asarray(scores.structures[:, prior.STRUCTURES.index(structure)] != code)


def _scale(of: Surface, seeds: np.ndarray, chance: float, truth: int) -> float:
    """Factor of residuals that leaves the error of the surface and the chance of a truth's mean."""
    variance = float(np.mean(of.residuals**2))
    error = max(0.0, variance - chance * float(np.mean(1.0 / seeds)))
    return float(np.sqrt((error + chance / truth) / variance)) if variance > 0.0 else 1.0


def _strains_of(fit: Fit, seed: int) -> np.ndarray:
    rng = np.random.default_rng(key(seed, "verdict keepers", fit.row))
    return strains(fit.scores, 1, rng)[:, 0]


def _drawn(
    surfaces: Sequence[Surface], at: np.ndarray, scale: Sequence[float], fit: Fit, seed: int
) -> np.ndarray:
    """Numbers under worlds (worlds x RESIDUALS x numbers), residuals of one row together."""
    rng = np.random.default_rng(key(seed, "verdict residuals", fit.row))
    rows = rng.integers(0, len(surfaces[0].residuals), (len(at), RESIDUALS))
    drawn = []
    for of, factor in zip(surfaces, scale, strict=True):
        mean = (at[:, of.pairs[:, 0]] * at[:, of.pairs[:, 1]]) @ of.weights
        drawn.append(mean[:, None] + factor * of.residuals[rows])
    return np.stack(drawn, axis=-1)


def _of_a_bin(bank: Bank, fits: Sequence[Fit], held: int, seed: int) -> list[dict[str, object]]:
    """Verdicts on a keeper's first bin, seen once: its chance is in truth and forecast alike."""
    seen = bank.seen[:, :2]
    lived = np.isfinite(seen).all(axis=1)
    x = columns(bank.scores, bank.strains[:, -1])
    y = np.column_stack([-np.log(seen[:, 0]), np.sqrt(seen[:, 1])])
    edge = np.array([-np.log(BY_DAY), np.sqrt(FROM_G)])
    names = tuple(name for name in DECISIONS if name not in ROTATIONS)
    fitted: dict[object, list[Surface]] = {}
    found = []
    for fit in fits:
        if not lived[fit.row]:
            continue
        if fit.without not in fitted:
            teach = lived & (np.arange(len(bank)) >= held)
            if fit.without is not None:
                teach = lived & _lacks(bank.scores, fit.without)
            rows = np.flatnonzero(teach)
            fitted[fit.without] = [surface(x[rows], column) for column in y[rows].T]
        at = columns(fit.scores, _strains_of(fit, seed))
        drawn = _drawn(fitted[fit.without], at, (1.0, 1.0), fit, seed)
        p = (drawn >= edge).mean(axis=(0, 1))
        found += _rows(fit, names, p, y[fit.row] >= edge, np.full(2, np.nan))
    return found
