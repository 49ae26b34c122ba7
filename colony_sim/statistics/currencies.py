"""Which of two policies is ahead over worlds, in several currencies side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from colony_sim.statistics.over_worlds import WorldsVerdict, verdict_over_worlds

_CLEAR = 2.0
"""Standard errors from one half at which a probability counts as on its side of it."""


@dataclass(frozen=True)
class Currencies:
    """Verdicts on one pair of policies in several currencies.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a currency, in the order given: currency, expected_gain, expected_gain_se (unit of
        the currency), probability_a, probability_a_se, probability_b, probability_b_se, low, high,
        regret_a, regret_a_se, regret_b, regret_b_se (as in `WorldsVerdict`), of_single_pairs, and
        ahead: "a" or "b" if the probability that the policy is ahead is above one half by more
        than two standard errors, "" if that of neither is.
    verdicts : dict
        The whole `WorldsVerdict` by currency.
    """

    table: pd.DataFrame
    verdicts: dict[str, WorldsVerdict]

    @property
    def disagree(self) -> bool:
        """Whether A is ahead in one currency and B in another."""
        return {"a", "b"} <= set(self.table["ahead"])


def in_currencies(
    a: Mapping[str, Sequence[ArrayLike]],
    b: Mapping[str, Sequence[ArrayLike]],
    currencies: Mapping[str, tuple[str, str | None]],
    zones: Mapping[str, float] | None = None,
) -> Currencies:
    """Verdicts on policies A and B in currencies, ratios of two measures of a run.

    The gain of a pair is the ratio of A's run less that of B's run, so the expected gain is one of
    expected ratios, not of ratios of expectations.

    Parameters
    ----------
    a, b : mapping of str to array (worlds, replicates) or sequence of 1-D array
        Values of the measures under each policy: one array a world, the same seeds in the same
        order under both.
    currencies : mapping of str to (measure, measure or None)
        What is divided by what, such as grams per hour = ("yield_g", "hours"); None divides by 1.
    zones : mapping of str to float, optional
        Half width of gains that count as none, by currency, in its unit. Default: 0.

    Raises
    ------
    ValueError
        No currency, a measure that a policy lacks, shapes that differ, a ratio that is not finite,
        a zone of an unknown currency, or as `verdict_over_worlds`; the message names the currency.
    """
    if not currencies:
        raise ValueError("no currency is given")
    unknown = sorted(set(zones or {}) - set(currencies))
    if unknown:
        raise ValueError(f"zones of unknown currencies {unknown}")
    verdicts, rows = {}, []
    for name, (above, below) in currencies.items():
        try:
            ratios = [
                _ratio(policy, values, above, below)
                for policy, values in zip("AB", (a, b), strict=True)
            ]
            shapes = [[world.shape for world in ratio] for ratio in ratios]
            if shapes[0] != shapes[1]:
                raise ValueError("A and B differ in worlds or replicates")
            gains = [first - second for first, second in zip(*ratios, strict=True)]
            found = verdict_over_worlds(gains, (zones or {}).get(name, 0.0))
        except ValueError as error:
            raise ValueError(f"currency {name!r}: {error}") from None
        verdicts[name] = found
        rows.append({
            "currency": name, "expected_gain": found.gain, "expected_gain_se": found.gain_se,
            "probability_a": found.probability_a, "probability_a_se": found.probability_a_se,
            "probability_b": found.probability_b, "probability_b_se": found.probability_b_se,
            "low": found.low, "high": found.high,
            "regret_a": found.regret_a, "regret_a_se": found.regret_a_se,
            "regret_b": found.regret_b, "regret_b_se": found.regret_b_se,
            "of_single_pairs": found.of_single_pairs, "ahead": _ahead(found),
        })  # fmt: skip
    return Currencies(pd.DataFrame(rows), verdicts)


def _ratio(
    policy: str, values: Mapping[str, Sequence[ArrayLike]], above: str, below: str | None
) -> list[np.ndarray]:
    """Ratio of two measures, an array a world."""
    missing = [name for name in (above, below) if name is not None and name not in values]
    if missing:
        raise ValueError(f"policy {policy} lacks the measures {missing}")
    top = [np.asarray(world, dtype=float) for world in values[above]]
    if below is None:
        ratio = top
    else:
        bottom = [np.asarray(world, dtype=float) for world in values[below]]
        if [world.shape for world in top] != [world.shape for world in bottom]:
            raise ValueError(f"{above} and {below} of policy {policy} differ in shape")
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = [one / other for one, other in zip(top, bottom, strict=True)]
    for number, world in enumerate(ratio, 1):
        if not np.isfinite(world).all():
            raise ValueError(f"a value of policy {policy} in world {number} is not finite")
    return ratio


def _ahead(found: WorldsVerdict) -> str:
    if found.probability_a - 0.5 > _CLEAR * found.probability_a_se:
        return "a"
    if found.probability_b - 0.5 > _CLEAR * found.probability_b_se:
        return "b"
    return ""
