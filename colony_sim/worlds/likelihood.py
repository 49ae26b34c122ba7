"""How likely a literature is under worlds, by the emulators.

The numbers of a study are normal about the emulator's surface. Their covariance has three parts:
what the surface leaves unexplained, the error between studies, and the study's own strain, drawn
from the world's spread of strains and moving all its numbers along the slopes of the surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

from colony_sim.worlds import literature
from colony_sim.worlds.bank import Bank, studies
from colony_sim.worlds.emulator import Emulator, columns, surface
from colony_sim.worlds.literature import Literature
from colony_sim.worlds.prior import STRAIN, Scores

#: Share of a residual variance added to it, so that a covariance can be inverted.
_JITTER = 1e-3


@dataclass(frozen=True, eq=False)
class Likelihood:
    """Log likelihood of worlds.

    Attributes
    ----------
    emulator : Emulator
        Of used outputs, on their scales.
    unexplained : float64 array, shape (outputs, outputs)
        Covariance of its residuals; nought between studies.
    data : Literature
    """

    emulator: Emulator
    unexplained: np.ndarray
    data: Literature

    def __call__(self, scores: Scores) -> np.ndarray:
        """One number a world."""
        mean, slopes = self.emulator.with_slopes(scores)
        spread = scores.spread()
        strain, studies = spread[:, : len(STRAIN)], spread[:, len(STRAIN)]
        between = literature.covariance(self.emulator.names)
        total = np.zeros(len(scores))
        for part in self._parts():
            of = self.data.outputs[part]
            b = slopes[:, :, of] * strain[:, :, None]
            cov = (
                self.unexplained[np.ix_(of, of)] * (1.0 + _JITTER * np.eye(of.size))
                + studies[:, None, None] ** 2 * between[np.ix_(of, of)]
                + np.einsum("wsi,wsj->wij", b, b)
            )
            if self.data.points[part[0]]:
                total += _normal(self.data.low[part] - mean[:, of], cov)
            else:
                sd = np.sqrt(cov[:, 0, 0])
                total += _between(
                    (self.data.low[part[0]] - mean[:, of[0]]) / sd,
                    (self.data.high[part[0]] - mean[:, of[0]]) / sd,
                )
        return total

    def _parts(self) -> list[np.ndarray]:
        """Numbers that are judged together: the values of a study; each other one alone."""
        study = [name.partition(".")[0] for name in self.emulator.names]
        groups: dict[str, list[int]] = {}
        for k, output in enumerate(self.data.outputs):
            name = study[output] if self.data.points[k] else f"{k}"
            groups.setdefault(name, []).append(k)
        return [np.array(group) for group in groups.values()]


def residual_covariance(emulator: Emulator) -> np.ndarray:
    """Covariance of an emulator's residuals within each study (outputs x outputs).

    Over the rows that have both numbers.
    """
    left = np.column_stack([s.residuals for s in emulator.surfaces])
    here = np.isfinite(left)
    filled = np.where(here, left, 0.0)
    cov = filled.T @ filled / np.maximum(here.T.astype(float) @ here, 1.0)
    study = np.array([name.partition(".")[0] for name in emulator.names])
    cov = np.where(study[:, None] == study, cov, 0.0)
    # Rows that lack one number and not the other can make it indefinite.
    value, vector = np.linalg.eigh(cov)
    floor = 1e-8 * np.mean(np.diag(cov))
    cov = (vector * np.maximum(value, floor)) @ vector.T
    return cov + np.diag(np.full(len(cov), 1e-9))


def _normal(gap: np.ndarray, cov: np.ndarray) -> np.ndarray:
    """Log density of gaps (worlds x numbers) under covariances (worlds x numbers x numbers)."""
    root = np.linalg.cholesky(cov)
    z = np.linalg.solve(root, gap[:, :, None])[:, :, 0]
    diagonal = np.diagonal(root, axis1=1, axis2=2)
    size = gap.shape[1]
    return -0.5 * (z**2).sum(axis=1) - np.log(diagonal).sum(axis=1) - 0.919 * size


def _between(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Log of the standard normal probability between bounds, stable far out."""
    flip = low > 0.0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    inside = ndtr(b) - ndtr(a)
    far = log_ndtr(b) + np.log1p(-np.exp(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-12)))
    return np.where(inside > 1e-12, np.log(np.maximum(inside, 1e-300)), far)


def emulator_of(bank: Bank, rows: np.ndarray | slice = slice(None)) -> Emulator:
    """Surfaces of the outputs of a bank on their scales, from some of its rows.

    Numbers beyond Tukey's outer fences (1977: three quartile ranges beyond the quartiles) count as
    the fence: where larvae die out, growth has no bottom, and a polynomial would bend to it.
    """
    part = bank.take(rows)
    found = literature.on_scale(part.found, bank.outputs)
    low, high = fences(found)
    found = np.clip(found, low, high)
    at = {
        study: columns(part.scores, part.strains[:, k])
        for k, study in enumerate(studies(bank.outputs))
    }
    surfaces = (
        surface(at[name.partition(".")[0]], y)
        for name, y in zip(bank.outputs, found.T, strict=True)
    )
    return Emulator(bank.outputs, tuple(surfaces))


def fences(found: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Tukey's outer fences of numbers (rows x outputs); none where half of them are alike."""
    first, third = np.nanquantile(found, [0.25, 0.75], axis=0)
    wide = np.where(third > first, 3.0 * (third - first), np.inf)
    return first - wide, third + wide


def likelihood_of(
    bank: Bank, data: Literature, rows: np.ndarray | slice = slice(None)
) -> Likelihood:
    """Likelihood of a literature, by surfaces from some rows of a bank."""
    emulator = emulator_of(bank, rows)
    return Likelihood(emulator.without_residuals(), residual_covariance(emulator), data)
