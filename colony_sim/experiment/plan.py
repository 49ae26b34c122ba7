"""Expand an experiment into the runs it takes: every policy with every seed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

import colony_sim
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.own_keeper import OwnKeeper
from colony_sim.colony.simulate import Scenario
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import (
    LARGEST_SEED,
    LONGEST_DAYS,
    MOST_REPLICATES,
    Experiment,
    Policy,
    quoted,
)
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.units import METRIC, House
from colony_sim.experiment.worlds import SHIPPED, Worlds
from colony_sim.source import source_bytes


@dataclass(frozen=True)
class PlannedRun:
    """One run: the scenario, the policy it belongs to and the content key of its result.

    `house` has the units in which it is shown.
    """

    key: str
    policy: str
    replicate: int
    scenario: Scenario
    house: House = METRIC


@dataclass(frozen=True)
class Plan:
    """A comparison ready to run.

    Attributes
    ----------
    name : str
        Name of the experiment, with that of the profile; a quick comparison ends in ``-quick``.
    question : str
        The question in words.
    days : int
        Simulated days of each run.
    seeds : tuple of int
        One seed for each replicate; the same seeds for every policy (paired).
    seed : int
        The seed they were derived from.
    breeders, larvae : int
        Founder beetles and founder larvae (of all ages) at the start.
    baseline : str
        Policy the others are compared with.
    climate : Climate
        Air temperature over time.
    policies : tuple of Policy
        Baseline first.
    text : str
        The experiment file as read.
    profile : Worlds or None
        Fitted biology. Replicate r takes draw r of it (after the last the first again), under
        every policy, in place of the policies' own values of its keys.
    first : int
        Number of the replicate that the first of `seeds` belongs to.
    worlds : tuple of int
        Draw of the profile (from 1) that each of `seeds` lives in; empty: as under `profile`.
    invented : bool
        Whether the scenario is invented: not data of a real colony.
    keeper : OwnKeeper or None
        A keeper of one's own, under every policy.
    asks : str
        What the file says the answer has to name.
    house : House
        In which units quantities are shown; nothing that is stored depends on it.
    """

    name: str
    question: str
    days: int
    seeds: tuple[int, ...]
    seed: int
    breeders: int
    larvae: int
    baseline: str
    climate: Climate
    policies: tuple[Policy, ...]
    text: str
    profile: Worlds | None = None
    first: int = 1
    worlds: tuple[int, ...] = ()
    invented: bool = False
    keeper: OwnKeeper | None = None
    asks: str = ""
    house: House = METRIC

    def runs(self) -> Iterator[PlannedRun]:
        """The runs, seed by seed, so that complete pairs come first."""
        for replicate, seed in enumerate(self.seeds, start=self.first):
            for policy in self.policies:
                scenario = self.scenario(policy, replicate, seed)
                yield PlannedRun(content_key(scenario), policy.name, replicate, scenario)

    def scenario(self, policy: Policy, replicate: int, seed: int) -> Scenario:
        """What a replicate runs under a policy."""
        return Scenario(
            parameters=self._drawn(policy, self.world(replicate)),
            climate=self.climate,
            days=self.days,
            seed=seed,
            breeders=self.breeders,
            larvae=self.larvae,
            keeper=self.keeper,
        )

    def world(self, replicate: int) -> int:
        """Number of the draw of the profile (from 1) that a replicate lives in; 0 without one."""
        if self.profile is None:
            return 0
        place = replicate - self.first
        if 0 <= place < len(self.worlds):
            return self.worlds[place]
        return 1 + (replicate - 1) % len(self.profile.draws)

    def at_centre(self, keys: Collection[str] | None = None) -> Plan:
        """The plan with fitted keys (default: all) as in the central draw of the profile, undrawn.

        Raises
        ------
        InputError
            Values that do not go with the other values of the biology.
        """
        if self.profile is None:
            return self
        centre = self.profile.centre()
        fixed = {key: centre[key] for key in centre if keys is None or key in keys}
        where = f"profile {self.profile.name}, central draw"
        policies = tuple(
            Policy(policy.name, policy.parameters.with_values(fixed, where=where))
            for policy in self.policies
        )
        plan = replace(self, policies=policies, profile=self.profile.without(fixed))
        plan.check_draws(where)
        return plan

    def check_draws(self, where: str | None = None) -> None:
        """`InputError` if a draw that is lived in does not go with the rest of the biology."""
        if self.profile is None:
            return
        here = f"profile {self.profile.name}" if where is None else where
        lived = self.profile
        if self.worlds:
            lived = replace(lived, draws=lived.draws[[world - 1 for world in self.worlds]])
        # All policies have the same biology.
        lived.check(here, self.policies[0].parameters)

    def _drawn(self, policy: Policy, world: int) -> Parameters:
        if self.profile is None:
            return policy.parameters
        return policy.parameters.with_values(self.profile.draw(world), where="draw")


def expand(
    experiment: Experiment,
    *,
    quick: bool = False,
    replicates: int | None = None,
    seed: int | None = None,
    days: int | None = None,
    profile: Worlds | None = None,
    hands: bool = False,
) -> Plan:
    """Plan the comparison an experiment file asks for.

    Parameters
    ----------
    experiment : Experiment
        As read by :func:`colony_sim.experiment.files.load`.
    quick : bool
        Take ``quick_days`` and ``quick_replicates``, and a name that ends in ``-quick``.
    replicates, seed, days : int, optional
        Take these in place of the values of the file.
    profile : Worlds, optional
        Biology to draw from; its name goes into that of the plan.
    hands : bool
        Draw with the profile the handling that nobody chooses as well, see `hands`.

    Raises
    ------
    InputError
        If ``replicates``, ``seed`` or ``days`` is out of its limits, or a draw of the profile
        does not go with the biology of the file.
    """
    seed = whole("seed", seed, 0, LARGEST_SEED, experiment.seed)
    days = whole("days", days, 1, LONGEST_DAYS, experiment.quick_days if quick else experiment.days)
    replicates = whole(
        "replicates",
        replicates,
        2,
        MOST_REPLICATES,
        experiment.quick_replicates if quick else experiment.replicates,
    )
    plan = Plan(
        name=named(experiment.name, profile) + ("-quick" if quick else ""),
        question=experiment.question,
        days=days,
        seeds=replicate_seeds(seed, replicates),
        seed=seed,
        breeders=experiment.breeders,
        larvae=experiment.larvae,
        baseline=experiment.baseline,
        climate=experiment.climate,
        policies=experiment.policies,
        text=experiment.text,
        profile=with_hands(profile, experiment.policies) if profile and hands else profile,
        invented=experiment.invented,
        keeper=experiment.keeper,
        asks=experiment.asks,
        house=experiment.house,
    )
    plan.check_draws()
    return plan


def named(name: str, profile: Worlds | None) -> str:
    """Name of an experiment, with that of a keeper's own profile if there is one."""
    return name if profile is None or profile.name == SHIPPED else f"{name}-{profile.name}"


def single(
    experiment: Experiment,
    *,
    policy: str | None = None,
    seed: int | None = None,
    days: int | None = None,
    profile: Worlds | None = None,
    draw: int | None = None,
) -> PlannedRun:
    """Plan one run of one policy (default: the baseline with the seed of replicate 1).

    With a profile, its keys are as in its central draw, or in draw number `draw` (from 1).
    """
    names = [entry.name for entry in experiment.policies]
    name = experiment.baseline if policy is None else policy
    if name not in names:
        raise InputError(ARGUMENT, "policy", name, f"one of {quoted(names)}")
    if profile is None and draw is not None:
        raise InputError(ARGUMENT, "draw", draw, "only with `profile`")
    first = replicate_seeds(experiment.seed, 1)[0]
    parameters = next(p.parameters for p in experiment.policies if p.name == name)
    if profile is not None:
        number = whole("draw", draw, 1, len(profile.draws), 0)
        fitted = profile.draw(number) if number else profile.centre()
        where = f"profile {profile.name}, " + (f"draw {number}" if number else "central draw")
        parameters = parameters.with_values(fitted, where=where)
    scenario = Scenario(
        parameters=parameters,
        climate=experiment.climate,
        days=whole("days", days, 1, LONGEST_DAYS, experiment.days),
        seed=whole("seed", seed, 0, LARGEST_SEED, first),
        breeders=experiment.breeders,
        larvae=experiment.larvae,
        keeper=experiment.keeper,
    )
    return PlannedRun(content_key(scenario), name, 1, scenario, experiment.house)


def replicate_seeds(seed: int, replicates: int) -> tuple[int, ...]:
    """Seeds of the replicates, derived from one seed.

    Hashed (``numpy.random.SeedSequence``), not counted up: otherwise a comparison repeated with
    ``--seed 2`` would share all but one run with ``--seed 1``. More replicates keep the first.
    """
    state = np.random.SeedSequence(seed).generate_state(replicates, dtype=np.uint32)
    seeds = tuple(int(value) for value in state)
    if len(set(seeds)) == len(seeds):
        return seeds
    # Two equal 32-bit numbers: go on drawing until there are enough that differ.
    longer = np.random.SeedSequence(seed).generate_state(2 * replicates, dtype=np.uint32)
    return tuple(dict.fromkeys(int(value) for value in longer))[:replicates]


def content_key(scenario: Scenario) -> str:
    """SHA-256 over everything that decides the result of a run, and over nothing else."""
    content = {
        "parameters": scenario.parameters.as_dict(),
        # What is noted of a logger's file changes no temperature.
        "climate": {k: v for k, v in scenario.climate.as_dict().items() if k != "notes"},
        "days": scenario.days,
        "seed": scenario.seed,
        "breeders": scenario.breeders,
        "larvae": scenario.larvae,
        "keeper": scenario.keeper and [scenario.keeper.name, scenario.keeper.digest],
        "version": colony_sim.__version__,
        "model": model_fingerprint(),
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def model_fingerprint() -> str:
    """SHA-256 over the source of the model, so that an edited model never reuses old runs."""
    package = Path(colony_sim.__file__).parent
    digest = hashlib.sha256()
    for part in ("biology", "population", "colony"):
        for file in sorted((package / part).rglob("*.py")):
            digest.update(f"{part}/{file.relative_to(package / part).as_posix()}\n".encode())
            digest.update(source_bytes(file))
    return digest.hexdigest()


def whole(option: str, value: int | None, low: int, high: int, default: int) -> int:
    """``value`` if it is a whole number in its limits, ``default`` if it is None."""
    if value is None:
        return default
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise InputError(ARGUMENT, option, value, f"a whole number from {low} to {high}")
    return value
