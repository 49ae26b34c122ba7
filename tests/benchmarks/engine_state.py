"""One settled colony, as often as wanted: the state that every rung of the ladder lives on.

A colony of the default parameters settles for 300 days at 25 C; copies of it, with bins and
identities of their own, then make any number of insects with the same mix of stages and the
same crowding, food and predators in each bin.
"""

from __future__ import annotations

import copy
import resource
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import constants
from colony_sim.colony.model import Colony
from colony_sim.population import census, kernels
from colony_sim.population.insects import FIELDS, Insects
from colony_sim.population.ledger import Event, Flow
from colony_sim.population.substrate import Substrate

SEED, DAY, TEMPERATURE = 1, 300, 25.0
_STOCKS = ("bran", "frass", "moisture", "skins", "visible_skins", "skin_mass", "dead_adults")
#: Odd, so that copies of an identity are all different.
_STRIDE = np.uint64(0x9E3779B97F4A7C15)


def settle(path: Path) -> int:
    """Write the settled colony to `path`; return its number of insects."""
    colony = Colony(Parameters.default(), np.full(DAY, TEMPERATURE), SEED, 300, 13_000)
    for _ in range(DAY):
        colony.step()
    colony.insects.compact()
    columns = {name: colony.insects.view(name) for name in FIELDS}
    stocks = {f"stock_{name}": getattr(colony.substrate, name) for name in _STOCKS}
    np.savez(path, **columns, **stocks)
    return colony.insects.n


@dataclass
class State:
    """Insects and bins on the morning after `DAY`, and what a step needs besides."""

    insects: Insects
    substrate: Substrate
    bins: int

    def __post_init__(self) -> None:
        self.parameters = Parameters.default()
        self.constants = constants(self.parameters)
        self.count = self.insects.n

    def census(self, threads: int = 1) -> np.ndarray:
        return census.count(self.insects, self.bins + 1, self.constants.predator_mass, threads)

    def live(
        self, step=kernels.step, day: int = DAY + 1, **options
    ) -> tuple[np.ndarray, np.ndarray]:
        """Census and one day; events per bin and flows of the day."""
        table = self.census(options.get("threads", 1))
        events = np.zeros((self.bins + 1, len(Event)), np.int64)
        flows = np.zeros(len(Flow), np.int64)
        step(
            self.constants, TEMPERATURE, SEED, day, self.insects, self.substrate, table, events,
            flows, **options,
        )  # fmt: skip
        return events, flows

    def kept(self) -> State:
        """A copy to start anew from."""
        return copy.deepcopy(self)

    def restore(self, kept: State) -> None:
        """Everything as it was in `kept`, in the same memory."""
        self.insects.n = kept.insects.n
        for name in FIELDS:
            self.insects.view(name)[:] = kept.insects.view(name)
        for name, column in vars(kept.substrate).items():
            getattr(self.substrate, name)[:] = column


def scaled(path: Path, wanted: int) -> State:
    """About `wanted` insects: a share of the settled colony, or several copies of it."""
    stored = np.load(path)
    base = {name: stored[name] for name in FIELDS}
    n = base["ident"].size
    bins = stored["stock_bran"].size - 1
    if wanted < n:
        rows = np.linspace(0, n - 1, wanted).astype(np.int64)
        base = {name: column[rows] for name, column in base.items()}
        n = wanted
    times = max(1, round(wanted / n))
    # A day's eggs fit in, so that no growth of the columns is timed.
    insects = Insects(int(n * times * 1.05) + 100)
    insects.n = n * times
    for name in FIELDS:
        insects.view(name).reshape(times, n)[:] = base[name]
    # Unsigned numbers wrap around, which is as good.
    idents = insects.view("ident").reshape(times, n)
    idents += (np.arange(times, dtype=np.uint64) * _STRIDE)[:, None]
    place = insects.view("bin").reshape(times, n)
    on_tray = base["bin"] == bins
    for k in range(times):
        place[k] = np.where(on_tray, bins * times, base["bin"].astype(np.int64) + k * bins)
    substrate = Substrate(bins * times)
    for name in _STOCKS:
        getattr(substrate, name)[:-1] = np.tile(stored[f"stock_{name}"][:-1], times)
    return State(insects, substrate, bins * times)


def seconds(action, repeats: int, before=None) -> list[float]:
    """Processor time of each of some repeats; what a busy machine takes away is not in it."""
    found = []
    for _ in range(repeats):
        if before is not None:
            before()
        begin = time.process_time()
        action()
        found.append(time.process_time() - begin)
    return found


def peak_bytes() -> int:
    """Peak memory of this process."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
