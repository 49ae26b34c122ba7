"""Both ways of a choice tried side by side in two racks for a year: the trial that costs most."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from colony_sim.biology.parameters import Parameters, Value
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.experiment.plan import Plan, content_key
from colony_sim.measuring.catalogue import run_measures
from colony_sim.running.processes import stop_if_asked
from colony_sim.trial.boxes import Number, Step, Trial, of_each_box

NAME = "side-by-side"
DAYS = 365
_WEIGHED = "larvae harvested in the year"


@dataclass(frozen=True)
class Racks:
    """Two racks that start alike, each kept in one way, with chance of its own.

    Attributes
    ----------
    common : Scenario
        What both start as.
    ways : two dicts
        Handling of each where it differs from `common`.
    """

    common: Scenario
    ways: tuple[dict[str, Value], dict[str, Value]]

    def __call__(self, p: Parameters, seed: int, room_c: float) -> np.ndarray:
        """Harvest of each in its first year (g); the room is that of the comparison."""
        return np.array([
            self._harvest(p.with_values(way, where="trial"), own)
            for way, own in zip(self.ways, of_each_box(seed), strict=True)
        ])  # fmt: skip

    def _harvest(self, p: Parameters, seed: int) -> float:
        days = self.common.days
        scenario = replace(self.common, parameters=p, seed=seed)
        record = simulate(scenario, stop_if_asked)
        return days * run_measures(record.daily, 0, days)["yield_g_per_day"]


@dataclass(frozen=True)
class Beside(Trial):
    """A trial whose two numbers are compared by their difference, as a gain is."""

    def summary(self, numbers: np.ndarray) -> np.ndarray:
        """The first less the second (... x 1)."""
        numbers = np.asarray(numbers, float)
        return numbers[..., :1] - numbers[..., 1:]


def side_by_side(
    plan: Plan, pair: tuple[str, str], minutes_a_day: float, bran_g_a_day: float
) -> Trial:
    """The trial of a choice between two policies of a plan.

    Parameters
    ----------
    plan : Plan
    pair : two names
    minutes_a_day, bran_g_a_day : float
        Work and bran of a rack, mean of the two ways: what the second rack takes.
    """
    days = min(DAYS, plan.days)
    by_name = {policy.name: policy.parameters for policy in plan.policies}
    base = by_name[plan.baseline]
    ways = tuple(
        {key: value for key, value in by_name[name].as_dict().items() if value != base[key]}
        for name in pair
    )
    common = replace(plan.scenario(plan.policies[0], plan.first, plan.seed), days=days,
                     parameters=base)  # fmt: skip
    first, second = pair
    return Beside(
        NAME, f"both ways side by side in two racks, {days} days",
        tuple(Number(name, _WEIGHED, unit="g") for name in pair), days, days * minutes_a_day,
        days * bran_g_a_day,
        (
            Step(
                f"Set up two racks alike: {plan.breeders} beetles and {plan.larvae} larvae of all "
                "sizes in each, in one room."
            ),
            Step(f"Keep the first by “{first}” and the second by “{second}”, for {days} days."),
            Step("Weigh all larvae that you harvest of each and add them up."),
        ),
        Racks(common, (ways[0], ways[1])), _digest(common, ways),
    )  # fmt: skip


def _digest(common: Scenario, ways: tuple[dict[str, Value], ...]) -> str:
    return hashlib.sha256(f"{content_key(common)} {ways!r}".encode()).hexdigest()
