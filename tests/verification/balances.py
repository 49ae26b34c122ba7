"""Claim: insects, bran, water and mass balance in every run of every shipped experiment."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from colony_sim.colony.model import Colony
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event, Flow

from .claim import Check, Claim, exact

_EXPERIMENTS = Path(__file__).resolve().parents[2] / "experiments"
_E, _F = Event, Flow
#: Ways in and out of each stage, written out again rather than taken from the ledger.
_IN = {
    Stage.EGG: [_E.EGG_LAID],
    Stage.LARVA: [_E.EGG_HATCHED],
    Stage.PUPA: [_E.PUPA_FORMED],
    Stage.ADULT: [_E.ADULT_EMERGED, _E.PUPA_INJURED],
}
_OUT = {
    Stage.EGG: [
        _E.EGG_HATCHED,
        _E.EGG_EATEN_ADULTS,
        _E.EGG_EATEN_LARVAE,
        _E.EGG_LOST_HANDLING,
        _E.EGG_UNHATCHED,
    ],
    Stage.LARVA: [_E.PUPA_FORMED, _E.LARVA_DIED, _E.LARVA_HARVESTED, _E.LARVA_LOST_HANDLING],
    Stage.PUPA: [
        _E.ADULT_EMERGED,
        _E.PUPA_INJURED,
        _E.PUPA_EATEN_ADULTS,
        _E.PUPA_EATEN_LARVAE,
        _E.PUPA_DIED,
        _E.PUPA_LOST_HANDLING,
    ],
    Stage.ADULT: [
        _E.ADULT_DIED_AGE,
        _E.ADULT_DIED_BACKGROUND,
        _E.ADULT_DIED_HANDLING,
        _E.ADULT_REMOVED_SURPLUS,
    ],
}
_STOCKS = {
    "bran": ([_F.BRAN_GIVEN], [_F.BRAN_EATEN, _F.BRAN_DISCARDED]),
    "frass": ([_F.FRASS_MADE], [_F.FRASS_DISCARDED]),
    "moisture": ([_F.WATER_GIVEN], [_F.WATER_DRUNK, _F.WATER_EVAPORATED, _F.WATER_DISCARDED]),
}
_MASS = (
    [_F.EGG_MASS, _F.GAIN],
    [
        _F.HATCHING_LOSS,
        _F.PUPATION_LOSS,
        _F.EMERGENCE_LOSS,
        _F.DEAD_MASS,
        _F.HARVEST_MASS,
        _F.SURPLUS_MASS,
    ],
)


def stocks(colony: Colony) -> dict[str, int]:
    """Insects per stage, live mass and stocks, counted directly (counts and ng)."""
    stage = colony.insects.view("stage")
    found = {kind.name: int((stage == kind).sum()) for kind in _IN}
    found["mass"] = int(colony.insects.view("mass")[stage > 0].sum(dtype=np.int64))
    for name in _STOCKS:
        found[name] = int(getattr(colony.substrate, name).sum())
    return found


def gaps(before: dict, after: dict, events: np.ndarray, flows: np.ndarray) -> dict[str, int]:
    """What a day's books leave unexplained."""
    rest = {}
    for kind in _IN:
        change = events[_IN[kind]].sum() - events[_OUT[kind]].sum()
        rest[kind.name] = int(after[kind.name] - before[kind.name] - change)
    for name, (into, out) in {**_STOCKS, "mass": _MASS}.items():
        rest[name] = int(after[name] - before[name] - flows[into].sum() + flows[out].sum())
    return rest


def _experiments() -> list[Path]:
    """Experiment files; the others are plans."""
    return [
        path
        for path in sorted(_EXPERIMENTS.glob("*.toml"))
        if "experiment" in tomllib.loads(path.read_text(encoding="utf-8"))
    ]


class Balances(Claim):
    """Books that close."""

    name = "balances"
    statement = (
        "In every run of every shipped experiment the books of each stage, live mass, bran, frass"
        " and moisture close to the insect and to the nanogram, every day, and no stock is ever"
        " negative."
    )
    source = (
        "conservation; all experiment files of experiments/, every policy, every seed of the quick"
        " plan"
    )

    def run(self, fast: bool) -> list[Check]:
        self.bars = []
        checks = []
        for path in _experiments():
            plan = expand(load(path), quick=True)
            runs = list(plan.runs())
            if fast:
                runs = runs[: len(plan.policies)]
            days = min(120, plan.days) if fast else plan.days
            worst, below, lived = 0, 0, 0
            for run in runs:
                a, b, c = self._one(run.scenario, days)
                worst, below, lived = max(worst, a), min(below, b), lived + c
            about = f"{path.name}: {len(runs)} runs, {lived} days"
            self.bars.append((path.stem, lived))
            checks += [
                exact(f"{about}: largest gap of any book on any day", worst, 0),
                exact(f"{about}: most negative stock, ng", below, 0),
            ]
        return checks

    @staticmethod
    def _one(scenario, days) -> tuple[int, int, int]:
        colony = Colony(
            scenario.parameters,
            scenario.climate.daily(days),
            scenario.seed,
            scenario.breeders,
            scenario.larvae,
        )
        worst = below = 0
        before = stocks(colony)
        for day in range(1, days + 1):
            colony.step()
            after = stocks(colony)
            found = gaps(before, after, colony.events.sum(axis=0), colony.flows)
            worst = max(worst, *(abs(v) for v in found.values()))
            s = colony.substrate
            below = min(below, *(int(getattr(s, name).min()) for name in _STOCKS))
            before = after
            if colony.alive == 0:
                return worst, below, day
        return worst, below, days

    def figure(self, ax) -> None:
        names, lived = zip(*self.bars, strict=True)
        ax.bar(names, lived)
        ax.set(ylabel="days of books checked", title="All closed, unless the report says otherwise")
