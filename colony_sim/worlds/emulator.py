"""Fast stand-ins for the replications: polynomials of values, strains and structures.

Regression of each number on the bank. Which values count is screened by their t values; the
strongest get a square, a cube, products with each other and one slope a structure. What the
polynomials leave unexplained (seeds, circumstances that a paper leaves open, shape) is a
covariance of the numbers of a study, from residuals of rows left out one at a time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from colony_sim.worlds.prior import STRAIN, Scores, numbers, options

#: Values that may enter, and those of them that enter with squares and products.
MOST, STRONGEST = 16, 8
#: Least |t| of a value: 3.3 is passed by chance once in a thousand.
T_LEAST = 3.3
#: Ridge penalties tried, on features of unit variance.
PENALTIES = (0.3, 3.0, 30.0, 300.0)
#: Unit of a strain's log factor.
STRAIN_UNIT = 0.3
#: Rows below which a regression is refused.
FEWEST = 30

_VALUES = len(numbers())
_STRAINS = len(STRAIN)


def columns(scores: Scores, strains: np.ndarray | None = None) -> np.ndarray:
    """Columns of which features are products (worlds x columns, columns contiguous).

    One; values, strains (none unless given), structures; squares of the values, cubes.
    """
    share = np.sqrt(3.0) * scores.shares.T
    strain = np.zeros((_STRAINS, len(scores))) if strains is None else strains.T / STRAIN_UNIT
    words = [
        (scores.structures[:, k] == np.arange(len(of))[:, None]) - 1.0 / len(of)
        for k, of in enumerate(options())
    ]
    square = (share**2 - 1.0) * 1.118
    cube = (share**3 - 1.8 * share) * 1.323
    return np.vstack([np.ones((1, len(scores))), share, strain, *words, square, cube]).T


_FIRST_STRUCTURE = 1 + _VALUES + _STRAINS
_STRUCTURES = sum(map(len, options()))
_SQUARE = _FIRST_STRUCTURE + _STRUCTURES
_CUBE = _SQUARE + _VALUES
_LINEAR = np.arange(1, _SQUARE)


@dataclass(frozen=True, eq=False)
class Surface:
    """A polynomial: the sum of `weights` times the product of a `pair` of columns."""

    pairs: np.ndarray
    weights: np.ndarray
    residuals: np.ndarray
    explained: float

    @property
    def of(self) -> tuple[int, ...]:
        """Values that enter, as indices into `numbers`."""
        inside = self.pairs[(self.pairs >= 1) & (self.pairs <= _VALUES)]
        return tuple(np.unique(inside - 1).tolist())


def surface(x: np.ndarray, y: np.ndarray) -> Surface:
    """Regress a number on its columns (rows x columns).

    `residuals` are those of rows left out one at a time (NaN where the number is NaN), and
    `explained` is the share of variance that these leave explained.

    Raises
    ------
    ValueError
        Fewer than `FEWEST` rows with a number.
    """
    rows = np.flatnonzero(np.isfinite(y))
    if rows.size < FEWEST:
        raise ValueError(f"{rows.size} rows with a number; at least {FEWEST}")
    a, b = x[rows], y[rows]
    left = np.full(y.size, np.nan)
    if np.ptp(b) == 0.0:
        left[rows] = 0.0
        return Surface(np.zeros((1, 2), int), b[:1].copy(), left, 1.0)
    pairs = _features(a, b)
    f = a[:, pairs[:, 0]] * a[:, pairs[:, 1]]
    # A structure that a part of the rows lacks gives a constant feature: it must not blow up.
    mean, scale = f[:, 1:].mean(axis=0), np.maximum(f[:, 1:].std(axis=0), 1e-6)
    unit = (f[:, 1:] - mean) / scale
    u, s, vt = np.linalg.svd(unit, full_matrices=False)
    best = None
    for penalty in PENALTIES:
        shrink = s**2 / (s**2 + penalty)
        fitted = b.mean() + u @ (shrink * (u.T @ (b - b.mean())))
        hat = 1.0 / b.size + (u**2 * shrink).sum(axis=1)
        loo = (b - fitted) / np.maximum(1.0 - hat, 1e-6)
        if best is None or np.mean(loo**2) < np.mean(best[1] ** 2):
            best = penalty, loo
    assert best is not None
    penalty, loo = best
    weights = (vt.T @ (s / (s**2 + penalty) * (u.T @ (b - b.mean())))) / scale
    left[rows] = loo
    weights = np.concatenate([[b.mean() - weights @ mean], weights])
    return Surface(pairs, weights, left, float(1.0 - np.mean(loo**2) / np.var(b)))


def _features(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Pairs of columns whose products enter."""
    linear = x[:, _LINEAR]
    unit = (linear - linear.mean(axis=0)) / np.maximum(linear.std(axis=0), 1e-9)
    # A little ridge, since the columns of a structure add up to nothing.
    gram = unit.T @ unit + 1e-3 * len(y) * np.eye(unit.shape[1])
    inverse = np.linalg.inv(gram)
    weights = inverse @ (unit.T @ (y - y.mean()))
    error = np.sqrt(np.mean((y - y.mean() - unit @ weights) ** 2) * np.diag(inverse))
    t = np.abs(weights) / np.maximum(error, 1e-12)
    structures = range(_FIRST_STRUCTURE, _SQUARE)
    t[np.array(structures) - 1] = 0.0
    order = _LINEAR[np.argsort(-t)]
    chosen = [int(k) for k in order[:MOST] if t[k - 1] > T_LEAST]
    strong = chosen[:STRONGEST]
    pairs = [(0, 0), *((k, 0) for k in chosen), *((k, 0) for k in structures)]
    for n, k in enumerate(strong):
        if k <= _VALUES:
            pairs += [(_SQUARE + k - 1, 0), (_CUBE + k - 1, 0)]
        pairs += [(k, other) for other in strong[n + 1 :]]
        pairs += [(k, word) for word in structures]
    return np.array(pairs)


@dataclass(frozen=True, eq=False)
class Emulator:
    """Surfaces of some outputs, evaluated together.

    Attributes
    ----------
    names : tuple of str
    surfaces : tuple of Surface
    """

    names: tuple[str, ...]
    surfaces: tuple[Surface, ...]

    def __post_init__(self) -> None:
        all_pairs = np.concatenate([s.pairs for s in self.surfaces])
        unique, inverse = np.unique(all_pairs, axis=0, return_inverse=True)
        weights = np.zeros((len(unique), len(self.names)))
        of = np.repeat(np.arange(len(self.names)), [len(s.pairs) for s in self.surfaces])
        weights[inverse.ravel(), of] = np.concatenate([s.weights for s in self.surfaces])
        object.__setattr__(self, "_parts", _parts(unique, weights))

    def without_residuals(self) -> Emulator:
        """The same surfaces, light enough to be handed to workers."""
        bare = (replace(s, residuals=np.zeros(0)) for s in self.surfaces)
        return Emulator(self.names, tuple(bare))

    def with_slopes(self, scores: Scores) -> tuple[np.ndarray, np.ndarray]:
        """Numbers for the mean strain (worlds x outputs), and their slopes in each strain.

        The slopes are by the strain's log factor (worlds x strains x outputs).
        """
        x, parts = columns(scores), self._parts  # type: ignore[attr-defined]
        return _sum(x, *parts[0]), np.stack([_sum(x, *part) for part in parts[1:]], axis=1)


def value(of: Surface, x: np.ndarray) -> np.ndarray:
    """A surface at columns (worlds x columns) for the mean strain."""
    return _sum(x, *_parts(of.pairs, of.weights)[0])


def slopes(of: Surface, x: np.ndarray) -> np.ndarray:
    """Its slopes in each strain's log factor there (worlds x strains)."""
    return np.column_stack([_sum(x, *part) for part in _parts(of.pairs, of.weights)[1:]])


def _parts(pairs: np.ndarray, weights: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Features without a strain; then for each strain what it is multiplied with.

    The latter are the slope in a strain, where all strains are nought.
    """
    strain = np.arange(1 + _VALUES, _FIRST_STRUCTURE)
    plain = ~np.isin(pairs, strain).any(axis=1)
    parts = [(pairs[plain], weights[plain])]
    for k in strain:
        other = np.where(pairs[:, 0] == k, pairs[:, 1], pairs[:, 0])
        keep = (pairs == k).any(axis=1) & ~np.isin(other, strain)
        factors = np.column_stack([other[keep], np.zeros(int(keep.sum()), int)])
        parts.append((factors, weights[keep] / STRAIN_UNIT))
    return parts


def _sum(x: np.ndarray, pairs: np.ndarray, weights: np.ndarray) -> np.ndarray:
    across = x.T  # Whole columns lie together.
    return (across[pairs[:, 0]] * across[pairs[:, 1]]).T @ weights
