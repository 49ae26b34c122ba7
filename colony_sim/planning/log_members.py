"""Which possible colonies a plan that begins from a log is run in: those nearest to the log.

Members live the log, and those whose numbers are nearest to the keeper's are kept, all alike
(rejection: Pritchard et al. 1999, Mol. Biol. Evol. 16:1791; from memory). The distance is that of
`today`. Nothing is moved towards the log as `today` does, so a plan is a little less sure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from colony_sim.assimilation.ensemble import Ensemble, live
from colony_sim.assimilation.misfit import Misfit, misfit
from colony_sim.assimilation.today import weights_of
from colony_sim.experiment.worlds import Worlds
from colony_sim.logs import observe
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress

PER_KEPT = 2.5
"""Members that live the log for one that is kept, as in `today`."""


def members_for(kept: int, worlds: Worlds) -> int:
    """How many members live the log, so that so many are kept."""
    return min(len(worlds.draws), round(PER_KEPT * kept))


def nearest(
    ensemble: Ensemble,
    kept: int,
    executor: Executor,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> tuple[Worlds, tuple[int, ...], Misfit | None]:
    """Worlds and run seeds of the members nearest to a log, in an order by chance.

    Parameters
    ----------
    ensemble : Ensemble
    kept : int
        How many.
    executor : Executor
    on_progress : callable

    Returns
    -------
    worlds : Worlds
        Draw r is that of the r-th.
    seeds : tuple of int
        With these the members live the log as they did.
    misfit : Misfit or None
        Whether a possible colony writes such a log.
    """
    members = range(1, members_for(kept, ensemble.worlds) + 1)
    found = live(ensemble, members, executor=executor, on_progress=on_progress)
    features = observe.features(ensemble.schedule, found.written)
    log = observe.features(ensemble.schedule, observe.on_paper(ensemble.schedule))[0]
    weights = weights_of(features, found.contents, log, kept)
    near = np.argsort(-weights, kind="stable")[:kept]
    order = np.random.default_rng([ensemble.seed, 19]).permutation(len(near))
    chosen = [int(member) for member in found.members[near][order]]
    worlds = replace(
        ensemble.worlds, draws=ensemble.worlds.draws[[member - 1 for member in chosen]]
    )
    seeds = tuple(ensemble.run_seed(member) for member in chosen)
    return worlds, seeds, misfit(ensemble.schedule, features[near], log)
