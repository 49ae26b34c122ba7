"""Made-up gains over worlds, as a comparison keeps them, with the verdicts on them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from colony_sim.statistics.over_worlds import verdict_over_worlds

CURRENCY = "g/day"


def tables(
    pairs: Mapping[tuple[str, str], np.ndarray],
    *,
    chance: float = 0.4,
    replicates: int = 2,
    zone: float = 0.0,
    currency: str = CURRENCY,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tables `gains` and `over_worlds` of expected gains by world, with chance added."""
    rng = np.random.default_rng(8)
    gains, verdicts = [], []
    for (policy, baseline), expected in pairs.items():
        lived = expected[:, None] + chance * rng.standard_normal((len(expected), replicates))
        pair = {"policy": policy, "baseline": baseline, "currency": currency}
        found = verdict_over_worlds(list(lived), zone)
        for world, gain in enumerate(lived.mean(axis=1), 1):
            gains.append({**pair, "world": world, "replicates": replicates, "gain": gain})
        verdicts.append({
            **pair, "expected_gain": found.gain, "expected_gain_se": found.gain_se,
            **{f"probability_{side}{end}": getattr(found, f"probability_{side}{end}")
               for side in ("a", "b", "zone") for end in ("", "_se")},
            "low": found.low, "high": found.high, "regret_a": found.regret_a,
            "regret_b": found.regret_b, "of_single_pairs": found.of_single_pairs,
            "sd_worlds": found.sd_worlds, "sd_chance": found.sd_chance, "zone": zone,
        })  # fmt: skip
    return pd.DataFrame(gains), pd.DataFrame(verdicts)


def skewed(worlds: int, middle: float, wide: float = 2.0, seed: int = 3) -> np.ndarray:
    """Expected gains with a longer tail below, as those of the model have."""
    rng = np.random.default_rng(seed)
    return middle + wide * (0.8 - rng.gamma(2.0, 0.5, worlds)) + 0.3 * rng.standard_normal(worlds)
