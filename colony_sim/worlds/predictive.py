"""Where the published numbers fall among those that the worlds predict for a new study.

Every published experiment, used or judged, is lived under kept worlds, with a strain of a new
study, circumstances drawn from what its paper leaves open, and the error between studies added. A
number lies inside when the range of it reaches the central 90 % of what is predicted.
"""

from __future__ import annotations

import math
import tomllib
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd

from colony_sim.evidence.misses import misses
from colony_sim.evidence.numbers import Number, numbers
from colony_sim.worlds import literature
from colony_sim.worlds.bank import Bank
from colony_sim.worlds.prior import STRAIN

#: Central intervals (%).
LEVELS = (90.0, 50.0)
#: Columns of the quantiles.
ENDS = ("low", "lower", "middle", "upper", "high")


def predictive(bank: Bank, rng: np.random.Generator) -> pd.DataFrame:
    """One row a number that was lived.

    Parameters
    ----------
    bank : Bank
        Kept worlds under which everything was lived.
    rng : Generator
        Of the error between studies.

    Returns
    -------
    DataFrame
        id, theme, quantity, unit, standing, kind, published_low, published_high, low, lower,
        middle, upper, high (5, 25, 50, 75 and 95 % of the predictions, in the unit), place (share
        of the predictions below the published), inside (of the 90 %), inside_half (of the 50 %)
        and why (of one that is not inside).
    """
    factor = bank.scores.spread()[:, len(STRAIN)]
    rows = []
    for number in numbers():
        drawn = {
            name: _told(bank.found[:, k], number, factor, rng)
            for k, name in enumerate(bank.outputs)
            if name.partition("/")[0] == number.id
        }
        if drawn:
            rows.append(_row(number, drawn))
    return pd.DataFrame(rows)


def _told(
    found: np.ndarray, number: Number, factor: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Numbers as a new study would tell them, on their scale; without those that are NaN."""
    of = literature.scale(number)
    told = of(found) + factor * of.error * rng.standard_normal(found.size)
    return told[~np.isnan(told)]


def _row(number: Number, drawn: dict[str, np.ndarray]) -> dict[str, object]:
    of = literature.scale(number)
    low, high = literature.bounds(number)
    told = np.concatenate(list(drawn.values()))
    ends, place = np.full(5, math.nan), math.nan
    if told.size:
        ends = np.percentile(told, [5.0, 25.0, 50.0, 75.0, 95.0], method="nearest")
        place = float(np.mean(told < low) + np.mean((told >= low) & (told <= high)) / 2.0)
    inside, inside_half = (
        all(_reaches(name, values, low, high, level) for name, values in drawn.items())
        for level in LEVELS
    )
    lived = dict(zip(ENDS, map(of.back, ends), strict=True))
    return {
        "id": number.id, "theme": number.theme, "quantity": number.quantity, "unit": number.unit,
        "standing": str(number.standing), "kind": number.kind,
        "published_low": number.low, "published_high": number.high, **lived,
        "place": place, "inside": inside, "inside_half": inside_half,
        "why": "" if inside else _why(number, place),
    }  # fmt: skip


def _reaches(name: str, values: np.ndarray, low: float, high: float, level: float) -> bool:
    """Whether the central share of the predictions reaches a published range.

    Of a range of individuals each end has to lie within the published range.
    """
    if not values.size:
        return False
    tails = [50.0 - level / 2.0, 50.0 + level / 2.0]
    # Nearest, since between two infinite numbers nothing lies.
    first, last = np.percentile(values, tails, method="nearest")
    if name.endswith("/low"):
        return bool(last >= low)
    return bool(first <= high) and (name.endswith("/high") or bool(last >= low))


@cache
def outside() -> dict[str, str]:
    """Reasons of ``outside.toml`` by id."""
    text = files("colony_sim.worlds").joinpath("outside.toml").read_text("utf-8")
    return {
        f"{replication}.{name}": reason
        for replication, items in tomllib.loads(text).items()
        for name, reason in items.items()
    }


def _why(number: Number, place: float) -> str:
    """What is known of the reason; else on which side the published number lies."""
    if reason := misses().get(number.id) or outside().get(number.id):
        return reason
    if math.isnan(place):
        return "no world gives a number"
    side = "above" if place > 0.5 else "below"
    return f"published {side} what the worlds predict; no reason is known"
