"""What a keeper would see under a world: a first harvest, a bin's yield, what a move is worth.

The rack is that of the shipped comparison of rotations, at 25 C. These are no published numbers;
they show what the worlds mean in bins, and that worlds fitted to a made-up literature hold them as
often as they say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters, Value
from colony_sim.colony.binlog import Action
from colony_sim.colony.simulate import RunRecord, Scenario, simulate

ROOM_C = 25.0
BREEDERS = 100
#: Days of a bin from its filling on; one whose larvae are not ready by then counts as this late.
BIN_DAYS = 300
#: Grams that a keeper would call a first harvest, as in the facts of practice.
A_HARVEST_G = 10.0
#: Days of the comparison of rotations, and those left out at its start.
DAYS, WARM_UP = 600, 200
#: Days between moves that are compared; the first is that of the bin that is watched.
INTERVALS = (14, 21)
#: Founder larvae of the comparison.
LARVAE = 25_000


def rack(
    p: Parameters, seed: int, days: int, larvae: int, handling: Mapping[str, Value]
) -> RunRecord:
    """A run of the shipped rack."""
    given = {"rotation.most_breeders_per_bin": BREEDERS, **handling}
    climate = Climate("constant", (ROOM_C,))
    scenario = Scenario(p.with_values(given, "prediction"), climate, days, seed, BREEDERS, larvae)
    return simulate(scenario)


def first_bin(p: Parameters, seed: int) -> tuple[float, float]:
    """First harvest (d since the beetles left) and harvest (g) of the first bin of a new colony."""
    log = rack(p, seed, BIN_DAYS, 0, {"rotation.interval_days": INTERVALS[0]}).bin_log
    stay = log[(log["bin"] == log["bin"].iloc[0]) & (log["date_in"] == log["date_in"].iloc[0])]
    taken = stay[(stay["action"] == Action.HARVEST) & stay["date_out"].notna()]
    enough = taken[taken["grams"] >= A_HARVEST_G]
    left = stay["date_out"].dropna()
    first = float(enough["day"].iloc[0] - left.iloc[0]) if len(enough) else float(BIN_DAYS)
    return first, float(taken["grams"].sum())


def gain(p: Parameters, seed: int) -> float:
    """Harvest (g/day) of beetles moved every 14 days over that of 21 days, same seed."""
    daily = []
    for interval in INTERVALS:
        handling = {"rotation.interval_days": interval}
        series = rack(p, seed, DAYS, LARVAE, handling).daily
        daily.append(series.loc[series["day"] > WARM_UP, "harvest_g"].sum() / (DAYS - WARM_UP))
    return float(daily[0] - daily[1])


#: What is seen, with unit.
SEEN = {
    "first_harvest": ("days from the beetles' leaving to a harvest of 10 g", "d"),
    "bin_yield": ("harvest of a bin in all", "g"),
    "gain": ("harvest of a 14-day over a 21-day move", "g/day"),
}


def lived(p: Parameters, seed: int, with_bin: bool, with_gain: bool) -> tuple[float, ...]:
    """All of `SEEN`; NaN what is not asked for."""
    bins = first_bin(p, seed) if with_bin else (math.nan, math.nan)
    return *bins, gain(p, seed) if with_gain else math.nan
