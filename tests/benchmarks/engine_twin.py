"""The settled colony as Mesa agents, for the slow end of the ladder."""

from __future__ import annotations

import numpy as np

from colony_sim.population.insects import Flag
from tests.verification.twin_colony import STAGES, TwinColony
from tests.verification.twin_compare import EVENTS
from tests.verification.twin_insect import Insect

from .engine_state import DAY, SEED, TEMPERATURE, State


def twin_of(state: State) -> TwinColony:
    """The slow twin with the same insects and stocks, without a keeper."""
    p = state.parameters.with_values({"rack.bins": max(2, state.bins)}, "benchmark")
    twin = TwinColony(p, [TEMPERATURE] * (DAY + 1), SEED, 0, keeper=False)
    twin.day = DAY
    for name in ("bran", "frass", "moisture", "skins", "visible_skins"):
        for k, amount in enumerate(getattr(state.substrate, name)[:-1]):
            setattr(twin.stocks[k], name, int(amount))
    store = state.insects
    for r in range(store.n):
        insect = Insect(
            twin, int(store.ident[r]), STAGES[store.stage[r] - 1], int(store.bin[r]),
            int(store.mass[r]),
        )  # fmt: skip
        for name in ("progress", "factor", "size", "tolerance"):
            setattr(insect, name, getattr(store, name)[r])
        insect.age = int(store.age[r])
        insect.eggs = insect.instar = int(store.tally[r])
        flags = int(store.flags[r])
        insect.female = bool(flags & Flag.FEMALE)
        insect.viable = bool(flags & Flag.VIABLE)
        insect.injured = bool(flags & Flag.INJURED)
        insect.kept = bool(flags & Flag.KEPT)
        insect.out_of_reach = bool(flags & Flag.OUT_OF_REACH)
    twin.census()
    return twin


def differences(twin: TwinColony, state: State, events: np.ndarray, flows: np.ndarray) -> int:
    """Stage counts per bin, events and flows that differ after both have lived the day."""
    counts = np.array([[b.counts[s] for s in STAGES] for b in twin.stocks])
    found = int(np.count_nonzero(counts != state.census()[:, :4]))
    totals = events.sum(axis=0)
    found += sum(int(totals[e]) != twin.events[name] for e, name in EVENTS.items())
    names = ("GAIN", "DEAD_MASS", "EGG_MASS", "BRAN_EATEN", "FRASS_MADE", "WATER_DRUNK")
    from colony_sim.population.ledger import Flow

    return found + sum(int(flows[Flow[n]]) != twin.flows[n] for n in names)
