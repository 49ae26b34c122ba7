"""Speed of the engine beside numpy, the slow twin and a copy of memory; one run, one machine.

``python -m tests.benchmarks engine [--quick] [--out DIR]``. Every rung lives the same day of
the same insects with the same seed, and its result is compared with the engine's. Times are
processor times (another process on the core is not counted, though it may chill the caches),
except for start-up, compilation and two workers, which are times of the clock.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from .engine_report import Found, write

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "results" / "benchmarks" / "engine"


def main(quick: bool = False, out: Path | None = None) -> None:
    """Measure, write table and figure, print the aims."""
    out = out or OUT
    found = Found(quick=quick)
    found.load.append(os.getloadavg())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        state = folder / "settled.npz"
        _python(
            "from tests.benchmarks.engine_state import *; import sys; settle(Path(sys.argv[1]))",
            state,
        )
        for measure in (_ladder, _kernels, _memory, _threads, _bins, _lines, _start, _workers):
            begin = time.perf_counter()
            measure(found, state, quick)
            print(f"  {measure.__name__[1:]}: {time.perf_counter() - begin:.0f} s", flush=True)
    found.load.append(os.getloadavg())
    for line in write(found, out):
        print(line)
    print(f"Table and figure: {out}")


def _python(code: str, *arguments, env: dict | None = None) -> str:
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True, text=True, check=True, cwd=ROOT, env=env,
    ).stdout  # fmt: skip


def _part(*arguments, env: dict | None = None) -> dict:
    return json.loads(_command(arguments, env).communicate()[0])


def _command(arguments, env: dict | None = None) -> subprocess.Popen:
    command = [sys.executable, "-m", "tests.benchmarks.engine_parts", *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=env)


def _ladder(found: Found, state: Path, quick: bool) -> None:
    sizes = {1_000: 60, 10_000: 40, 100_000: 20, 1_000_000: 6}
    if not quick:
        sizes = {1_000: 200, 3_000: 200, 10_000: 100, 30_000: 60, 100_000: 40, 300_000: 20,
                 1_000_000: 12, 3_000_000: 6}  # fmt: skip
    for size, repeats in sizes.items():
        rungs = "numpy" if size <= 1_000_000 else ""
        rungs += ",twin" if size <= 100_000 else ""
        found.ladder.append(_part("ladder", state, size, repeats, rungs or "none"))


def _kernels(found: Found, state: Path, quick: bool) -> None:
    found.kernels = _part("kernels_apart", state, 100_000, 10 if quick else 40)


def _memory(found: Found, state: Path, quick: bool) -> None:
    for size in (100_000, 1_000_000) if quick else (100_000, 1_000_000, 10_000_000):
        found.memory.append(_part("memory", state, size, 4))


def _threads(found: Found, state: Path, quick: bool) -> None:
    found.threads = _part("threads", state, *((1_000_000, 5) if quick else (10_000_000, 5)))


def _bins(found: Found, state: Path, quick: bool) -> None:
    counts = (2, 100, 200) if quick else (2, 25, 50, 100, 150, 200)
    found.bins = _part("bins", 20 if quick else 80, *counts)


def _lines(found: Found, state: Path, quick: bool) -> None:
    found.lines = [_part("lines", state, size) for size in (10_000, 200_000)]


def _start(found: Found, state: Path, quick: bool) -> None:
    script = shutil.which("colony-sim", path=str(Path(sys.executable).parent))
    code = "from colony_sim.commands.main import run; run()"
    help_ = [script] if script else [sys.executable, "-c", code]
    for _ in range(5 if quick else 15):
        found.help.append(_clock([*help_, "--help"]))
        found.bare.append(_clock([sys.executable, "-c", "pass"]))
        found.imports.append(_clock([sys.executable, "-c", "import colony_sim"]))
    with tempfile.TemporaryDirectory() as name:
        env = {**os.environ, "NUMBA_CACHE_DIR": name}
        if quick:  # Compiling takes most of a minute: only from the cache at hand.
            env = None
        else:
            found.cold = _part("start", env=env)
        found.warm = [_part("start", env=env) for _ in range(3 if quick else 7)]


def _clock(command: list[str]) -> float:
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
    return time.perf_counter() - begin


def _workers(found: Found, state: Path, quick: bool) -> None:
    """The same days by one process alone, then by two at once."""
    for _ in range(1 if quick else 5):
        for workers in (1, 2):
            at = time.time() + (4.0 if quick else 8.0)
            started = [
                _command(("loop", state, 100_000, 100 if quick else 300, at))
                for _ in range(workers)
            ]
            done = [json.loads(process.communicate()[0]) for process in started]
            days = done[0]["insects"] * (100 if quick else 300)
            rate = sum(days / one["wall"] for one in done)
            found.workers.setdefault(workers, []).append(rate)
