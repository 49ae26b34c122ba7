"""What a colony of each possible kind gives, both ways, and what all of them say of the ways."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Literal

import numpy as np

from colony_sim.experiment.files import Policy
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.experiment.worlds import Worlds
from colony_sim.explore.colonies import Pair, SoFar
from colony_sim.measuring.catalogue import YIELD
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.running.executor import PointRun, run_all_points, runs_of
from colony_sim.running.protocol import Executor
from colony_sim.running.store import OutcomeStore
from colony_sim.statistics.over_worlds import verdict_over_worlds
from colony_sim.statistics.worlds_pointwise import KNOWN

#: Days of each colony, as in a quick comparison.
DAYS = 900
OLD, NEW = "old way", "new way"
_LARVAE = "yield_larvae_per_day"
_MEASURING = SteadyMeasuring()


def plan_of(pair: Pair, worlds: Worlds, most: int) -> Plan:
    """The colonies of two ways, or of one where both are the same: a seed and a world each.

    `most` is the number of colonies; there are no more than worlds.
    """
    old, new = pair
    policies = (Policy(OLD, old.parameters), Policy(NEW, new.parameters))
    return Plan(
        name="explored",
        question="Does the new way give more than the old one?",
        days=min(old.days, DAYS),
        seeds=replicate_seeds(old.seed, min(most, len(worlds.draws))),
        seed=old.seed,
        breeders=old.breeders,
        larvae=old.larvae,
        baseline=OLD,
        climate=old.climate,
        policies=policies[: 1 if old == new else 2],
        text="",
        profile=worlds,
        keeper=old.keeper,
    )


def lived(
    plan: Plan, store: OutcomeStore, executor: Executor, stands: Callable[[], bool]
) -> Iterator[tuple[int, str, dict[str, float]]]:
    """Live the colonies of a plan as long as it stands: number of the colony, way, outcome.

    Raises
    ------
    RuntimeError
        A colony failed, a fault of the program.
    """

    def wanted() -> Iterator[PointRun]:
        for run in runs_of(plan, 1, enumerate(plan.seeds, start=1), _MEASURING):
            if stands():
                yield run

    total = len(plan.seeds) * len(plan.policies)
    # A process that is gone is not tried again: it may have been ended with the page.
    for ended in run_all_points(wanted(), total, store, executor, _MEASURING, retry=False):
        if ended.error is not None:
            raise RuntimeError(ended.error.strip().splitlines()[-1])
        yield ended.replicate, ended.policy, ended.outcome


def summary(found: dict[int, dict[str, dict[str, float]]], ways: int, most: int) -> SoFar:
    """What outcomes say: by number of the colony and way, those of `SteadyMeasuring`."""
    whole = [one for _, one in sorted(found.items()) if len(one) == ways]
    larvae = [one[OLD][_LARVAE] for one in whole]
    between = None
    if len(larvae) >= 5:
        low, high = np.quantile(larvae, [0.1, 0.9])
        between = (float(low), float(high))
    told = SoFar(len(whole), most, larvae=between)
    if ways < 2 or not whole:
        return told
    gains = [one[NEW][YIELD] - one[OLD][YIELD] for one in whole]
    told = replace(told, ahead=tuple(gain > 0 for gain in gains))
    if len(gains) < 2:
        return told
    verdict = verdict_over_worlds([[gain] for gain in gains])
    known: Literal["more", "less", "open"] = "open"
    if verdict.probability_a >= KNOWN:
        known = "more"
    elif verdict.probability_b >= KNOWN:
        known = "less"
    return replace(
        told, probability=verdict.probability_a, error=verdict.probability_a_se, known=known
    )
