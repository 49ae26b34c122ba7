"""Colonies of one framework in a process of its own, in whatever environment has the framework.

``python part.py MODULE`` takes a job a line (JSON) and answers each in a line. Imports nothing of
colony_sim, so that a peer can live in an environment without it. A module has ``build(state,
rules, seed, days)``, which gives an object with ``step()``, ``counts()`` (eggs, larvae, pupae,
adults), ``births`` and ``deaths``.
"""

from __future__ import annotations

import gc
import importlib
import json
import sys
import time
from pathlib import Path

import numpy as np


def speed(module, job: dict) -> dict:
    """Processor time of some days after some that warm up; memory before and at most."""
    state = dict(np.load(job["state"]))
    # Compiles, and loads what is loaded late, on a colony too small to need memory.
    small = {name: column[:100] for name, column in state.items()}
    module.build(small, job["rules"], 1, 2).step()
    gc.collect()
    Path("/proc/self/clear_refs").write_text("5")  # The most memory is counted anew.
    before = _memory("VmRSS")
    colony = module.build(state, job["rules"], job["seed"], job["warm"] + job["days"])
    for _ in range(job["warm"]):
        colony.step()
    days = []
    for _ in range(job["days"]):
        agents = sum(colony.counts())
        begin = time.process_time()
        colony.step()
        days.append((agents, time.process_time() - begin))
    return {"days": days, "before": before, "peak": _memory("VmHWM")}


def ends(module, job: dict) -> list:
    """Counts at the end, births and deaths, seed by seed."""
    state = dict(np.load(job["state"]))
    found = []
    for seed in job["seeds"]:
        colony = module.build(state, job["rules"], seed, job["days"])
        for _ in range(job["days"]):
            colony.step()
        found.append([*map(int, colony.counts()), int(colony.births), int(colony.deaths)])
    return found


def _memory(which: str) -> int:
    """Memory (bytes) of this process, as Linux counts it."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return 1024 * next(int(line.split()[1]) for line in lines if line.startswith(which))


if __name__ == "__main__":
    colonies = importlib.import_module(sys.argv[1])
    for line in sys.stdin:
        asked = json.loads(line)
        found = {"speed": speed, "ends": ends}[asked["what"]](colonies, asked)
        print(json.dumps(found), flush=True)
