"""One side of `against`: seconds of the processor per insect and day, a line for each line read.

Runs with the package and the state of the folder it is started in, an older commit's too, and so
uses only what both have.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

from colony_sim.colony.model import Colony
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from tests.benchmarks.engine_state import scaled, seconds

_DAYS, _SIZE = 1000, 100_000


def rotation() -> float:
    run = next(iter(expand(load(Path("experiments/rotation.toml")), quick=True).runs())).scenario
    air = run.climate.daily(_DAYS)
    model = Colony(run.parameters, air, run.seed, run.breeders, run.larvae)
    lived = 0
    begin = time.process_time()
    for _ in range(_DAYS):
        lived += model.alive
        model.step()
    return (time.process_time() - begin) / lived


def main(path: str) -> None:
    state = scaled(Path(path), _SIZE)
    start = state.kept()
    state.live()
    rotation()
    for _ in sys.stdin:
        taken = seconds(state.live, 10, lambda: state.restore(start))
        found = {"rotation": rotation(), "kernels": sorted(taken)[5] / start.insects.n}
        print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
