"""Lives one scenario in the fast engine and in the slow twin, and counts the differences."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.binlog import Action
from colony_sim.colony.model import Colony
from colony_sim.population import census
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event, Flow

from .twin_colony import STAGES, TwinColony

#: Event of the fast engine to its name in the twin (the column of the daily series).
EVENTS = {
    Event.EGG_LAID: "eggs_laid",
    Event.EGG_HATCHED: "eggs_hatched",
    Event.EGG_EATEN_ADULTS: "eggs_eaten_adults",
    Event.EGG_EATEN_LARVAE: "eggs_eaten_larvae",
    Event.EGG_LOST_HANDLING: "eggs_lost_handling",
    Event.EGG_UNHATCHED: "eggs_unhatched",
    Event.LARVA_DIED: "larvae_died",
    Event.LARVA_HARVESTED: "harvest_larvae",
    Event.LARVA_LOST_HANDLING: "larvae_lost_handling",
    Event.PUPA_FORMED: "pupae_formed",
    Event.PUPA_EATEN_ADULTS: "pupae_eaten_adults",
    Event.PUPA_EATEN_LARVAE: "pupae_eaten_larvae",
    Event.PUPA_DIED: "pupae_died",
    Event.PUPA_LOST_HANDLING: "pupae_lost_handling",
    Event.PUPA_INJURED: "pupae_injured",
    Event.ADULT_EMERGED: "adults_emerged",
    Event.ADULT_DIED_AGE: "adults_died_age",
    Event.ADULT_DIED_BACKGROUND: "adults_died_background",
    Event.ADULT_DIED_HANDLING: "adults_died_handling",
    Event.ADULT_REMOVED_SURPLUS: "adults_removed_surplus",
}
#: Flag of the fast engine to its name in the twin.
FLAGS = {
    Flag.FEMALE: "female",
    Flag.VIABLE: "viable",
    Flag.INJURED: "injured",
    Flag.KEPT: "kept",
    Flag.OUT_OF_REACH: "out_of_reach",
}


@dataclass(frozen=True)
class Case:
    """A scenario for both; without a keeper all insects live in the first bin."""

    name: str
    values: dict
    temperatures: tuple[float, ...]
    breeders: int
    larvae: int
    keeper: bool


@dataclass
class Differences:
    """Largest differences over all days, and what happened at all.

    Attributes
    ----------
    stages, events : int
        Largest difference of a stage count in a bin on a day, and of a daily event.
    mass, stocks : int
        Largest difference of a mass flow or of a stock (ng).
    minutes : float
        Largest difference of the minutes of work on a day.
    insects, fields : int
        Insects at the end that only one of the two holds, and fields that differ.
    insect_days : int
    seen : dict
        Events counted over the run.
    actions : set of str
        Kinds of work in the engine's bin log.
    series : list
        (day, larvae of the engine, larvae of the twin).
    """

    stages: int = 0
    events: int = 0
    mass: int = 0
    stocks: int = 0
    minutes: float = 0.0
    insects: int = 0
    fields: int = 0
    insect_days: int = 0
    seen: dict = field(default_factory=dict)
    actions: set = field(default_factory=set)
    series: list = field(default_factory=list)


def engine_of(case: Case, seed: int) -> Colony:
    """The fast engine at day 0 of a case."""
    p = Parameters.default().with_values(case.values, "verification")
    colony = Colony(p, case.temperatures, seed, case.breeders, case.larvae)
    if not case.keeper:
        colony.keeper.work = lambda: None
        colony.insects.view("bin")[:] = 0
        colony.table = colony.take_census()
    return colony


def twin_of(case: Case, seed: int) -> TwinColony:
    """The slow twin at day 0 of a case."""
    p = Parameters.default().with_values(case.values, "verification")
    twin = TwinColony(p, case.temperatures, seed, case.breeders, case.larvae, case.keeper)
    if not case.keeper:
        for insect in twin.insects:
            insect.place = 0
        twin.census()
    return twin


def compare(case: Case, seed: int) -> Differences:
    """Live the case in both with the same seed."""
    fast, slow = engine_of(case, seed), twin_of(case, seed)
    found = Differences()
    for _ in case.temperatures:
        fast.step()
        slow.step()
        _compare_day(fast, slow, found)
    _compare_insects(fast, slow, found)
    log = fast.binlog.frame()
    found.actions = {*log["action"], *log["reason"][log["action"] == Action.CLEARED]}
    return found


def _compare_day(fast: Colony, slow: TwinColony, found: Differences) -> None:
    counts = np.array([[b.counts[s] for s in STAGES] for b in slow.stocks])
    found.stages = max(found.stages, int(np.abs(fast.table[:, :4] - counts).max()))
    found.insect_days += int(counts.sum())
    found.series.append((fast.day, int(fast.table[:, 1].sum()), int(counts[:, 1].sum())))
    events = fast.events.sum(axis=0)
    for event, name in EVENTS.items():
        gap = abs(int(events[event]) - slow.events[name])
        found.events = max(found.events, gap)
        found.seen[name] = found.seen.get(name, 0) + slow.events[name]
    for flow in Flow:
        gap = abs(int(fast.flows[flow]) - slow.flows[flow.name])
        found.mass = max(found.mass, gap)
    if slow.keeper is not None:
        # The two add up the same minutes in another order.
        gap = round(abs(fast.keeper.minutes - slow.keeper.minutes), 9)
        found.minutes = max(found.minutes, gap)
    for k, bin_ in enumerate(slow.stocks[:-1]):
        for name in ("bran", "frass", "moisture", "skins", "visible_skins"):
            gap = abs(int(getattr(fast.substrate, name)[k]) - getattr(bin_, name))
            found.stocks = max(found.stocks, gap)
    masses = [(b.larvae_ng, b.predators_ng, b.adults_ng) for b in slow.stocks]
    table = fast.table[:, [census.LARVA_MASS, census.PREDATOR_MASS, census.ADULT_MASS]]
    found.mass = max(found.mass, int(np.abs(table - np.array(masses)).max()))


def _compare_insects(fast: Colony, slow: TwinColony, found: Differences) -> None:
    store = fast.insects
    rows = np.flatnonzero(store.view("stage") != Stage.DEAD)
    theirs = {int(store.ident[r]): r for r in rows}
    ours = {i.ident: i for i in slow.insects}
    found.insects = len(theirs.keys() ^ ours.keys())
    for ident in theirs.keys() & ours.keys():
        r, twin = theirs[ident], ours[ident]
        flags = int(store.flags[r])
        pairs = [
            (int(store.stage[r]), 1 + STAGES.index(twin.stage)),
            (int(store.bin[r]), twin.place),
            (int(store.mass[r]), twin.mass),
            (store.progress[r], twin.progress),
            (store.factor[r], twin.factor),
            (store.size[r], twin.size),
            (int(store.age[r]), twin.age),
            (store.tolerance[r], twin.tolerance),
            (int(store.tally[r]), twin.eggs if twin.stage == "adult" else twin.instar),
        ]
        pairs += [(bool(flags & flag), getattr(twin, name)) for flag, name in FLAGS.items()]
        found.fields += sum(a != b for a, b in pairs)
