"""What keepers see, lived by the colony with its default rules. Common practice, no source.

No value is ever fitted to it, and it does not count among the published numbers.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.bins import Phase
from colony_sim.colony.model import Colony
from colony_sim.evidence.numbers import allowances
from colony_sim.population.insects import Stage

#: Practice, in days since the beetles left a bin: near first harvest, skins on top.
PRACTICE = {"first harvest": (49.0, 56.0), "skins on top": (38.0, 46.0)}
#: Temperatures of a household and of a warm room (C).
ROOMS = (25.0, 27.0)
#: Grams of one bin that a keeper would call a harvest.
A_HARVEST_G = 10.0
_BREEDERS = 300
#: Beetles leave a bin after so long at the latest, and it is watched so long after that (d).
_LONGEST_BREEDING, _WATCHED = 100, 200
#: Strains and moisture that the sources leave open.
_RANGES = ("larva.duration_days", "growth.dry_share")
_SIZE = "harvest.smallest_mg"


def fact_id(what: str, room_c: float) -> str:
    """Id of a fact of practice in a room, such as "keepers.first_harvest_25"."""
    return f"keepers.{what.replace(' ', '_')}_{room_c:g}"


def fact_ids() -> list[str]:
    """Ids of all facts of practice."""
    return [fact_id(what, room_c) for what, room_c in product(PRACTICE, ROOMS)]


def grid(p: Parameters, seed: int = 1) -> pd.DataFrame:
    """First harvest and skins of the first bin, over strains, moisture effect and harvest size.

    Columns: room_c (C), larva_duration_days, growth_dry_share, harvest_smallest_mg,
    first_harvest_days, skins_days (since the beetles left, infinite for never), mass_56_mg (mean
    larva after 56 d) and closing_mg, the largest harvest size with a first harvest by 56 d (NaN
    if none).
    """
    rows = []
    for room_c, *values in product(ROOMS, *(_three(p, key) for key in _RANGES)):
        changed = dict(zip(_RANGES, values, strict=True))
        bin_life = _Watched(p.with_values(changed, "keepers"), room_c, seed)
        for size in _three(p, _SIZE):
            rows.append({
                "room_c": room_c,
                **{key.replace(".", "_"): value for key, value in changed.items()},
                "harvest_smallest_mg": size,
                "first_harvest_days": bin_life.first_harvest(size),
                "skins_days": bin_life.skins,
                "mass_56_mg": bin_life.mean_mass(PRACTICE["first harvest"][1]),
                "closing_mg": bin_life.closing_size(PRACTICE["first harvest"][1]),
            })  # fmt: skip
    return pd.DataFrame(rows)


def _three(p: Parameters, key: str) -> list[float]:
    """Low end, value in use and high end of a key, each once."""
    return sorted({float(value) for value in (*catalogue()[key].ends, p[key])})


class _Watched:
    """The first bin of a colony that harvests nothing, from the day its beetles left."""

    def __init__(self, p: Parameters, room_c: float, seed: int) -> None:
        self.fraction, self.interval = p["harvest.fraction"], p["harvest.interval_days"]
        # Nothing is taken, so that any harvest size can be asked for.
        p = p.with_values({_SIZE: 1000.0}, "keepers")
        colony = Colony(p, [room_c] * (_LONGEST_BREEDING + _WATCHED), seed, _BREEDERS)
        first = colony.bins[0]
        while first.phase is Phase.BREEDING and colony.day < _LONGEST_BREEDING:
            colony.step()
        enough = p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"]
        self.out, self.masses, self.skins = colony.day, {}, math.inf
        for _ in range(_WATCHED):
            colony.step()
            if math.isinf(self.skins) and first.visible_skins >= enough:
                self.skins = float(colony.day - self.out)
            rows = colony.insects.rows(Stage.LARVA, 0)
            self.masses[colony.day] = np.sort(colony.insects.mass[rows])[::-1] / NG_PER_G

    def first_harvest(self, size_mg: float) -> float:
        """Days since the beetles left at the first round that takes a harvest; else infinite."""
        for day, grams in self.masses.items():
            if day % self.interval == 0:
                taken = self.fraction * grams[grams >= size_mg / 1000.0].sum()
                if taken >= A_HARVEST_G:
                    return float(day - self.out)
        return math.inf

    def mean_mass(self, days: float) -> float:
        """Mean larva (mg) so many days after the beetles left; NaN if there is none."""
        grams = self.masses[self.out + round(days)]
        return float(1000.0 * grams.mean()) if grams.size else math.nan

    def closing_size(self, days: float) -> float:
        """Largest harvest size (mg) with a first harvest within some days; NaN if none does."""
        best = math.nan
        for day, grams in self.masses.items():
            if day - self.out <= days and day % self.interval == 0:
                enough = np.flatnonzero(self.fraction * np.cumsum(grams) >= A_HARVEST_G)
                if enough.size:
                    best = np.fmax(best, 1000.0 * float(grams[enough[0]]))
        return float(best)


def table(lived: pd.DataFrame, p: Parameters) -> pd.DataFrame:
    """Practice beside the model, one row a fact and room.

    Columns: id, what, room_c, practice_low, practice_high, model (values in use), model_low,
    model_high (over `grid`, d), gap_days (beyond practice, 0 within), mass_56_mg, closing_mg,
    in: whether the values in use come within practice widened by the allowance for durations,
    and reached: whether any strain, moisture effect and harvest size of the grid does.
    """
    here = (
        (lived["larva_duration_days"] == p["larva.duration_days"])
        & (lived["growth_dry_share"] == p["growth.dry_share"])
        & (lived["harvest_smallest_mg"] == p[_SIZE])
    )
    rows = []
    for (what, (low, high)), room_c in product(PRACTICE.items(), ROOMS):
        column = "skins_days" if what == "skins on top" else "first_harvest_days"
        of = lived["room_c"] == room_c
        now = lived[here & of].iloc[0]
        least, most = allowances()["duration"].widened(low, high)
        found = lived.loc[of, column]
        rows.append({
            "id": fact_id(what, room_c), "what": what, "room_c": room_c,
            "practice_low": low, "practice_high": high,
            "model": now[column], "model_low": found.min(), "model_high": found.max(),
            "gap_days": max(0.0, now[column] - high) - max(0.0, low - now[column]),
            "mass_56_mg": now["mass_56_mg"],
            "closing_mg": math.nan if column == "skins_days" else now["closing_mg"],
            "in": bool(least <= now[column] <= most),
            "reached": bool(found.between(least, most).any()),
        })  # fmt: skip
    return pd.DataFrame(rows)
