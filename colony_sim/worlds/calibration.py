"""Do worlds hold what they say? Fits to literatures made up from the bank, whose truth is known.

Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): rows of the bank that no
surface has seen are told as the real literature is told, worlds are drawn for each, and it is
counted how often their intervals hold the truth, of values and of what a keeper sees.

Power: literatures from a structure that the fit lacks. They are noticed where the probability of
the literature, a number, is lower than that of all but `FALSE_ALARM` of the literatures above.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.evidence.conditions import key
from colony_sim.running.runner import Progress
from colony_sim.worlds import literature, prior
from colony_sim.worlds.agreement import NARROWED, names
from colony_sim.worlds.bank import Bank
from colony_sim.worlds.conditioning import Conditioning, condition
from colony_sim.worlds.emulator import Surface, columns, slopes, surface, value
from colony_sim.worlds.likelihood import Likelihood, fences, likelihood_of
from colony_sim.worlds.prior import STRAIN, Scores
from colony_sim.worlds.sampler import Sample
from colony_sim.worlds.verdicts import Fit

FALSE_ALARM = 0.05
LEVELS = (0.5, 0.9)


@dataclass(frozen=True)
class Sizes:
    """How much is calibrated.

    Attributes
    ----------
    literatures : int
        Made-up literatures, from the first rows of the bank.
    predicted, gains : int
        Those of which a keeper's first bin, and the gain of a 14-day move, is predicted.
    worlds, moves : int
        Worlds drawn for each, and moves of the sampler at the end; literatures of a foreign
        structure do without, as what is asked of them is known before.
    foreign : int
        Literatures of each option of a structure, fitted without it.
    seeds, lived : int
        Of verdicts on rotations: seeds of each truth, and worlds lived for each literature; 0
        worlds: no verdicts.
    """

    literatures: int
    predicted: int
    gains: int
    worlds: int
    moves: int
    foreign: int
    seeds: int = 2
    lived: int = 4


@dataclass(frozen=True, eq=False)
class Calibration:
    """What came of it.

    Attributes
    ----------
    held : DataFrame
        One row a group and level: group, level, held (share of truths within), error (SE over
        literatures), literatures.
    told_apart : DataFrame
        One row a structure: key, weight (mean posterior weight of the true option), expected (what
        it is if weights are probabilities), error (SE of their difference).
    power : DataFrame
        One row an option taken out: key, option, literatures, noticed (share).
    surprise : float array
        Log probability a number of each made-up literature.
    fits : list of Fit
        Worlds of each literature.
    """

    held: pd.DataFrame
    told_apart: pd.DataFrame
    power: pd.DataFrame
    surprise: np.ndarray
    fits: list[Fit]


def calibrate(
    bank: Bank,
    seed: int,
    sizes: Sizes,
    folder: Path | None = None,
    *,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Calibration:
    """Fit made-up literatures and count.

    Parameters
    ----------
    bank : Bank
        Its first `sizes.literatures` rows are drawn from the prior.
    seed, folder, workers, on_progress
        As in `conditioning.condition`.
    sizes : Sizes
    """
    rows = np.arange(sizes.literatures)
    rest = np.arange(sizes.literatures, len(bank))
    like = likelihood_of(bank, literature.published(bank.outputs), rest)
    told = _told(bank)
    own = [
        replace(_job(like, bank, told, int(row), seed, sizes.worlds), last=sizes.moves)
        for row in rows
    ]
    foreign: list[tuple[str, int, np.ndarray, list[Conditioning]]] = []
    for at, name in enumerate(prior.STRUCTURES):
        for code in range(len(prior.options()[at])):
            of = bank.scores.structures[:, at] == code
            # Whoever makes the literature is not among those that the surfaces were fitted to.
            without = likelihood_of(bank, like.data, np.flatnonzero(~of))
            made = np.flatnonzero(of)[: sizes.foreign]
            left_out = ((name, code),)
            some = [_job(without, bank, told, int(k), seed, sizes.worlds, left_out) for k in made]
            foreign.append((name, code, made, some))
    jobs = [*own, *(job for *_, some in foreign for job in some)]
    samples = condition(jobs, folder, workers=workers, on_progress=on_progress)
    found = dict(zip((job.key for job in jobs), samples, strict=True))
    mine = [found[job.key] for job in own]
    surprise = _surprise(own, mine)
    edge = np.quantile(surprise, FALSE_ALARM)
    power = [
        {
            "key": name,
            "option": str(prior.options()[prior.STRUCTURES.index(name)][code]).lower(),
            "literatures": len(some),
            "noticed": float((_surprise(some, [found[j.key] for j in some]) < edge).mean()),
        }
        for name, code, _, some in foreign
    ]
    held = [*_values_held(bank, mine), *_seen_held(bank, mine, rest, sizes, seed)]
    fits = [Fit(int(row), None, own.scores) for row, own in zip(rows, mine, strict=True)]
    fits += [
        Fit(int(row), (name, code), found[job.key].scores)
        for name, code, made, some in foreign
        for row, job in zip(made, some, strict=True)
    ]
    return Calibration(
        pd.DataFrame(held), _told_apart(bank, mine), pd.DataFrame(power), surprise, fits
    )


def _told(bank: Bank) -> np.ndarray:
    found = literature.on_scale(bank.found, bank.outputs)
    return np.clip(found, *fences(found))


def _job(
    like: Likelihood,
    bank: Bank,
    told: np.ndarray,
    row: int,
    seed: int,
    count: int,
    without: tuple[tuple[str, int], ...] = (),
) -> Conditioning:
    factor = float(bank.scores.spread()[row, len(STRAIN)])
    rng = np.random.default_rng(key(seed, "literature", int(row)))
    data = literature.made_up(told[row], bank.outputs, factor, rng)
    asked = Likelihood(like.emulator, like.unexplained, data)
    return Conditioning(asked, count, int(rng.integers(2**32)), without=without)


def _surprise(jobs: list[Conditioning], samples: list[Sample]) -> np.ndarray:
    """Log probability a number."""
    return np.array([
        sample.evidence / job.likelihood.data.outputs.size
        for job, sample in zip(jobs, samples, strict=True)
    ])  # fmt: skip


def _held(group: str, inside: dict[float, np.ndarray]) -> list[dict[str, object]]:
    """Rows of `Calibration.held` from shares (or truth values) by level, one a literature."""
    return [
        {
            "group": group, "level": level, "held": float(np.mean(shares)),
            "error": float(np.std(shares, ddof=1) / np.sqrt(shares.size)),
            "literatures": shares.size,
        }
        for level, shares in inside.items()
    ]  # fmt: skip


def _within(drawn: np.ndarray, truth: np.ndarray, level: float) -> np.ndarray:
    """Whether central intervals of draws (first axis) hold the truth."""
    low, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5 + level / 2.0], axis=0)
    return (low <= truth) & (truth <= high)


def _values_held(bank: Bank, samples: list[Sample]) -> list[dict[str, object]]:
    """Of the values, of those that a literature narrows, and of the spreads."""
    drawn = [np.hstack([s.scores.values, s.scores.spreads]) for s in samples]
    truth = np.hstack([bank.scores.values, bank.scores.spreads])
    spread = np.mean([d.std(axis=0) for d in drawn], axis=0)
    wide = len(prior.numbers())
    groups = {
        "values narrowed": np.flatnonzero(spread[:wide] < 1.0 - NARROWED),
        "all values": np.arange(wide),
        "spreads": np.arange(wide, len(names())),
    }
    found = []
    for group, of in groups.items():
        if not of.size:
            continue
        inside = {
            level: np.array([
                _within(d[:, of], truth[k, of], level).mean() for k, d in enumerate(drawn)
            ])
            for level in LEVELS
        }  # fmt: skip
        found += _held(group, inside)
    return found


#: Scales on which what is seen is regressed.
_SCALES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "first_harvest": np.log,
    "bin_yield": np.sqrt,
    "gain": lambda grams: grams,
}


def _seen_held(
    bank: Bank, samples: list[Sample], rest: np.ndarray, sizes: Sizes, seed: int
) -> list[dict[str, object]]:
    """Of what a keeper with a new strain sees."""
    rng = np.random.default_rng(key(seed, "seen"))
    found = []
    x = columns(bank.scores, bank.strains[:, -1])
    for k, (what, read) in enumerate(_SCALES.items()):
        count = sizes.gains if what == "gain" else sizes.predicted
        if not count:
            continue
        seen = read(bank.seen[:, k])
        # Few rows have a gain: those whose literature is not fitted here may teach the surface.
        rows = np.arange(count, len(bank)) if what == "gain" else rest
        seen = np.clip(seen, *fences(seen[:, None]))
        of = surface(x[rows], seen[rows])
        inside: dict[float, list[bool]] = {level: [] for level in LEVELS}
        for row in range(count):
            drawn = predicted(of, samples[row].scores, rng)
            for level in LEVELS:
                inside[level].append(bool(_within(drawn, seen[row], level)))
        found += _held(what, {a: np.array(b, float) for a, b in inside.items()})
    return found


def predicted(of: Surface, scores: Scores, rng: np.random.Generator) -> np.ndarray:
    """What keepers with strains of their own see under worlds, residuals of the surface added."""
    x = columns(scores)
    strain = scores.spread()[:, : len(STRAIN)] * rng.standard_normal((len(scores), len(STRAIN)))
    left = of.residuals[np.isfinite(of.residuals)]
    return value(of, x) + (slopes(of, x) * strain).sum(axis=1) + rng.choice(left, len(scores))


def _told_apart(bank: Bank, samples: list[Sample]) -> pd.DataFrame:
    rows = []
    for k, (name, words) in enumerate(zip(prior.STRUCTURES, prior.options(), strict=True)):
        weights = np.array([
            np.bincount(s.scores.structures[:, k], minlength=len(words)) / len(s.scores)
            for s in samples
        ])  # fmt: skip
        truth = bank.scores.structures[: len(samples), k]
        own = weights[np.arange(len(samples)), truth]
        expected = (weights**2).sum(axis=1)
        error = np.std(own - expected, ddof=1) / np.sqrt(len(samples))
        rows.append({
            "key": name, "weight": own.mean(), "expected": expected.mean(), "error": error,
        })  # fmt: skip
    return pd.DataFrame(rows)
