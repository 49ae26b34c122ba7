"""A plan as plain data: what goes into the manifest and the tables, and back from a folder."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.errors import InputError
from colony_sim.planning import room
from colony_sim.planning.candidates import kept
from colony_sim.planning.chance import Share
from colony_sim.planning.choose import QUICK, QUICK_FROM_LOG, QUICK_OVER_WORLDS, Effort
from colony_sim.planning.planner import YearPlan
from colony_sim.planning.remedies import fed
from colony_sim.planning.shortfall import reach
from colony_sim.planning.wants import STRETCH_DAYS, Want
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST

KIND = "plan"
TABLES = ("weeks", "purchases", "startup", "candidates", "shortfalls", "remedies", "plan_log")


@dataclass(frozen=True)
class StoredPlan:
    """A plan read back.

    Attributes
    ----------
    facts : dict
        The ``study`` of its manifest.
    tables : dict of str to DataFrame
        Those of `TABLES` that it has.
    """

    facts: Mapping[str, Any]
    tables: Mapping[str, pd.DataFrame]

    @property
    def met(self) -> Share:
        """Fresh runs that met the want within the minutes."""
        return Share(self.facts["met"]["met"], self.facts["met"]["runs"])

    @property
    def is_met(self) -> bool:
        """Whether at least the share of runs asked for met it."""
        return self.met.value >= self.facts["want"]["probability"]


def stored(found: YearPlan, effort: Effort) -> StoredPlan:
    """A finished plan as it is kept."""
    return StoredPlan(facts(found, effort), tables(found))


def facts(found: YearPlan, effort: Effort) -> dict[str, Any]:
    """Everything of a plan that is no table, as plain data without infinities."""
    request, forecast = found.request, found.chosen.forecast
    want = request.want
    handling = {
        key: value
        for key, value in found.plan.policies[0].parameters.as_dict().items()
        if catalogue()[key].group == "handling"
    }
    low, high = room.extremes(request.climate)
    last = Want(want.grams_per_day, want.probability, request.days - 364)
    mass = sum(o["weeks"]["harvest_g"][i] for o in forecast.outcomes
               for i in range(len(o["weeks"]["harvest_g"])))  # fmt: skip
    number = sum(sum(o["weeks"]["harvest_larvae"]) for o in forecast.outcomes)
    met = found.chosen.met
    return _finite({
        "start": request.start.isoformat(),
        "days": request.days,
        "years": request.years,
        "want": {**asdict(want), "in_words": want.in_words},
        "have": asdict(request.have),
        "room": {"in_words": room.in_words(request.climate), "coldest_c": low, "warmest_c": high,
                 "table": request.room_table, "notes": list(request.climate.notes)},
        "biology": request.biology,
        "policy": handling,
        "varied": kept([t.forecast.case.values for t in found.chosen.tried]),
        "breeders": found.plan.breeders,
        "profile": found.plan.profile.name if found.plan.profile else None,
        "stretch_days": STRETCH_DAYS,
        "met": {"met": met.met, "runs": met.runs, "share": met.value, "low": met.low,
                "high": met.high, "level": met.level, "says": met.against(want.probability)},
        "attempts": [
            {"met": a.met.met, "runs": a.met.runs, "counts": a is found.chosen.best}
            for a in found.chosen.attempts
        ],
        "luck": found.luck and asdict(found.luck),
        "promised": found.chosen.promised,
        "reach": asdict(found.reach),
        "reach_last_year": asdict(reach(forecast, last)),
        "fed_share": float(fed(forecast, want).mean()),
        "mean_g_per_day": float(forecast.mean_yield(want.after_days).mean()),
        "minutes_per_week": float(forecast.minutes(want.after_days).mean()),
        "larva_mg_harvested": 1000 * mass / number if number else None,
        "died_out": sum(o["died_out_day"] is not None for o in forecast.outcomes),
        "bins": asdict(found.bins),
        "warm_c": found.warm_c,
        "rack": request.rack and {
            "source": request.rack.source, "in_words": request.rack.in_words, "odd": found.odd,
            "digest": request.rack.digest, "bins": list(request.rack.schedule.bins),
        },
        "checked": found.checked and asdict(found.checked),
        "spells": [asdict(spell) for spell in found.spells],
        "log_seed": found.log_seed,
        "candidates": len(found.chosen.tried),
        "effort": asdict(effort),
        "quick": effort in (QUICK, QUICK_OVER_WORLDS, QUICK_FROM_LOG),
    })  # fmt: skip


def tables(found: YearPlan) -> dict[str, pd.DataFrame]:
    """The tables of a plan by name."""
    named = {
        "weeks": found.weeks,
        "purchases": found.months,
        "startup": found.startup,
        "candidates": found.candidates,
        "shortfalls": found.shortfalls,
        "remedies": found.remedies,
        "plan_log": found.log,
    }
    return {name: table for name, table in named.items() if table is not None}


def read_plan(folder: Path) -> StoredPlan:
    """The plan of a results folder.

    Raises
    ------
    InputError
        If the folder holds no plan, or a damaged one.
    """
    data = manifest.read(folder, (KIND,))
    found = {}
    for name in TABLES:
        path = folder / f"{name}.parquet"
        if path.name in data.get("files", ()):
            try:
                found[name] = pd.read_parquet(path)
            except (OSError, ValueError):
                raise InputError(str(path), "file", "cannot be read", "the plan's table") from None
    if not isinstance(data.get("study"), dict) or "weeks" not in found:
        raise InputError(str(folder / MANIFEST), "file", "damaged", "a plan as colony-sim wrote it")
    if "luck" not in data["study"] or "checked" not in data["study"]:
        allowed = "a plan of this version; run colony-sim plan again"
        raise InputError(str(folder / MANIFEST), "study", "of an older version", allowed)
    return StoredPlan(data["study"], found)


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
