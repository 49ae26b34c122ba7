"""The figure of a comparison says what the tables say, and can be read."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import matplotlib
import matplotlib.image
import numpy as np
import pandas as pd
import pytest

from colony_sim.experiment.measures import catalogue
from colony_sim.experiment.paired import (
    all_paired_differences,
    died_out_comparison,
    paired_differences,
    policy_summary,
)
from colony_sim.experiment.store import write_table
from colony_sim.experiment.verdict import verdict
from colony_sim.figures import style
from colony_sim.figures.comparison import draw, finding, read

DAYS, WARM_UP = 600, 150
HANDLING = {"rotation.interval_days": 14, "rotation.collect_days": 7, "harvest.interval_days": 7,
            "pupae.isolate": False}
LONG = "every 14 days, pupae set apart in drawers on every Monday in"
LOSSES = "adult_losses{}_per_100_per_day"


def results(
    folder: Path, means: dict[str, float], runs: int = 8, sd: float = 0.2,
    statuses: dict[str, list[str]] | None = None, drop: tuple[str, ...] = (),
    text: str = "# An invented scenario, not data of a real colony.",
) -> Path:
    """Write a results folder of made-up runs; `statuses` of the first runs of a policy."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    rows, series = [], []
    for policy, mean in means.items():
        given = (statuses or {}).get(policy, [])
        for seed in range(runs):
            status = given[seed] if seed < len(given) else "settled"
            level = mean + sd * rng.normal()
            row = dict.fromkeys(catalogue(), np.nan)
            if status == "settled":
                row["yield_g_per_day"] = level
                for cause, value in (("_age", 0.5), ("_background", 0.2), ("_handling", 0.1)):
                    row[LOSSES.format(cause)] = value + 0.02 * rng.normal()
                row[LOSSES.format("")] = sum(
                    row[LOSSES.format(c)] for c in ("_age", "_background", "_handling"))
            row.update(dict.fromkeys(drop, np.nan))
            warm_up = WARM_UP + 10 * seed if status == "settled" else DAYS
            rows.append({"policy": policy, "seed": seed, "status": status,
                         "warm_up_days": warm_up, **row})
            days = np.arange(1, (DAYS if status != "died_out" else 200 + seed) + 1)
            pulse = np.where(days % 7 == 0, 7.0, 0.0) * np.clip(days / WARM_UP, 0, 1)
            noise = rng.normal(1, 0.05, len(days))
            series.append(pd.DataFrame({"policy": policy, "seed": seed, "day": days,
                                        "harvest_g": level * pulse * noise}))
    table, first = pd.DataFrame(rows), next(iter(means))
    keys = list(catalogue())
    for name, frame in (
        ("runs", table),
        ("policies", policy_summary(table, measures=keys)),
        ("differences", paired_differences(table, first, measures=keys)),
        ("all_differences", all_paired_differences(table, measures=keys)),
        ("died_out", died_out_comparison(table, first)),
        ("daily", pd.concat(series)),
    ):
        write_table(folder, name, frame)
    facts = {
        "kind": "comparison", "format": 1, "file_text": text,
        "experiment": {"name": "made-up", "seed": 7, "days": DAYS, "question": ""},
        "policies": [{"name": policy, "handling": HANDLING} for policy in means],
    }  # fmt: skip
    (folder / "manifest.json").write_text(json.dumps(facts), encoding="utf-8")
    return folder
