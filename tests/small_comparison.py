"""Small real comparisons, made once for all tests of a process that draw from them."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path

from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.measuring.series import pack
from colony_sim.running.store import open_store
from colony_sim.studies.comparison.run import compare_plan
from colony_sim.studies.comparison.stored import planned

HEAD = """\
[experiment]
name = "small"
question = "Which interval gives more?"
invented = true
days = {days}
replicates = {replicates}
seed = {seed}
baseline = "{baseline}"

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = {breeders}
larvae = {larvae}
"""
POLICY = """
[[policy]]
name = "{name}"
rotation.interval_days = {interval}
rack.bins = 14
rack.bin_area_dm2 = 2.4
rotation.most_breeders_per_bin = {most}
moisture.growing_g_per_day = 5.0
pupae.isolate = false
harvest.fraction = {fraction}
{more}
"""
LONG = "moved by hand every other Friday, sieved on the Monday"
KINDS = {
    # Chosen by trial for what slides need: a clear difference.
    "two": {"days": 700, "replicates": 3, "seed": 20, "breeders": 30, "larvae": 2600, "policies": [
        ("every 21 days", 21, 0.6, ""), ("every 14 days", 14, 0.9, "")]},
    "one": {"days": 270, "replicates": 2, "breeders": 40, "larvae": 1700, "policies": [
        (LONG, 14, 0.8, "")]},
    "dying": {"days": 560, "replicates": 2, "seed": 30, "breeders": 40, "larvae": 1700,
              "policies": [
        (LONG, 14, 0.8, ""), (f"all, {LONG}", 14, 1.0, "rotation.killed_share = 0.9"),
        (f"no, {LONG}", 30, 0.8, "")]},
}  # fmt: skip


def make(folder: Path, kind: str) -> Path:
    """Run a comparison of `KINDS` into a folder, in this process."""
    spec = {"seed": 11, **KINDS[kind]}
    policies = spec.pop("policies")
    text = HEAD.format(**spec, baseline=policies[0][0])
    for name, interval, fraction, more in policies:
        text += POLICY.format(name=name, interval=interval, fraction=fraction, more=more,
                              most=spec["breeders"])  # fmt: skip
    folder.mkdir(parents=True, exist_ok=True)
    file = folder.parent / f"{folder.name}.toml"
    file.write_text(text, encoding="utf-8")
    plan = expand(load(file))
    with open_store(folder) as store:
        for run in planned(plan):
            record = SteadyMeasuring().live(run.scenario)
            store.save(run.key, pack(record.daily, record.died_out_day))
    compare_plan(plan, folder, workers=1, command="colony-sim compare small.toml")
    return folder


@cache
def made(kind: str) -> Path:
    """A comparison of `KINDS`, made once; not to be written to."""
    folder = Path(tempfile.mkdtemp(prefix=f"colony-sim-{kind}-"))
    return make(folder / "results" / "small", kind)


def small(kind: str, parent: Path) -> Path:
    """A copy of a comparison of `KINDS`, in a parent folder of its own."""
    return Path(shutil.copytree(made(kind), parent / "small"))
