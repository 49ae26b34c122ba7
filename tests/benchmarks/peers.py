"""The same simple colony in other individual-based frameworks and here, in one run.

``python -m tests.benchmarks peers [--peers PYTHON] [--quick] [--out DIR]``. Birth, ageing, death
and eggs eaten by adults in proportion to their density, no bins: the rules are those of
`colonies.here`, an invented insect that this engine lives with all its other processes at rest.
The peers are no dependencies: ``--peers`` names the Python that has them. Every colony of a size
starts from the same insects; first it is tested that all come to the same numbers, then processor
times and memory are taken by turns, each framework in a process of its own on one thread.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .colonies import here
from .peers_report import Found, write

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "results" / "benchmarks" / "peers"
_FOLDER = Path(__file__).with_name("colonies")
_SETTLED = 20_000
#: Insects of the test of equality, its days and seeds.
CHECK_SIZE, CHECK_DAYS, SEEDS = 1_000, 60, 40
SEEDS_QUICK = 8
#: Days timed, by insects.
DAYS = {1_000: 60, 10_000: 20, 100_000: 8, 1_000_000: 4}
DAYS_QUICK = {1_000: 20, 10_000: 10}
#: Hazard of eggs beside that of the others, to show that the test finds what differs.
WRONG = 1.2


@dataclass(frozen=True)
class Peer:
    """A framework: the module of its colony, its package, and the most insects it is asked for."""

    label: str
    module: str
    package: str
    most: int


PEERS = (
    Peer("Mesa, an object an insect", "plain_mesa", "mesa", 100_000),
    Peer("AMBER, a data frame", "ambr_frames", "ambr", 1_000_000),
    Peer("Starsim, arrays", "starsim_arrays", "starsim", 1_000_000),
)
HERE = Peer("this engine", "here", "colony_sim", 1_000_000)
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS", "POLARS_MAX_THREADS")


def main(quick: bool = False, out: Path | None = None, python: str | None = None) -> None:
    """Measure, write table and figure, print the table."""
    python = python or sys.executable
    there = []
    for peer in PEERS:
        version = _version(peer, python)
        if version is None:
            print(f"{peer.package} is missing; add it with: {python} -m pip install {peer.package}")
        else:
            there.append((peer, version))
    found = Found([(HERE, "this one"), *there], CHECK_DAYS, WRONG)
    found.load.append(os.getloadavg()[0])
    with tempfile.TemporaryDirectory() as name:
        # Anew for the memory, as some frameworks keep what has been.
        with _colonies(found, python) as colonies:
            _check(found, Path(name), colonies, SEEDS_QUICK if quick else SEEDS)
        with _colonies(found, python) as colonies:
            _speed(found, Path(name), colonies, DAYS_QUICK if quick else DAYS)
    found.load.append(os.getloadavg()[0])
    for line in write(found, out or OUT):
        print(line)
    print(f"Tables and figure: {out or OUT}")


def _version(peer: Peer, python: str) -> str | None:
    code = f"from importlib.metadata import version as v; print(v({peer.package!r}))"
    done = subprocess.run([python, "-c", code], capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else None


def _state(folder: Path, size: int) -> tuple[Path, dict[str, float]]:
    """So many insects of a settled colony, in which each stands for as many as there are."""
    settled = folder / f"settled-{min(size, _SETTLED)}.npz"
    if not settled.exists():
        here.settled(min(size, _SETTLED), str(settled))
    path = folder / f"{size}.npz"
    rows = np.random.default_rng(1).permutation(size)
    with np.load(settled) as columns:
        np.savez(path, **{name: np.resize(columns[name], size)[rows] for name in columns.files})
    return path, here.rules(size)


class _Process:
    """Lives colonies of one framework."""

    def __init__(self, peer: Peer, python: str) -> None:
        env = {**os.environ, **dict.fromkeys(_ONE_THREAD, "1")}
        if peer is HERE:
            python, env["PYTHONPATH"] = sys.executable, str(ROOT)
        else:
            env.pop("PYTHONPATH", None)
        self._peer = peer
        self._process = subprocess.Popen(
            [python, str(_FOLDER / "part.py"), peer.module],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env,
        )  # fmt: skip

    def ask(self, **job: object):
        """What comes of a job."""
        print(json.dumps(job, default=str), file=self._process.stdin, flush=True)
        while line := self._process.stdout.readline():
            if line[0] in "[{":  # Some frameworks greet.
                return json.loads(line)
        raise RuntimeError(f"{self._peer.label} ended with {self._process.wait()}")

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.communicate()


@contextmanager
def _colonies(found: Found, python: str) -> Iterator[dict[str, _Process]]:
    """A process for each framework."""
    with ExitStack() as stack:
        started = {}
        for peer, _ in found.peers:
            started[peer.module] = _Process(peer, python)
            stack.callback(started[peer.module].close)
        yield started


def _check(found: Found, folder: Path, colonies: dict[str, _Process], seeds: int) -> None:
    path, rules = _state(folder, CHECK_SIZE)
    job = {"what": "ends", "state": path, "days": CHECK_DAYS}
    for number, (module, colony) in enumerate(colonies.items()):
        own = list(range(1000 * number + 1, 1000 * number + 1 + seeds))
        found.ends[module] = colony.ask(rules=rules, seeds=own, **job)
        print(f"  numbers of {module}", flush=True)
    wrong = {**rules, "eaten_times": WRONG}
    own = list(range(9001, 9001 + seeds))
    found.wrong = colonies[HERE.module].ask(rules=wrong, seeds=own, **job)


def _speed(found: Found, folder: Path, colonies: dict[str, _Process], sizes: dict) -> None:
    """By turns, the second round in the other order; small colonies first, for the memory."""
    for size, days in sizes.items():
        path, rules = _state(folder, size)
        job = {"what": "speed", "state": path, "rules": rules, "seed": 5, "warm": 2, "days": days}
        asked = [peer.module for peer, _ in found.peers if size <= peer.most]
        for module in (*asked, *asked[::-1]):
            found.speeds.setdefault((module, size), []).append(colonies[module].ask(**job))
        print(f"  {size:,} insects", flush=True)
