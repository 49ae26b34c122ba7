"""Measurements that each run in a process of their own: ``python -m ...engine_parts WHAT ...``.

Each prints one line of JSON.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

#: Kernels in the order of a day.
PARTS = (
    "plan_growth",
    "live_adults",
    "live_pupae",
    "live_larvae",
    "live_eggs",
    "lay_eggs",
    "_warm",
    "_limits",
    "_shortage",
    "_laying",
    "_hazards",
    "_stocks",
)


def ladder(path: str, wanted: str, repeats: str, rungs: str) -> dict:
    """The same day by kernels, numpy and twin, and a copy of the state; processor seconds."""
    from colony_sim.population import kernels
    from colony_sim.population.insects import FIELDS

    from . import numpy_step
    from .engine_state import scaled, seconds

    state = scaled(Path(path), int(wanted))
    start = state.kept()
    state.live()

    def again():
        state.restore(start)

    times = int(repeats)
    found = {"insects": state.count, "bins": state.bins}
    found["engine"] = seconds(lambda: state.live(kernels.step), times, again)
    found["census"] = seconds(state.census, times, again)
    to = {name: np.empty_like(start.insects.view(name)) for name in FIELDS}

    def copy():
        for name in FIELDS:
            np.copyto(to[name], start.insects.view(name))

    found["copy"] = seconds(copy, times)
    again()
    events, flows = state.live(kernels.step)
    table = state.census()
    if "numpy" in rungs:
        found["numpy"] = seconds(lambda: state.live(numpy_step.step), max(2, times // 4), again)
        again()
        other, other_flows = state.live(numpy_step.step)
        found["numpy_differs"] = int(
            np.count_nonzero(other != events)
            + np.count_nonzero(other_flows != flows)
            + np.count_nonzero(table != state.census())
        )
    if "twin" in rungs:
        from .engine_twin import differences, twin_of

        found["twin"] = []
        for _ in range(max(1, times // 12)):
            again()
            twin = twin_of(state)
            found["twin"] += seconds(twin.step, 1)
        found["twin_differs"] = differences(twin, state, *state.live(kernels.step))
    return found


def kernels_apart(path: str, wanted: str, repeats: str) -> dict:
    """Processor seconds of each kernel within a day."""
    from colony_sim.population import kernels

    from .engine_state import scaled, seconds

    state = scaled(Path(path), int(wanted))
    start = state.kept()
    taken: dict[str, list[float]] = {}

    def watched(name, kernel):
        def call(*arguments):
            begin = time.process_time()
            result = kernel(*arguments)
            taken.setdefault(name, []).append(time.process_time() - begin)
            return result

        return call

    state.live()
    for name in PARTS:
        setattr(kernels, name, watched(name, getattr(kernels, name)))
    # The same calls, from Python, so that they can be watched.
    for name in ("_day", "_morning", "_plan", "_noon", "_live", "_evening"):
        setattr(kernels, name, getattr(kernels, name).py_func)
    state.restore(start)
    state.live()
    taken.clear()
    seconds(state.live, int(repeats), lambda: state.restore(start))
    found = {"insects": state.count, "parts": taken}
    state.restore(start)
    found["parts"]["census"] = seconds(state.census, int(repeats))
    counts = state.census()[:, :4].sum(axis=0)
    events, _ = state.live()
    found["stages"] = dict(zip(("eggs", "larvae", "pupae", "adults"), counts.tolist(), strict=True))
    found["laid"] = int(events[:, 0].sum())
    return found


def memory(path: str, wanted: str, days: str) -> dict:
    """Consecutive days without a second copy of the state; peak memory of the process."""
    from colony_sim.population.insects import FIELDS

    from .engine_state import DAY, peak_bytes, scaled

    small = scaled(Path(path), 1000)
    small.live()
    idle = peak_bytes()
    state = scaled(Path(path), int(wanted))
    insects = state.insects
    held = sum(getattr(insects, name).nbytes for name in FIELDS) / insects.capacity
    taken = []
    for day in range(int(days)):
        begin = time.process_time()
        state.live(day=DAY + 1 + day)
        taken.append(time.process_time() - begin)
        if np.count_nonzero(insects.view("stage") == 0) > 0.1 * insects.n:  # As the model does.
            insects.compact()
    return {
        "insects": state.count, "bins": state.bins, "engine": taken, "idle": idle,
        "peak": peak_bytes(), "state": held,
    }  # fmt: skip


def threads(path: str, wanted: str, repeats: str) -> dict:
    """Seconds of the clock of a day and of a copy of the state, by one thread and by two."""
    from concurrent.futures import ThreadPoolExecutor

    from colony_sim.population.insects import FIELDS

    from .engine_state import scaled

    state = scaled(Path(path), int(wanted))
    kept = state.kept()
    found = {"insects": state.count, "day": {1: [], 2: []}, "copy": {1: [], 2: []}}
    state.live(threads=2)

    def copy(part: slice) -> None:
        for name in FIELDS:
            np.copyto(state.insects.view(name)[part], kept.insects.view(name)[part])

    with ThreadPoolExecutor(2) as pool:
        for _ in range(int(repeats)):
            for count in (1, 2):
                state.restore(kept)
                begin = time.perf_counter()
                state.live(threads=count)
                found["day"][count].append(time.perf_counter() - begin)
                ends = np.linspace(0, kept.insects.n, count + 1).astype(int)
                state.insects.n = kept.insects.n
                begin = time.perf_counter()
                list(pool.map(copy, map(slice, ends[:-1], ends[1:])))
                found["copy"][count].append(time.perf_counter() - begin)
    return found


def bins(days: str, *counts: str) -> dict:
    """Processor seconds of a whole day of the model with few insects in racks of many sizes."""
    from colony_sim.biology.parameters import Parameters
    from colony_sim.colony.model import Colony

    found = {}
    for count in counts:
        p = Parameters.default().with_values({"rack.bins": int(count)}, "benchmark")
        model = Colony(p, np.full(int(days) + 20, 25.0), 1, 20, 200)
        for bin_ in model.bins[1:]:  # Bins at work cost the keeper most.
            if bin_.phase.value == "free":
                bin_.phase = type(bin_.phase).GROWING
                bin_.date_in = bin_.date_out = 0
        for _ in range(20):
            model.step()
        taken = []
        for _ in range(int(days)):
            begin = time.process_time()
            model.step()
            taken.append(time.process_time() - begin)
        found[count] = taken
    return found


def lines(path: str, wanted: str) -> dict:
    """Lines of Python that a day executes: equal at any size if no loop is left in Python."""
    from .engine_state import scaled

    state = scaled(Path(path), int(wanted))
    kept = state.kept()
    state.live()
    state.restore(kept)
    count = 0

    def trace(frame, event, argument):
        nonlocal count
        count += event == "line"
        return trace

    sys.settrace(trace)
    try:
        state.live()
    finally:
        sys.settrace(None)
    return {"insects": state.count, "lines": count}


def start(*_) -> dict:
    """Import and first day of this process; compiles where the cache is empty."""
    begin = time.perf_counter()
    from colony_sim.biology.parameters import Parameters
    from colony_sim.colony.model import Colony

    imported = time.perf_counter()
    Colony(Parameters.default(), np.full(3, 25.0), 1, 50, 200).step()
    return {"import": imported - begin, "first_day": time.perf_counter() - imported}


def loop(path: str, wanted: str, repeats: str, at: str) -> dict:
    """Days until the repeats are over, beginning at a time of the clock; wall seconds."""
    from .engine_state import scaled

    state = scaled(Path(path), int(wanted))
    kept = state.kept()
    state.live()
    late = time.time() > float(at)
    time.sleep(max(0.0, float(at) - time.time()))
    begin = time.perf_counter()
    for _ in range(int(repeats)):
        state.restore(kept)
        state.live()
    return {"insects": state.count, "wall": time.perf_counter() - begin, "late": late}


if __name__ == "__main__":
    known = {
        f.__name__: f for f in (ladder, kernels_apart, memory, threads, bins, lines, start, loop)
    }
    print(json.dumps(known[sys.argv[1]](*sys.argv[2:])))
