"""Heat and cold; background death rates live in `parameters.toml` as they stand."""

from __future__ import annotations

from collections.abc import Mapping


def thermal_hazard(p: Mapping[str, float], stage: str, temperature_c: float) -> float:
    """Death rate (1/d) of "egg", "larva", "pupa" or "adult" from heat or cold.

    Zero between the stage's lethal limits; beyond them survival.lethal_hazard per degree.
    """
    over = temperature_c - p[f"{stage}.lethal_high_c"]
    under = p[f"{stage}.lethal_low_c"] - temperature_c
    return p["survival.lethal_hazard"] * max(0.0, over, under)
