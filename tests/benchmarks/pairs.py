"""How alike paired runs come out, here and at another commit: ``... benchmarks pairs COMMIT``.

Every seed is lived under both policies of experiments/rotation.toml. The higher the correlation r
of their steady yields, the fewer pairs tell a difference: n pairs are worth n / (1 - r) of runs
that share nothing. Once with chance alone between seeds, once with a joint draw of every
uncertain value of the biology from its range for each. Both live the same seeds, each with its
own values of the scenario.
"""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np

from .against import ROOT, checked_out, environment

_PART = """
import json, sys
from dataclasses import replace
from pathlib import Path
import numpy as np
from colony_sim.biology.parameters import catalogue
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.colony.simulate import simulate
seeds, days, drawn = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "draws"
plan = expand(load(Path("experiments/rotation.toml")), replicates=seeds)
ranges = {k: e for k, e in catalogue().items()
          if e.group == "biology" and e.kind == "number" and e.low is not None}
draws, rng = {}, np.random.default_rng(1)
for seed in plan.seeds:
    while seed not in draws:
        values = {k: float(rng.uniform(e.low, e.high)) for k, e in ranges.items()} if drawn else {}
        try:
            plan.policies[0].parameters.with_values(values, "draw")
        except InputError:
            continue
        draws[seed] = values
found = {}
for run in plan.runs():
    scenario = run.scenario
    parameters = scenario.parameters.with_values(draws[scenario.seed], "draw")
    daily = simulate(replace(scenario, days=days, parameters=parameters)).daily
    half = daily[daily["day"] > days // 2]["harvest_g"].sum() / (days - days // 2)
    found.setdefault(run.policy, []).append(float(half))
print(json.dumps(found))
"""


def main(commit: str, seeds: int = 60, days: int = 1000) -> None:
    """Measure and print."""
    with checked_out(commit) as tree:
        for way, label in (("chance", "chance alone"), ("draws", "joint draws of the biology")):
            started = [
                subprocess.Popen(
                    [sys.executable, "-P", "-c", _PART, str(seeds), str(days), way],
                    cwd=place, env=environment(place), text=True, stdout=subprocess.PIPE,
                )
                for place in (ROOT, tree)
            ]  # fmt: skip
            found = [json.loads(process.communicate()[0]) for process in started]
            for name, yields in zip(("here", f"at {commit}"), found, strict=True):
                (_, one), (_, other) = yields.items()
                r, low, high = correlation(np.array(one), np.array(other))
                gain = np.subtract(other, one)
                sd = float(np.std(gain, ddof=1))
                print(
                    f"{label}, {name}: correlation of {seeds} pairs {r:.2f} (95 % {low:.2f} to"
                    f" {high:.2f}); one pair is worth {1 / (1 - r):.2f} of unpaired runs; mean"
                    f" difference {gain.mean():.2f} g/day (SD {sd:.2f}, SE {sd / seeds**0.5:.2f})",
                    flush=True,
                )


def correlation(one: np.ndarray, other: np.ndarray) -> tuple[float, float, float]:
    """Correlation and its 95 % interval (Fisher's transformation)."""
    r = float(np.corrcoef(one, other)[0, 1])
    half = 1.959964 / np.sqrt(one.size - 3)
    return r, float(np.tanh(np.arctanh(r) - half)), float(np.tanh(np.arctanh(r) + half))
