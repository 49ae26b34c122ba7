"""Sweeps whose outcomes are made up by a rule, so that what their slides say is known."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from commandline import EXPERIMENT
from inline import Inline

from colony_sim.experiment.files import load
from colony_sim.measuring.catalogue import catalogue
from colony_sim.running.protocol import TaskResult
from colony_sim.running.task import Task
from colony_sim.studies.sweep import run as sweep_module
from colony_sim.studies.sweep.run import plan_sweep, run_sweep

FAILS: dict = {}
"""What `rule` of `work` gives for a run that fails."""
YIELD, LOSS = "yield_g_per_day", "adult_losses_per_100_per_day"
INVENTED = EXPERIMENT.replace("seed = 5", "seed = 5\ninvented = true")
SECOND = "moved by hand every other week to a fresh bin"
MANY = INVENTED.replace('"short"', f'"{SECOND}"')
for _name, _days in (("whenever there is time for it", 30), ("monthly", 28), ("never", 400)):
    MANY += f'\n[[policy]]\nname = "{_name}"\nrotation.interval_days = {_days}\n'


def noise(task: Task, scale: float, *keys: str) -> float:
    """Noise of a run's own: by seed and the values of these keys."""
    values = [round(1e6 * float(task.scenario.parameters[key])) for key in keys]
    return scale * float(np.random.default_rng([task.scenario.seed, *values]).normal())


def work(rule: Callable[[Task, np.random.Generator], dict]) -> Callable[[Task], TaskResult]:
    """A function for `Inline`: `rule` gives status, yield and losses of a run.

    A colony that died out harvests nothing and has no losses per beetle, unless `rule` says so.

    The generator is that of the seed, so that runs of one seed share their noise.
    """

    def make(task: Task) -> TaskResult:
        found = rule(task, np.random.default_rng(task.scenario.seed))
        if found is FAILS:
            return TaskResult(None, "ValueError: made up", 0.5, 200.0)
        status = found.get("status", "settled")
        dead = {"yield": 0.0, "losses": math.nan} if status == "died_out" else {}
        found = {"losses": 1.7, **dead, **found}
        values = dict.fromkeys(catalogue(), math.nan)
        values |= {YIELD: found.get("yield", math.nan), LOSS: found["losses"]}
        facts = {
            "status": status,
            "died_out_day": 200 if status == "died_out" else None,
            "warm_up_days": 300,
            "days_used": 400,
        }
        return TaskResult({**facts, "note": "Made up.", **values}, None, 0.5, 200.0)

    return make


def swept(folder: Path, rule: Callable, *, text: str = INVENTED, draw=None, **options) -> Path:
    """Run a made-up sweep; returns its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "demo.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sweep_module, "open_executor", lambda *_: Inline(work(rule)))
        run_sweep(plan_sweep(load(file), **options), folder / "sweep", draw=draw)
    return folder / "sweep"
