"""Ridge regression of many targets at once, its penalty by leave-one-out error, rows with weights.

All that leaving out each row in turn would give has a closed form (Hoerl and Kennard 1970,
Technometrics 12:55; Allen 1974, Technometrics 16:125), the jackknife+ of Barber, Candes, Ramdas
and Tibshirani (2021, Ann. Stat. 49:486, doi 10.1214/20-AOS1965) as well: what the regression
without row i says of a new row, plus how far it was from row i.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PENALTIES = 10.0 ** np.arange(-1.0, 5.5, 0.5)
"""Penalties tried, in units of the sum of squares of a standardised feature over a row."""


@dataclass(frozen=True)
class Ridge:
    """A fitted regression.

    Attributes
    ----------
    coefficients : float64 array, shape (features, targets)
    left_out : float64 array, shape (rows, targets)
        For each row what the regression without it says of it.
    errors : float64 array, shape (targets,)
        Weighted mean square of the rows about `left_out`.
    centre : float64 array, shape (features,)
    level : float64 array, shape (targets,)
        What is said of a row at the centre.
    """

    coefficients: np.ndarray
    left_out: np.ndarray
    errors: np.ndarray
    centre: np.ndarray
    level: np.ndarray
    _centred: bool
    _share: np.ndarray
    _penalty: np.ndarray
    _u: np.ndarray
    _s: np.ndarray
    _vt: np.ndarray

    def of(self, rows: np.ndarray) -> np.ndarray:
        """What the regression says of rows (rows x targets)."""
        found: np.ndarray = self.level + (rows - self.centre) @ self.coefficients
        return found

    def jackknife(self, row: np.ndarray, targets: np.ndarray) -> np.ndarray:
        """What could be at a new row (float64, rows x targets), a value for each row left out.

        Parameters
        ----------
        row : float64 array, shape (features,)
        targets : float64 array, shape (rows, targets)
            Those of the fit.
        """
        z = self._vt @ (row - self.centre)
        gap = targets - self.left_out
        said = self.of(row[None])[0]
        found = np.empty_like(gap)
        for penalty in np.unique(self._penalty):
            these = self._penalty == penalty
            pull = self._u @ (self._s / (self._s**2 + penalty) * z)
            pull = pull * np.sqrt(self._share * len(gap)) + self._share * self._centred
            found[:, these] = said[these] + gap[:, these] * (1 - pull)[:, None]
        return found


def ridge(
    features: np.ndarray,
    targets: np.ndarray,
    weights: np.ndarray | None = None,
    *,
    centred: bool = True,
    penalties: np.ndarray = PENALTIES,
) -> Ridge:
    """Regress targets (rows x targets) on features (rows x features).

    Parameters
    ----------
    features, targets : float64 arrays
    weights : float64 array, shape (rows,), optional
        More than 0; default: all alike.
    centred : bool
        With an intercept; without, means are known to be 0.
    penalties : float64 array
        Those tried, for each target by itself.
    """
    rows = len(features)
    share = np.full(rows, 1 / rows) if weights is None else weights / weights.sum()
    root = np.sqrt(share * rows)[:, None]
    centre = share @ features if centred else np.zeros(features.shape[1])
    level = share @ targets if centred else np.zeros(targets.shape[1])
    about = targets - level
    u, s, vt = np.linalg.svd((features - centre) * root, full_matrices=False)
    turned = u.T @ (about * root)
    errors = np.full(targets.shape[1], np.inf)
    chosen, gaps = np.zeros(targets.shape[1]), np.zeros_like(about)
    for penalty in penalties:
        shrink = s**2 / (s**2 + penalty)
        leverage = (u**2 * shrink).sum(axis=1) + share * centred
        gap = about - (u @ (shrink[:, None] * turned)) / root
        gap /= np.maximum(1 - leverage, 1e-6)[:, None]
        error = share @ gap**2
        better = error < errors
        errors[better], chosen[better] = error[better], penalty
        gaps[:, better] = gap[:, better]
    coefficients = vt.T @ (s[:, None] / (s[:, None] ** 2 + chosen) * turned)
    return Ridge(
        coefficients, targets - gaps, errors, centre, level, centred, share, chosen, u, s, vt
    )  # fmt: skip
