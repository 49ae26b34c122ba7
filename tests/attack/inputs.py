"""What is attacked: sound inputs of every kind, and results folders made of them."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from colony_sim.experiment.worlds import SHIPPED, shipped_file

from . import arena

ROOT = Path(__file__).resolve().parents[2]
EXPERIMENT = """\
[experiment]
name = "rack"
question = "Which interval gives more?"
days = 400
quick_days = 300
replicates = 2
seed = 5
baseline = "short"

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = 60
larvae = 10

[biology]
egg.duration_days = 7.5

[handling]
rack.bins = 6

[sweep]
vary = ["harvest.fraction=0.4,0.6"]
replicates = 2

[[policy]]
name = "short"
rotation.interval_days = 14

[[policy]]
name = "long"
rotation.interval_days = 21
"""
PLAN = """\
[plan]
name = "flock"
start = 2030-03-01
years = 2
seed = 1

[want]
birds = 1
larvae_each = 10
probability = 0.8
after_days = 365

[have]
bins = 8
bin_area_dm2 = 12.0
minutes_per_week = 200
breeders = 60

[climate]
kind = "yearly_wave"
mean_c = 24.0
amplitude_k = 3.0
coldest_day = 20
"""
LOG = """\
date,bin,action,stage,count,grams,about,until,note
2031-03-01,A,beetles in,beetles,60,,,,
2031-03-11,A,beetles out,beetles,52,,,,
2031-03-11,B,beetles in,beetles,,,,,
2031-03-21,B,dead beetles,beetles,6,,,,
2031-03-21,B,beetles out,beetles,45,,,,
2031-03-21,C,beetles in,beetles,,,,,first
2031-03-28,A,count,larvae,400,,yes,,
"""
LOGGED = EXPERIMENT.replace(
    'kind = "constant"\ntemperature_c = 27.0',
    'kind = "logger"\ncsv = "logger.csv"\nfill = "interpolate"',
)
LOGGER = "time,temperature_c\n" + "".join(
    f"2030-{1 + day // 28:02d}-{1 + day % 28:02d} {hour:02d}:00,{20 + day % 5 + hour / 10:.1f}\n"
    for day in range(40)
    for hour in range(0, 24, 3)
)


@cache
def profile() -> str:
    """The first worlds of the package as a profile."""
    lines = shipped_file().read_text(encoding="utf-8").splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if not line.startswith("#"))
    text = "".join([line for line in lines[:start] if not line.startswith("## ")])
    text += "".join(lines[start : start + 9])
    return text.replace(f'"{SHIPPED}"', '"shed"')


FILES = {
    "rack.toml": EXPERIMENT,
    "flock.toml": PLAN,
    "shed.csv": LOG,
    "logged.toml": LOGGED,
    "logger.csv": LOGGER,
}
MADE: dict[str, Sequence[str]] = {
    "comparison": ("compare", "rack.toml", "--one-world", "--no-assumptions"),
    "worlds": ("compare", "rack.toml", "--worlds", "16"),
    "run": ("run", "rack.toml", "--days", "60"),
    "sweep": ("sweep", "rack.toml", "--one-world"),
    "breakeven": ("breakeven", "rack.toml", "--x", "harvest.fraction=0.4,0.6", "--y",
                  "larva.duration_days=90,100", "--one-world", "--replicates", "2"),
    "sensitivity": ("sensitivity", "rack.toml", "--method", "oneway", "--one-world", "--keys",
                    "larva.duration_days", "--replicates", "2"),
    "search": ("search", "rack.toml", "--keys", "harvest.fraction", "--candidates", "3",
               "--one-world", "--replicates", "2", "--fresh-seeds", "4"),
    "plan": ("plan", "flock.toml", "--quick", "--one-world"),
    "fit": ("fit", "shed.csv", "--experiment", "rack.toml", "--members", "100"),
    "today": ("today", "shed.csv", "--experiment", "rack.toml", "--members", "40", "--on",
              "2031-03-28"),
}  # fmt: skip
"""Results folders by the command that makes them."""


def lay_out(folder: Path) -> None:
    """Write all input files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "profile.csv").write_text(profile(), encoding="utf-8")


def make(place: Path, kinds: Sequence[str] = tuple(MADE)) -> dict[str, Path]:
    """Results folders by kind, made by the commands themselves."""
    made = {}
    for kind in kinds:
        home = place / f"making-{kind}"
        lay_out(home)
        end = arena.run((*MADE[kind], "--out", kind), home, work_s=600)
        if end.code:
            print(f"{kind}: {end.code} {end.err[-1500:]}")
            continue
        made[kind] = Path(shutil.move(home / kind, place / kind))
    return made
