"""What abstracts leave open, drawn from stated ranges and never chosen to fit."""

from __future__ import annotations

import tomllib
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

#: Draws under which each replication is lived, and one of which nothing is left open.
DRAWS, DRAWS_WITHOUT = 6, 2


@dataclass(frozen=True)
class Condition:
    """A circumstance that is not told: its range, unit and why that range."""

    low: float
    high: float
    unit: str
    reason: str


@cache
def conditions() -> dict[str, Condition]:
    """All open circumstances by name, from ``conditions.toml``."""
    text = files("colony_sim.evidence").joinpath("conditions.toml").read_text("utf-8")
    return {
        name: Condition(float(low), float(high), item["unit"], item["reason"])
        for name, item in tomllib.loads(text).items()
        for low, high in (item["range"],)
    }


def key(*parts: int | str) -> list[int]:
    """Entropy for a generator from numbers and words."""
    return [zlib.crc32(p.encode()) if isinstance(p, str) else p for p in parts]


def seed_of(*parts: int | str) -> int:
    """A seed of the engine (32 bits) from numbers and words."""
    return int(np.random.SeedSequence(key(*parts)).generate_state(1)[0])


def draw(
    names: Sequence[str], replication: str, seed: int, most: int = DRAWS
) -> list[dict[str, float]]:
    """Values of the named conditions for each draw, a Latin hypercube over their ranges.

    At most `most` draws.

    Keyed by seed, replication and name, so that no draw depends on another.
    """
    draws = min(most, DRAWS if names else DRAWS_WITHOUT)
    found: list[dict[str, float]] = [{} for _ in range(draws)]
    for name in names:
        of = conditions()[name]
        rng = np.random.default_rng(key(seed, replication, name))
        share = (rng.permutation(draws) + 0.5) / draws
        for k in range(draws):
            found[k][name] = of.low + (of.high - of.low) * float(share[k])
    return found
