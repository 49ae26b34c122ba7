"""The demo log: an invented keeper, an invented year.

``python -m colony_sim.logs.demo [FOLDER]`` writes ``demo_log.csv`` and ``demo_log.toml``. No
row is of a real colony: the insects are those of the model under the values of `TRUTH`, handled
on the days of `plan`, counted with the errors that the log's column `about` states.
"""

from __future__ import annotations

import csv
import datetime
import io
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.atomic import write_text
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.logs import observe
from colony_sim.logs.replay import replay
from colony_sim.logs.schedule import Observed, compile_schedule
from colony_sim.logs.words import COLUMNS, Entry, LogAction, in_order

#: Where the files are shipped, in a clone of the repository.
FOLDER = Path(__file__).parents[2] / "experiments"
SEED = 20310201
START, DAYS, BINS, TEMPERATURE_C = datetime.date(2031, 2, 1), 365, 9, 27.0
#: The keeper was away.
AWAY = (datetime.date(2031, 7, 12), datetime.date(2031, 7, 25))
#: What is behind the demo and differs from the defaults. That crowding goes by the floor and growth
#: by West, Brown and Enquist's law is a structure that hardly a possible colony has (of the 1,024
#: that are shipped one, and 21), so that what is read from the log is not what was put in.
TRUTH: dict[str, Any] = {
    "growth.law": "west_brown_enquist",
    "growth.crowding": "per_area",
    "growth.crowding_slope_area": 0.012,
    "fecundity.peak_eggs_per_day": 9.0,
    "predation.adult_egg": 0.0072,
    "larva.duration_days": 92.0,
    "larva.mature_mass_mg": 138.0,
    "adult.life_mean_days": 72.0,
}
HANDLING = {"rack.bin_area_dm2": 12.0, "harvest.fraction": 0.7}
_TOML = """\
# An invented scenario, not data of a real colony: the room and rack of the invented keeper whose
# log is demo_log.csv. Both are written by python -m colony_sim.logs.demo
# colony-sim fit experiments/demo_log.csv --experiment experiments/demo_log.toml

[experiment]
name = "demo-log"
question = "What has this keeper's log to say, and what would moving the beetles every 21 days do?"
invented = true
days = 1000
replicates = 20
seed = 1
baseline = "as logged"

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = 150

[handling]
rack.bin_area_dm2 = 12.0
rack.bins = 9
harvest.fraction = 0.7

[[policy]]
name = "as logged"
rotation.interval_days = 14

[[policy]]
name = "every 21 days"
rotation.interval_days = 21
"""
_HEAD = """\
# INVENTED: no real colony, no real keeper. Written by python -m colony_sim.logs.demo
# from the model under values that are in colony_sim/logs/demo.py.
# The columns are explained by: colony-sim fit --template
"""


class _Diary:
    """Collects the rows of the invented keeper, with 1 where a number will stand."""

    def __init__(self, chance: np.random.Generator) -> None:
        self.chance = chance
        self.rows: list[Entry] = []

    def add(self, day: float, name: int, action: LogAction, stage: str = "", **cells: Any) -> None:
        if not 0 <= day <= DAYS:
            return
        date = START + datetime.timedelta(days=int(day))
        self.rows.append(Entry(0, date, str(name), action, stage, **cells))

    def jitter(self, days: int) -> int:
        """Some days sooner or later, or none."""
        return int(self.chance.integers(-days, days + 1))

    def often(self, share: float) -> bool:
        return bool(self.chance.random() < share)


def plan() -> list[Entry]:
    """What the keeper did, and what was counted; numbers are still to come."""
    diary = _Diary(np.random.default_rng([SEED, 0]))
    number, day, name = 1.0, 0, 1
    diary.add(0, 1, LogAction.BEETLES_IN, "beetles", count=150.0)
    used = []
    while day + 14 < DAYS:
        out = day + 14 + diary.jitter(2)
        later = name % BINS + 1
        diary.add(out, name, LogAction.BEETLES_OUT, "beetles",
                  count=number if diary.often(0.8) else None)  # fmt: skip
        if diary.often(0.6):
            diary.add(out, name, LogAction.DEAD_BEETLES, "beetles", count=number)
        _one_bin(diary, out, name)
        used.append(name)
        diary.add(out, later, LogAction.BEETLES_IN, "beetles")
        day, name = out, later
    kept = [e for e in diary.rows if not AWAY[0] <= e.date <= AWAY[1]]
    kept.append(Entry(0, AWAY[0], "", LogAction.NOT_WRITTEN, until=AWAY[1], note="away"))
    return [replace(e, row=k) for k, e in enumerate(in_order(kept), start=6)]


def _one_bin(diary: _Diary, out: int, name: int) -> None:
    """The life of a bin after the beetles have left it."""
    cleared = out + 14 * (BINS - 2) + 4
    diary.add(out + 36 + diary.jitter(4), name, LogAction.MOISTURE_STARTED)
    if diary.often(0.7):
        day = out + 38 + diary.jitter(5)
        diary.add(
            day, name, LogAction.COUNT, "larvae", count=1.0, error=0.25, note="by the handful"
        )
    for age in (45, 70):
        if diary.often(0.6):
            day = out + age + diary.jitter(4)
            diary.add(day, name, LogAction.SAMPLE, "larvae", count=50.0, grams=1.0)
    if diary.often(0.6):
        diary.add(out + 66 + diary.jitter(5), name, LogAction.WEIGHT, "mixed", grams=1.0)
    for age in range(78, cleared - out, 10):
        diary.add(out + age + diary.jitter(2), name, LogAction.HARVEST, "large larvae",
                  grams=1.0 if diary.often(0.85) else None)  # fmt: skip
    for age in range(84, cleared - out, 6):
        diary.add(out + age, name, LogAction.PUPAE_PICKED, "pupae",
                  count=1.0 if diary.often(0.9) else None)  # fmt: skip
    if diary.often(0.5):
        diary.add(cleared - 2, name, LogAction.BEETLES_PICKED, "beetles", count=1.0)
    diary.add(cleared, name, LogAction.CLEARED)


def entries() -> list[Entry]:
    """The whole log with its numbers."""
    planned = plan()
    schedule = compile_schedule(planned)
    parameters = Parameters.default().with_values({**TRUTH, **HANDLING}, where="demo")
    seen = replay(schedule, parameters, constant(TEMPERATURE_C).daily(schedule.days), SEED)
    values = observe.written(schedule, seen, np.random.default_rng([SEED, 2]))
    found: dict[int, dict[str, Any]] = {}
    for one, value in zip(schedule.observed, values, strict=True):
        found.setdefault(one.entry.row, {}).update(_cell(one, value))
    return [replace(e, **found.get(e.row, {})) for e in planned]


def _cell(one: Observed, value: float) -> dict[str, float]:
    if one.unit == "count":
        return {"count": value}
    if one.unit == "mg each":
        return {"grams": round(max(value, 0.05) * one.entry.given("count") / 1000, 1)}
    return {"grams": float(round(value))}


def text() -> str:
    """The demo log as a CSV."""
    out = io.StringIO()
    out.write(_HEAD)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for e in entries():
        numbers = [_shown(e.count), _shown(e.grams)]
        about = "" if e.error is None else "yes"
        writer.writerow([e.date, e.bin, e.action, e.stage, *numbers, about, e.until or "", e.note])
    return out.getvalue()


def _shown(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def main(folder: str | Path = FOLDER) -> None:
    """Write both files."""
    write_text(Path(folder, "demo_log.csv"), text())
    write_text(Path(folder, "demo_log.toml"), _TOML)


if __name__ == "__main__":
    main(*sys.argv[1:2])
