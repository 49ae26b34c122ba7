"""Which policy is ahead over worlds at every point of a design.

The same worlds are lived in at every point, so that probabilities at two points differ by what the
points do and not by the worlds that were drawn. See `over_worlds` for what is estimated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from colony_sim.statistics.over_worlds import verdict_over_worlds

KNOWN = 0.7
"""Probability from which on a policy counts as ahead; below it, nobody knows which one is."""
NOBODY = "nobody knows"


def gains_in_worlds(
    runs: pd.DataFrame, policies: Sequence[str], baseline: str, measure: str, more: bool = True
) -> pd.DataFrame:
    """Gain of every other policy over the baseline in each pair of runs.

    Parameters
    ----------
    runs : DataFrame
        One row a run: point, policy, seed, world and the measure.
    policies : sequence of str
    baseline : str
    measure : str
    more : bool
        Whether more of it is better; if not, a gain is baseline less policy.

    Returns
    -------
    DataFrame
        One row per point, policy and pair: point, policy, baseline, world, seed, gain (unit of the
        measure, NaN where a run has no value).
    """
    keys = ["point", "world", "seed"]
    wide = runs.pivot(index=keys, columns="policy", values=measure)
    sign = 1.0 if more else -1.0
    parts = [
        (sign * (wide[name] - wide[baseline]))
        .rename("gain")
        .reset_index()
        .assign(policy=name, baseline=baseline)
        for name in policies
        if name != baseline
    ]
    columns = ["point", "policy", "baseline", "world", "seed", "gain"]
    if not parts:
        return pd.DataFrame(columns=columns)
    return pd.concat(parts).sort_values("point", kind="stable", ignore_index=True)[columns]


def verdicts_at_points(gains: pd.DataFrame) -> pd.DataFrame:
    """Who is ahead at every point, from `gains_in_worlds`.

    Returns
    -------
    DataFrame
        One row per point and policy: point, policy, baseline, worlds, pairs, n_dropped (pairs
        without a value), of_single_pairs (one pair in every world, so that probabilities hold
        chance), probability and behind (share of worlds in which the policy is ahead and behind,
        each with its standard error in `*_se`), lead (probability and half the worlds without a
        difference), gain, gain_se, gain_low, gain_high (central 90 % over worlds), regret (of
        choosing the policy), regret_baseline, known (name of the policy that is ahead with a
        probability of `KNOWN` or more, or `NOBODY`). NaN where fewer than two worlds have a gain.
    """
    rows = []
    for (point, policy, baseline), here in gains.groupby(
        ["point", "policy", "baseline"], sort=False
    ):
        found = here.dropna(subset="gain")
        row = {
            "point": point, "policy": policy, "baseline": baseline,
            "worlds": found["world"].nunique(), "pairs": len(found),
            "n_dropped": len(here) - len(found),
        }  # fmt: skip
        rows.append(row | _verdict(found, str(policy), str(baseline)))
    return pd.DataFrame(rows)


def _verdict(gains: pd.DataFrame, policy: str, baseline: str) -> dict[str, object]:
    numbers = ("probability", "probability_se", "behind", "behind_se", "lead", "gain", "gain_se",
               "gain_low", "gain_high", "regret", "regret_baseline")  # fmt: skip
    worlds = [part.to_numpy(dtype=float) for _, part in gains.groupby("world")["gain"]]
    if len(worlds) < 2:
        return {"of_single_pairs": True, **dict.fromkeys(numbers, math.nan), "known": NOBODY}
    v = verdict_over_worlds(worlds)
    known = NOBODY
    if max(v.probability_a, v.probability_b) >= KNOWN:
        known = policy if v.probability_a >= KNOWN else baseline
    values = (v.probability_a, v.probability_a_se, v.probability_b, v.probability_b_se,
              v.probability_a + v.probability_zone / 2, v.gain, v.gain_se, v.low, v.high,
              v.regret_a, v.regret_b)  # fmt: skip
    return {"of_single_pairs": v.of_single_pairs, **dict(zip(numbers, values, strict=True)),
            "known": known}  # fmt: skip
