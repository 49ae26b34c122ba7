"""What a warm start and an early stop would save: ``python -m tests.benchmarks starts``.

In each of so many worlds both policies of experiments/rotation.toml are lived from three starts:
the founders of the file, the colony that the other policy has become after `BEFORE` days with
another seed, and the one that the same policy has, which is as warm as a start can be. A run ends
after `LENGTHS` days or, if it is not steady then, after twice as many, as runs of a comparison do.

Of each start and length: how many runs are steady, how long their warm-up is, how many days are
lived, and of the gain of the first policy, against runs of their own over days `LATE`: by how much
it is off in the mean over worlds, and how much of a difference between worlds it shows (slope of
the regression; below 1 where the other policy's colony is remembered). Last, what a day of running
is worth: the inverse of days lived times the variance of gains over worlds, against the file's
founders and the longest runs.
"""

from __future__ import annotations

import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import linregress

from colony_sim.colony.simulate import Scenario, live
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.experiment.worlds import worlds_of
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.running.processes import spawning
from colony_sim.running.runner import compile_kernels, default_workers

from .against import ROOT

BEFORE, LENGTHS, LATE = 900, (500, 700, 900), (900, 1800)
STARTS = ("founders", "other policy", "same policy")
_NEEDED = ["day", "eggs", "larvae", "pupae", "adults", "larvae_g", "harvest_g"]


def main(worlds: int = 48) -> None:
    """Measure and print."""
    compile_kernels()
    with spawning(), ProcessPoolExecutor(default_workers()) as pool:
        rows = [row for found in pool.map(_world, range(1, worlds + 1)) for row in found]
    runs = pd.DataFrame(rows)
    print(f"{worlds} worlds, both policies of experiments/rotation.toml")
    print(
        "| start | days | steady | warm-up, median (90 %) | lived | gain off by | slope | worth |"
    )
    print("|---|--:|--:|--:|--:|--:|--:|--:|")
    usual = _worth(runs, STARTS[0], LENGTHS[-1])
    for start in STARTS:
        for days in LENGTHS:
            of = runs[(runs["start"] == start) & (runs["days"] == days)]
            known = of["warm_up"].dropna()
            gains, late = _gains(of, "yield"), _gains(of, "late")
            off = gains - late
            slope = linregress(late, gains)
            error = off.std(ddof=1) / math.sqrt(len(off))
            print(
                f"| {start} | {days} | {of['steady'].mean():.0%} | {known.median():.0f}"
                f" ({known.quantile(0.9):.0f}) | {of['lived'].mean():.0f}"
                f" | {off.mean():+.2f} (SE {error:.2f})"
                f" | {slope.slope:.2f} (SE {slope.stderr:.2f})"
                f" | {_worth(runs, start, days) / usual:.2f} |"
            )


def _gains(of: pd.DataFrame, what: str) -> pd.Series:
    """Of the first policy over the second, by world (g/day)."""
    wide = of.pivot(index="world", columns="policy", values=what)
    return wide.iloc[:, 0] - wide.iloc[:, 1]


def _worth(runs: pd.DataFrame, start: str, days: int) -> float:
    of = runs[(runs["start"] == start) & (runs["days"] == days)]
    return 1.0 / (float(of["lived"].mean()) * float(_gains(of, "yield").var(ddof=1)))


def _world(world: int) -> list[dict[str, object]]:
    """Every start and length of both policies in a world."""
    file = load(ROOT / Path("experiments/rotation.toml"))
    plan = expand(file, quick=True, profile=worlds_of(None, False), hands=True)
    one, two = plan.policies
    made = partial(_lived, seed=7_000 + world)
    rows: list[dict[str, object]] = []
    for policy, other in ((one, two), (two, one)):
        mine, theirs = (plan.scenario(each, world, 1_000 + world) for each in (policy, other))
        late = made(mine, None)["harvest_g"].iloc[slice(*LATE)].mean()
        for start, before in zip(STARTS, (None, theirs, mine), strict=True):
            daily = _lived(mine, before, 1_000 + world)
            for days in LENGTHS:
                rows.append(
                    {"world": world, "policy": policy.name, "start": start, "days": days}
                    | _measured(mine, daily, days)
                    | {"late": late}
                )
    return rows


def _lived(scenario: Scenario, before: Scenario | None, seed: int) -> pd.DataFrame:
    """Twice the longest days of a scenario from its founders, or from what `before` became."""
    days, first = 2 * max(LENGTHS), 0 if before is None else BEFORE

    def change(colony) -> None:
        if colony.day == first:
            colony.parameters = scenario.parameters

    # Not with the seed of the run itself, which would then be the same as before.
    seed += 0 if before is None else 500_000
    colony = live(replace(before or scenario, days=first + days, seed=seed), observers=[change])
    daily = colony.datacollector.get_model_vars_dataframe()[_NEEDED]
    daily = daily.reindex(range(first + days), fill_value=0).iloc[first:].reset_index(drop=True)
    daily["day"] = np.arange(1, days + 1)
    return daily


def _measured(scenario: Scenario, daily: pd.DataFrame, days: int) -> dict[str, object]:
    steady = partial(SteadyMeasuring().steady_state, scenario, died_out_day=None)
    state = steady(daily=daily.iloc[:days])
    lived = days
    if state.status == "unsettled":
        lived = 2 * days
        state = steady(daily=daily.iloc[:lived])
    known = state.status == "settled"
    first = state.warm_up_days if known else lived // 2
    return {
        "steady": known, "lived": lived, "warm_up": first if known else math.nan,
        "yield": daily["harvest_g"].iloc[first:lived].mean(),
    }  # fmt: skip
