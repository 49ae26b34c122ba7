"""The handling that a plan may choose: levels of a few keys, a design over them, neighbours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import scipy

from colony_sim.biology.parameters import Parameters, Value, catalogue
from colony_sim.planning.wants import Have

NEVER = 0
"""Level of the days between two inspections that stands for pupae left where they are."""

Levels = Mapping[str, tuple[Any, ...]]
Choice = tuple[int, ...]
"""Place of the level taken of each key."""

_INTERVALS = (7, 10, 14, 21, 28)
_FRACTIONS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
_DENSITIES = (8.0, 16.0, 25.0, 40.0)
"""Beetles per dm2 of a breeding bin, at most."""
_INSPECTIONS = (NEVER, 7, 4)
_WATER = (10.0, 25.0, 50.0)
"""Water a day (g) for a growing bin of 12 dm2."""
_CLEAR = (120, 160, 200, 240)
_SCALED = ("bran.start_g", "moisture.breeding_g_per_day")


def levels(have: Have, given: bool = False) -> Levels:
    """Levels of every key, each rising; beetles and bins as shares of what there is.

    Where the rack is `given` as it stands, all its bins are used and no beetle is brought.
    """
    if given:
        own = {key: of for key, of in levels(have).items() if key != "start.breeders"}
        return {**own, "rack.bins": (have.bins,)}
    starts = sorted({max(2, round(part * have.breeders)) for part in (0.25, 0.5, 1.0)})
    bins = sorted({max(3, round(part * have.bins)) for part in (0.5, 0.75)} | {have.bins})
    return {
        "rotation.interval_days": _INTERVALS,
        "harvest.fraction": _FRACTIONS,
        "density": _DENSITIES,
        "rotation.surplus": ("remove", "split"),
        "inspection": _INSPECTIONS,
        "water": _WATER,
        "rack.clear_after_days": _CLEAR,
        "start.breeders": tuple(min(n, have.breeders) for n in starts),
        "rack.bins": tuple(n for n in bins if n <= have.bins),
    }


def values(choice: Choice, of: Levels, have: Have) -> dict[str, Value]:
    """Keys of the model for a choice. Bran and moisture go with the area of a bin."""
    taken = {key: options[i] for (key, options), i in zip(of.items(), choice, strict=True)}
    area = have.bin_area_dm2
    entries = catalogue()
    share = area / float(entries["rack.bin_area_dm2"].value)
    inspection = taken.pop("inspection")
    found: dict[str, Value] = {
        **{key: value for key, value in taken.items() if "." in key},
        "rack.bin_area_dm2": area,
        "rotation.most_breeders_per_bin": max(2, round(taken["density"] * area)),
        "moisture.growing_g_per_day": round(taken["water"] * share, 1),
        "pupae.isolate": inspection != NEVER,
        **{key: round(float(entries[key].value) * share, 1) for key in _SCALED},
    }
    if found["rotation.surplus"] == "remove" and "start.breeders" in found:
        # More would only be taken out at the first move.
        most = int(found["rotation.most_breeders_per_bin"])
        found["start.breeders"] = min(int(found["start.breeders"]), most)
    if inspection != NEVER:
        found["pupae.inspection_days"] = inspection
    return found


def usual(of: Levels) -> Choice:
    """The choice nearest to the defaults of the model, with all bins and all beetles."""
    p = Parameters.default()
    want = {
        "rotation.interval_days": p["rotation.interval_days"],
        "harvest.fraction": p["harvest.fraction"],
        "density": p["rotation.most_breeders_per_bin"] / p["rack.bin_area_dm2"],
        "rotation.surplus": p["rotation.surplus"],
        "inspection": p["pupae.inspection_days"],
        "water": p["moisture.growing_g_per_day"],
        "rack.clear_after_days": p["rack.clear_after_days"],
    }
    choice = []
    for key, options in of.items():
        if key not in want:
            choice.append(len(options) - 1)
        elif isinstance(want[key], str):
            choice.append(options.index(want[key]))
        else:
            choice.append(int(np.argmin([abs(float(o) - float(want[key])) for o in options])))
    return tuple(choice)


def design(of: Levels, count: int, seed: int) -> list[Choice]:
    """The usual handling, then choices spread evenly over all levels (scrambled Sobol' points).

    Sobol' 1967; scrambled as in ``scipy.stats.qmc``. The same seed gives the same design.
    """
    sizes = np.array([len(options) for options in of.values()])
    power = max(1, int(np.ceil(np.log2(max(count, 2)))))
    points = scipy.stats.qmc.Sobol(len(sizes), scramble=True, seed=np.random.default_rng(seed))
    spread = np.floor(points.random_base2(power) * sizes).astype(int)
    found = [usual(of), *(tuple(int(i) for i in row) for row in spread)]
    return list(dict.fromkeys(found))[:count]


def neighbours(choice: Choice, of: Levels) -> list[Choice]:
    """Choices that differ by one level of one key."""
    found = []
    for place, options in enumerate(of.values()):
        for step in (-1, 1):
            level = choice[place] + step
            if 0 <= level < len(options):
                found.append((*choice[:place], level, *choice[place + 1 :]))
    return found


def kept(values_of: Sequence[Mapping[str, Value]]) -> list[str]:
    """Keys in which the candidates differ, in order."""
    keys = dict.fromkeys(key for values in values_of for key in values)
    return [key for key in keys if len({values.get(key) for values in values_of}) > 1]
