"""A cohort of the engine reared apart, as the papers rear it: what a table would hold."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event, Flow

from .bench import IDEAL, Bench


@dataclass
class Cohort:
    """Means and shares of a cohort at one temperature.

    Attributes
    ----------
    egg, larva, pupa : float
        Mean days in the stage (nan when nobody leaves it).
    hatched, pupated, emerged : float
        Shares of those that entered the stage.
    instars : int array
        Number of instars of each larva at pupation.
    mass : dict
        Day since hatching began to larval masses, mg.
    pupa_mg : float
        Mean mass of fresh pupae.
    feed : list
        (day, bran eaten g, gain g) by day.
    """

    egg: float = np.nan
    larva: float = np.nan
    pupa: float = np.nan
    hatched: float = 0.0
    pupated: float = 0.0
    emerged: float = 0.0
    instars: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    mass: dict = field(default_factory=dict)
    pupa_mg: float = np.nan
    feed: list = field(default_factory=list)

    @property
    def egg_to_adult(self) -> float:
        """Mean days from laying to emergence."""
        return self.egg + self.larva + self.pupa


def rear(t: float, eggs: int, seed: int, values: dict | None = None, days: int = 500) -> Cohort:
    """Rear eggs of one day at `t` C with feed and water in plenty.

    Beetles are taken away as they emerge.
    """
    bench = Bench({**IDEAL, **(values or {})}, seed)
    laid = bench.lay(eggs, t)
    found = Cohort()
    counts = np.zeros((days, 4), np.int64)
    watched = [Event.EGG_HATCHED, Event.PUPA_FORMED, Event.ADULT_EMERGED, Event.LARVA_DIED]
    instars, pupae = [], []
    for day in range(days):
        bench.step(t)
        counts[day] = bench.events.sum(axis=0)[[int(e) for e in watched]]
        store = bench.insects
        fresh = np.flatnonzero((store.view("stage") == Stage.PUPA) & (store.view("age") == 0))
        instars += list(store.instar[fresh])
        pupae += list(store.mass[fresh] / 1e6)
        found.feed.append(
            (day + 1, bench.flows[Flow.BRAN_EATEN] / 1e9, bench.flows[Flow.GAIN] / 1e9)
        )
        bench.remove(Stage.ADULT)
        larvae = store.view("mass")[store.view("stage") == Stage.LARVA]
        if larvae.size:
            found.mass[day + 1] = larvae / 1e6
        elif bench.table[0, :3].sum() == 0:
            break
    day = np.arange(1, days + 1)
    hatched, pupated, emerged = (int(counts[:, k].sum()) for k in range(3))

    def mean(k: int) -> float:
        # A day's events come on average half a day before its end.
        return float((counts[:, k] * (day - 0.5)).sum() / counts[:, k].sum())

    found.hatched = hatched / laid
    if hatched:
        # Laid on average half a day before the end of day 0.
        found.egg, found.pupated = mean(0) + 0.5, pupated / hatched
    if pupated:
        found.larva, found.emerged = mean(1) - mean(0), emerged / pupated
        found.instars, found.pupa_mg = np.array(instars), float(np.mean(pupae))
    if emerged:
        found.pupa = mean(2) - mean(1)
    return found
