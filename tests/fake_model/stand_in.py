"""Stands in for ``colony_sim.colony.simulate``; see ``sitecustomize.py``."""

import os
import time
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Scenario:
    parameters: Any
    climate: Any
    days: int
    seed: int
    breeders: int
    larvae: int = 0
    keeper: Any = None


@dataclass
class RunRecord:
    daily: Any
    bin_log: Any
    bins_daily: Any
    died_out_day: int | None


STOCKS = ("eggs", "larvae", "pupae", "adults", "breeders", "larvae_g", "bins_in_use", "bran_g",
          "frass_g", "moisture_g")  # fmt: skip
FLOWS = (
    "harvest_larvae", "harvest_g", "eggs_laid", "eggs_hatched", "eggs_eaten_adults",
    "eggs_eaten_larvae", "eggs_lost_handling", "eggs_unhatched", "larvae_died", "pupae_formed",
    "pupae_eaten_adults", "pupae_eaten_larvae", "pupae_injured", "pupae_died",
    "pupae_lost_handling", "adults_emerged", "adults_died_age", "adults_died_background",
    "adults_died_handling", "adults_removed_surplus", "bran_given_g", "bran_eaten_g",
    "moisture_given_g", "work_minutes",
)  # fmt: skip


def simulate(scenario, each_day=None, record_bins=False, keeper=None, over=None):
    import numpy as np
    import pandas as pd

    from colony_sim.measuring.outcome import LONGEST

    # Where a run may be lived on, this one is steady by the days asked for.
    asked = scenario.days // (LONGEST if over else 1)

    faults = dict(p.split("=") for p in os.environ.get("FAKE_MODEL", "").split(",") if p)
    interval = scenario.parameters["rotation.interval_days"]
    weight = interval
    if "eggs" in faults:
        # The more eggs are eaten, the more the interval matters.
        weight *= scenario.parameters["predation.adult_egg"] / 0.0058
    log = os.environ.get("FAKE_MODEL_LOG")
    if log and asked > 2:  # Not the run that compiles.
        with open(log, "a") as handle:
            handle.write(f"{interval} {scenario.seed} {asked}\n")
    slow = float(faults.get("slow", 0))
    for day in range(1, asked + 1):
        if each_day is not None:
            each_day(day)
        if slow:
            time.sleep(slow)
    if faults.get("fail") == str(scenario.seed):
        raise RuntimeError("bin 3 is on fire")
    if faults.get("exit") == str(scenario.seed):
        os._exit(9)
    died = asked // 2 if faults.get("die") == str(scenario.seed) else None
    rng = np.random.default_rng([scenario.seed, interval])
    shared = np.random.default_rng(scenario.seed).normal()
    days = died or asked
    columns = {"day": np.arange(1, days + 1), "temperature_c": scenario.climate.daily(days)}
    for name in (*STOCKS, *FLOWS):
        columns[name] = 100.0 + 5 * shared - weight / 7 + rng.normal(size=days)
    for name in ("eggs", "larvae", "pupae", "adults", "bins_in_use"):
        columns[name] = columns[name].round().astype(int)
    daily = pd.DataFrame(columns)
    if died:
        daily.loc[days - 1, ["eggs", "larvae", "pupae", "adults"]] = 0
    if log and asked > 2:
        with open(f"{log}.ended", "a") as handle:
            handle.write(f"{interval} {scenario.seed} {asked}\n")
    return RunRecord(daily, _log(), _bins(daily), died)


def _log():
    """One bin, which the beetles left on day 2."""
    from colony_sim.colony.binlog import Action, BinLog

    log = BinLog()
    for day, action, out in ((1, Action.BEETLES_IN, None), (2, Action.BEETLES_OUT, 2)):
        log.rows.append((day, 1, action.value, 1, out, 0, 0, 0, 60, 0.0, 1.0, "", None, None, ""))
    return log.frame()


def _bins(daily):
    import pandas as pd

    from colony_sim.colony.bins import BIN_COLUMNS

    left = daily["day"] >= 2
    return pd.DataFrame({"day": daily["day"], **dict.fromkeys(BIN_COLUMNS, 0)}).assign(
        bin=1, date_in=1, date_out=pd.Series(2, daily.index, dtype="Int64").where(left),
        phase=left.map({True: "growing", False: "breeding"}), larvae=daily["larvae"],
    )  # fmt: skip


def live(scenario, keeper=None, observers=(), **options):
    raise RuntimeError("the stand-in has no colony to look into")


def as_lived(parameters, climate):
    return parameters
