"""A scientific claim about the model, and the numeric checks that decide it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from scipy import stats

#: False-alarm rate of one statistical check unless it says otherwise.
ALPHA = 1e-4
#: What a check counts as. "check": evidence. "calibration": the paper set the parameter, so
#: agreement is no evidence. "shown": printed beside the model, not judged.
KINDS = ("check", "calibration", "shown")


@dataclass(frozen=True)
class Check:
    """One number against its expectation.

    Attributes
    ----------
    name : str
    value, expected, tolerance : float
        Passed when |value - expected| <= tolerance; a value that is not finite fails.
    why : str
        Why this tolerance.
    alpha : float
        Probability that a right model fails this check by chance; 0 when nothing is random.
    kind : str
        One of `KINDS`.
    """

    name: str
    value: float
    expected: float
    tolerance: float
    why: str
    alpha: float = 0.0
    kind: str = "check"

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r} is not one of {KINDS}")

    @property
    def passed(self) -> bool:
        """Whether the value lies within the tolerance (a shown number always passes)."""
        if self.kind == "shown":
            return True
        gap = abs(self.value - self.expected)
        return bool(math.isfinite(gap) and gap <= self.tolerance)


class Claim:
    """Base of all claims: state what is claimed, test it, draw it.

    Class attributes
    ----------------
    name : str
        Word by which the command line knows it.
    statement, source : str
        What is claimed, and on whose authority.
    kind : str
        "check" or "calibration"; calibration is never counted as evidence.

    Parameters
    ----------
    seed : int
        Seed of all that is random in the claim.
    options : dict, optional
        What the command line passes on, by claim name.
    """

    name: ClassVar[str] = ""
    statement: ClassVar[str] = ""
    source: ClassVar[str] = ""
    kind: ClassVar[str] = "check"

    def __init__(self, seed: int = 1, options: dict[str, Any] | None = None) -> None:
        self.seed = seed
        self.options = options or {}

    def run(self, fast: bool) -> list[Check]:
        """Test the claim; `fast` asks for the smaller version of it."""
        raise NotImplementedError

    def figure(self, ax) -> None:
        """Draw what `run` found on Matplotlib axes."""
        raise NotImplementedError


def exact(name: str, value: float, expected: float, why: str = "must be equal") -> Check:
    """Equality of two whole numbers or of numbers made by the same arithmetic."""
    return Check(name, float(value), float(expected), 0.0, why)


def close(
    name: str, value: float, expected: float, tolerance: float, why: str, kind: str = "check"
) -> Check:
    """A number that may differ by a stated allowance; nothing about it is random."""
    return Check(name, float(value), float(expected), float(tolerance), why, 0.0, kind)


def z_check(
    name: str,
    value: float,
    expected: float,
    standard_error: float,
    alpha: float = ALPHA,
    allowance: float = 0.0,
    why: str = "",
    kind: str = "check",
) -> Check:
    """A mean or count against its expectation, normal theory, two-sided at `alpha`.

    `allowance` widens the tolerance by a systematic difference that `why` accounts for.
    """
    z = float(stats.norm.isf(alpha / 2))
    reason = f"{z:.2f} standard errors of {standard_error:.3g}" + (f"; {why}" if why else "")
    return Check(
        name, float(value), float(expected), z * standard_error + allowance, reason, alpha, kind
    )


def chi2_check(name: str, observed, expected, constraints: int = 1, alpha: float = ALPHA) -> Check:
    """Counts against expected counts: Pearson's chi-square, classes below 5 merged.

    The value shown is the statistic; the tolerance reaches up to its upper `alpha` point.
    """
    seen, hoped = _merged(np.asarray(observed, float), np.asarray(expected, float))
    freedom = max(1, seen.size - constraints)
    statistic = float(((seen - hoped) ** 2 / hoped).sum())
    limit = float(stats.chi2.isf(alpha, freedom))
    why = f"upper {alpha:g} point of chi-square with {freedom} degrees of freedom"
    return Check(name, statistic, 0.0, limit, why, alpha)


def _merged(observed: np.ndarray, expected: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Neighbouring classes joined until each expects at least five."""
    seen, hoped = [], []
    o = e = 0.0
    for a, b in zip(observed, expected, strict=True):
        o, e = o + a, e + b
        if e >= 5.0:
            seen.append(o)
            hoped.append(e)
            o = e = 0.0
    if hoped:
        seen[-1] += o
        hoped[-1] += e
    else:
        seen, hoped = [o], [max(e, 1e-12)]
    return np.array(seen), np.array(hoped)


def t_check(
    name: str, first, second, alpha: float = ALPHA, allowance: float = 0.0, why: str = ""
) -> Check:
    """Means of two independent samples, Welch's t; value and expectation are the two means."""
    a, b = np.asarray(first, float), np.asarray(second, float)
    va, vb = a.var(ddof=1) / a.size, b.var(ddof=1) / b.size
    if va + vb == 0.0:
        return Check(name, a.mean(), b.mean(), allowance, why or "no spread in either sample")
    freedom = (va + vb) ** 2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
    t = float(stats.t.isf(alpha / 2, freedom))
    se = math.sqrt(va + vb)
    reason = f"Welch's t: {t:.2f} standard errors of {se:.3g}" + (f"; {why}" if why else "")
    return Check(name, float(a.mean()), float(b.mean()), t * se + allowance, reason, alpha)


def mean_check(
    name: str, sample, expected: float, alpha: float = ALPHA, allowance: float = 0.0, why: str = ""
) -> Check:
    """Mean of a few independent replicates against a known value, Student's t."""
    x = np.asarray(sample, float)
    se = x.std(ddof=1) / math.sqrt(x.size)
    t = float(stats.t.isf(alpha / 2, x.size - 1))
    reason = f"Student's t: {t:.2f} standard errors of {se:.3g}" + (f"; {why}" if why else "")
    return Check(name, float(x.mean()), float(expected), t * se + allowance, reason, alpha)
