"""What is held possible before the literature is read: values, structures, strains, studies.

Every number of the biology is uniform over its plausible range (in its logarithm where that spans
more than a factor of ten), every structure as likely as the others. Inference works on standard
normal scores of these, so that no world leaves the ranges but by its strain.

**Strains.** The ranges are those of the species' mean strain. Each study kept a strain of its
own, and so does each keeper: a factor on pace, on size and on laying, lognormal about the mean
strain. How far strains differ is itself a score of the world (`SPREADS`).

**Studies.** What else sets studies apart (diets, light, counting, what abstracts leave unsaid) is
an error of each published number, on the scale of ``evidence/allowed.toml``, times one factor of
the world.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtr, ndtri

from colony_sim.biology.parameters import Entry, Parameters, Value, catalogue
from colony_sim.experiment.hands import DECADE

#: Choices of form that the literature has to tell apart.
STRUCTURES = ("growth.law", "growth.crowding", "predation.refuge", "heat.own")
#: What a strain moves, each key by the same factor: a larger strain has all its masses larger.
STRAIN = {
    "pace": ("larva.duration_days",),
    "size": ("larva.mature_mass_mg", "larva.asymptotic_mass_mg", "larva.critical_mass_mg"),
    "laying": ("fecundity.peak_eggs_per_day",),
}


@dataclass(frozen=True)
class Spread:
    """A positive number of the world that no catalogue holds, lognormal before the fit."""

    name: str
    median: float
    sd: float
    reason: str


SPREADS = (
    Spread("pace", 0.2, 0.4, "larval periods at 27 C of three papers have an SD of 20 %"),
    Spread("size", 0.2, 0.4, "pupae of 119 to 147, 130 to 160 and 180 to 240 mg: an SD of 23 %"),
    Spread("laying", 0.45, 0.4, "4.65 to 24 eggs a day in five papers: an SD of 0.7 in the "
           "logarithm, of which age, density and temperature have a part"),
    Spread("studies", 0.7, 0.35, "the allowances of allowed.toml were read off studies of "
           "unlike strains, so they hold more than what is left beside strains"),
)  # fmt: skip


@dataclass(frozen=True)
class Prior:
    """Independent distributions of some keys of the biology.

    Attributes
    ----------
    keys : tuple of str
    low, high : tuple of float
        Plausible range of each key, in its unit.
    log : tuple of bool
        Whether it is uniform in the logarithm.
    """

    keys: tuple[str, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    log: tuple[bool, ...]

    def values(self, scores: np.ndarray) -> np.ndarray:
        """Values of keys (... x keys) from standard normal scores."""
        share = ndtr(np.asarray(scores, float))
        low, high = np.array(self.low), np.array(self.high)
        log = np.array(self.log)
        ratio = np.where(log, high / np.where(log, low, 1.0), 1.0)
        values = np.where(log, np.where(log, low, 1.0) * ratio**share, low + (high - low) * share)
        return np.clip(values, low, high)

    def scores(self, values: np.ndarray) -> np.ndarray:
        """Standard normal scores of values of keys (... x keys); the inverse of `values`."""
        values = np.asarray(values, float)
        low, high = np.array(self.low), np.array(self.high)
        log = np.array(self.log)
        safe = np.where(log, values, 1.0)
        ratio = np.where(log, high / np.where(log, low, 1.0), math.e)
        along = np.log(safe / np.where(log, low, 1.0)) / np.log(ratio)
        share = np.where(log, along, (values - low) / (high - low))
        return ndtri(np.clip(share, 1e-9, 1 - 1e-9))

    def interval(self, level: float) -> np.ndarray:
        """Central intervals of the keys before a log is read (keys x 2)."""
        ends = ndtri(np.array([0.5 - level / 2, 0.5 + level / 2]))
        return self.values(np.repeat(ends[:, None], len(self.keys), axis=1)).T


@cache
def numbers() -> tuple[str, ...]:
    """Keys of all uncertain numbers of the biology."""
    return tuple(
        key
        for key, entry in catalogue().items()
        if entry.group == "biology" and entry.kind == "number"
    )


@cache
def options() -> tuple[tuple[Value, ...], ...]:
    """What each structure may be."""
    return tuple(
        tuple(catalogue()[key].choices) or (False, True) for key in STRUCTURES
    )  # A structure without words is one that is there or not.


def _ends(entry: Entry) -> tuple[float, float]:
    """Range of a number; one from nothing to far above the value in use starts a little above.

    Uniform in the logarithm, it then leaves room about the value in use.
    """
    low, high = entry.ends
    far = low == 0.0 < float(entry.value) < high / DECADE
    return (high / 1000.0 if far else low), high


@cache
def prior() -> Prior:
    """The joint prior of `numbers`."""
    ends = [_ends(catalogue()[key]) for key in numbers()]
    low, high = zip(*ends, strict=True)
    log = tuple(a > 0.0 and b / a > DECADE for a, b in ends)
    return Prior(numbers(), low, high, log)


@dataclass(frozen=True, eq=False)
class Scores:
    """Some worlds as scores, one row a world.

    Attributes
    ----------
    values : float64 array, shape (worlds, numbers)
        Standard normal scores of `numbers`, for the mean strain.
    spreads : float64 array, shape (worlds, len(SPREADS))
        Standard normal scores of `SPREADS`.
    structures : int8 array, shape (worlds, len(STRUCTURES))
        Index into `options`.
    """

    values: np.ndarray
    spreads: np.ndarray
    structures: np.ndarray

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows: np.ndarray | list[int] | slice) -> Scores:
        """Some of the worlds."""
        return Scores(self.values[rows], self.spreads[rows], self.structures[rows])

    @classmethod
    def join(cls, *parts: Scores) -> Scores:
        """Worlds of several samples, one after another."""
        return cls(
            np.concatenate([p.values for p in parts]),
            np.concatenate([p.spreads for p in parts]),
            np.concatenate([p.structures for p in parts]),
        )

    @property
    def shares(self) -> np.ndarray:
        """Places within the plausible ranges, -1 to 1 (worlds x numbers)."""
        return 2.0 * ndtr(self.values) - 1.0

    def spread(self) -> np.ndarray:
        """`SPREADS` in their own units (worlds x spreads)."""
        median = np.array([s.median for s in SPREADS])
        return median * np.exp(np.array([s.sd for s in SPREADS]) * self.spreads)

    def values_of(self, row: int, strain: np.ndarray) -> dict[str, Value]:
        """Values and structures of a world for a strain (log factors, in order of `STRAIN`)."""
        found: dict[str, Value] = dict(
            zip(numbers(), prior().values(self.values[row]).tolist(), strict=True)
        )
        found |= of_strain(found, strain)
        for key, words, index in zip(STRUCTURES, options(), self.structures[row], strict=True):
            found[key] = words[index]
        return found

    def parameters(self, row: int, strain: np.ndarray) -> Parameters:
        """The biology of a world for a strain."""
        return Parameters.default().with_values(self.values_of(row, strain), "world")


def of_strain(values: Mapping[str, Value], strain: np.ndarray) -> dict[str, Value]:
    """The keys that a strain moves, moved; kept within what the program accepts."""
    found: dict[str, Value] = {}
    for keys, log_factor in zip(STRAIN.values(), strain, strict=True):
        for key in keys:
            entry = catalogue()[key]
            assert entry.least is not None and entry.most is not None  # As numbers have.
            moved = float(values[key]) * float(np.exp(log_factor))
            found[key] = min(max(moved, entry.least), entry.most)
    return found


def draw(count: int, rng: np.random.Generator) -> Scores:
    """Worlds from the prior."""
    return Scores(
        rng.standard_normal((count, len(numbers()))),
        rng.standard_normal((count, len(SPREADS))),
        np.column_stack([rng.integers(0, len(words), count) for words in options()]).astype(
            np.int8
        ),
    )
