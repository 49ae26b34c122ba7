"""The choice at hand: a comparison over possible colonies, read back from its results folder."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.errors import InputError
from colony_sim.experiment.plan import Plan
from colony_sim.experiment.worlds import Worlds
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.statistics.information import LEAST_RUNS
from colony_sim.studies.comparison import gains
from colony_sim.studies.comparison.assumptions import compared
from colony_sim.trial.boxes import TRIALS, Trial
from colony_sim.trial.side import side_by_side

_ALLOWED = "a finished comparison in possible colonies, such as colony-sim compare rotation makes"


@dataclass(frozen=True)
class Question:
    """A choice between two policies, and the possible colonies in which both were tried.

    Attributes
    ----------
    plan : Plan
        Of the comparison.
    policies : two names
    worlds : Worlds
    numbers : int array
        Worlds with a gain, from 1.
    gains : float64 array
        Of the first policy over the second in each (g/day).
    zone : float
        Gains smaller than this count as none (g/day).
    room_c : float
        Mean temperature of the room (C).
    minutes_a_day, bran_g_a_day : float
        Work and bran of one rack, mean of both policies.
    racks : bool
        Whether both ways side by side are among the trials, a year of two racks in each colony.
    """

    plan: Plan
    policies: tuple[str, str]
    worlds: Worlds
    numbers: np.ndarray
    gains: np.ndarray
    zone: float
    room_c: float
    minutes_a_day: float
    bran_g_a_day: float
    racks: bool = True

    @cached_property
    def trials(self) -> tuple[Trial, ...]:
        """Trials in boxes, and both ways side by side if asked for."""
        if not self.racks:
            return TRIALS
        side = side_by_side(self.plan, self.policies, self.minutes_a_day, self.bran_g_a_day)
        return (*TRIALS, side)

    def named(self, name: str) -> Trial | None:
        """The trial of a name."""
        return next((trial for trial in self.trials if trial.name == name), None)

    @property
    def base(self) -> Parameters:
        """Values that no world draws: those of the policy done so far."""
        policy = next(p for p in self.plan.policies if p.name == self.plan.baseline)
        return as_lived(policy.parameters, self.plan.climate)


def read(folder: Path) -> Question:
    """The question of a results folder of ``colony-sim compare``.

    Raises
    ------
    InputError
        No finished comparison in possible colonies, or one of too few.
    """
    folder = Path(folder)
    data = manifest.read(folder, kinds=("comparison",))
    plan = manifest.plan_from(data, str(folder / MANIFEST))
    tables = gains.read(folder)
    if tables is None or plan.profile is None:
        raise InputError(str(folder), "comparison", "of one world", _ALLOWED)
    summary = pd.read_parquet(folder / "policies.parquet")
    pair = compared(plan, summary)
    if pair is None:
        raise InputError(str(folder), "policies", len(plan.policies), "two or more")
    rows, verdicts = tables
    one = rows["currency"] == verdicts["currency"].iloc[0]
    mine = rows[one & (rows["policy"] == pair[0]) & (rows["baseline"] == pair[1])]
    sign = 1.0
    if mine.empty:
        mine = rows[one & (rows["policy"] == pair[1]) & (rows["baseline"] == pair[0])]
        sign = -1.0
    mine = mine.dropna(subset=["gain"])
    if len(mine) < LEAST_RUNS:
        raise InputError(str(folder), "possible colonies", len(mine), f"{LEAST_RUNS} or more")
    zone = float(verdicts["zone"].iloc[0]) if "zone" in verdicts else 0.0
    room = float(np.mean(plan.climate.daily(365)))
    return Question(
        plan, pair, plan.profile, mine["world"].to_numpy(int), sign * mine["gain"].to_numpy(float),
        zone, room, *_a_day(summary, pair),
    )  # fmt: skip


def _a_day(summary: pd.DataFrame, pair: tuple[str, str]) -> tuple[float, float]:
    """Minutes of work and grams of bran of a rack, mean of two policies; 0 where not known."""
    mine = summary[summary["policy"].isin(pair)]
    means = mine.groupby("measure")["mean"].mean()
    bran = 1000.0 * means[YIELD] / means["yield_g_per_kg_bran"]
    minutes = 60.0 * means["work_hours_per_week"] / 7.0
    return float(np.nan_to_num(minutes)), float(np.nan_to_num(bran, posinf=0.0))
