"""Many short runs on a Dask cluster of this machine, behind a network that takes its time.

``python -m tests.benchmarks scale [--runs N] [--out DIR]``. A scheduler, two workers and the one
who asks (`scale_part.drive`, who holds the store) speak through `delay`, 5 ms each way. When a
third of the runs is stored the scheduler is killed, when two thirds are the one who asks, and each
time the same is asked again. What is stored at the end is compared with runs made here. These runs
wait 10 ms, so that what is measured is what a run costs beside itself; a hundredth as many are
lived, a few days each. Processor times are those of the processes, so that they hold on a busy
machine; times of the clock do not.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from itertools import islice
from pathlib import Path

from colony_sim import load
from colony_sim.experiment.plan import expand, model_fingerprint
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.running.executor import outcome_key
from colony_sim.running.runner import get_ready
from colony_sim.running.store import NAME, look_into
from colony_sim.running.task import Task, run_task

from .scale_part import processor, rss, tasks
from .scale_report import Found, Phase, write

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "results" / "benchmarks" / "scale"
DELAY_MS = 5
WORKERS = 2
FULL_RUNS = 2
"""Full runs timed for what a million would take."""
CHECKED = 100
"""Stored outcomes that are lived again here."""
_HOST = "127.0.0.1"
_DRIVE = "import sys; from tests.benchmarks.scale_part import drive; drive(*sys.argv[1:])"


def main(runs: int = 1_000, out: Path | None = None) -> None:
    """Measure, write tables and figure, print the tables."""
    found = Found(runs, WORKERS, DELAY_MS)
    found.load.append(os.getloadavg()[0])
    size = _full_runs(found)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with _Cluster(folder) as cluster:
            found.phases.append(_drive(folder, cluster, runs, size, runs // 3, "the scheduler"))
        with _Cluster(folder) as cluster:
            found.phases.append(
                _drive(folder, cluster, runs, size, 2 * runs // 3, "the one who asks")
            )
            found.phases.append(_drive(folder, cluster, runs, size, None, "nobody"))
            found.store_bytes = (folder / NAME).stat().st_size
            _check(found, folder, runs, size)
            lived = folder / "lived"
            lived.mkdir()
            found.lived_runs = max(20, runs // 100)
            found.lived = _drive(lived, cluster, found.lived_runs, 0, None, "nobody")
            _check(found, lived, found.lived_runs, 0)
    found.load.append(os.getloadavg()[0])
    for line in write(found, out or OUT):
        print(line)
    print(f"Tables and figure: {out or OUT}")


def _full_runs(found: Found) -> int:
    """Runs of the rotation scenario as they are compared; the bytes of an outcome."""
    plan = expand(load(ROOT / "experiments/rotation.toml"))
    measuring = SteadyMeasuring()
    get_ready()
    for run in islice(plan.runs(), FULL_RUNS):
        key = outcome_key(run.scenario, measuring)
        task = Task(key, run.scenario, measuring, model_fingerprint(), measuring.digest)
        begin = time.process_time()
        done = run_task(task)
        found.full_seconds.append(time.process_time() - begin)
    found.full_peak_mb = done.peak_mb
    return len(json.dumps(done.outcome))


def _ports(count: int) -> list[int]:
    """Ports that are free now."""
    with ExitStack() as stack:
        sockets = [stack.enter_context(socket.socket()) for _ in range(count)]
        for each in sockets:
            each.bind((_HOST, 0))
        return [each.getsockname()[1] for each in sockets]


class _Cluster:
    """A scheduler and its workers, each behind a delay."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._started = folder, []

    def __enter__(self) -> _Cluster:
        scheduler, near, *ports = _ports(2 + 2 * WORKERS)
        own, contact = ports[::2], ports[1::2]
        pairs = [f"{a}:{b}" for a, b in zip((near, *contact), (scheduler, *own), strict=True)]
        self.delay = self._start("tests.benchmarks.delay", DELAY_MS, *pairs)
        self.scheduler = self._dask(
            "Scheduler at:", "scheduler", "--port", scheduler, "--host", _HOST
        )
        self.address = f"tcp://{_HOST}:{near}"
        self.workers = [
            self._dask(
                "Registered to:", "worker", self.address, "--nthreads", 1, "--no-nanny",
                "--listen-address", f"tcp://{_HOST}:{a}",
                "--contact-address", f"tcp://{_HOST}:{b}",
            )
            for a, b in zip(own, contact, strict=True)
        ]  # fmt: skip
        return self

    def __exit__(self, *_: object) -> None:
        for process in self._started:
            process.kill()
            process.wait()

    def _dask(self, says: str, *words: object) -> subprocess.Popen[bytes]:
        log = self._folder / f"{len(self._started)}.log"
        process = self._start("dask", *words, "--no-dashboard", log=log)
        end = time.monotonic() + 300
        while not re.search(says, log.read_text()):
            if process.poll() is not None or time.monotonic() > end:
                self.__exit__()
                raise RuntimeError(log.read_text())
            time.sleep(0.1)
        return process

    def _start(self, *words: object, log: Path | None = None) -> subprocess.Popen[bytes]:
        with open(log or os.devnull, "w") as handle:
            process = subprocess.Popen(
                [sys.executable, "-m", *map(str, words)], cwd=ROOT, stdout=handle, stderr=handle
            )
        self._started.append(process)
        return process


def _drive(
    folder: Path, cluster: _Cluster, runs: int, size: int, until: int | None, lost: str
) -> Phase:
    """Ask for all runs; once `until` are stored, kill the scheduler or the one who asks."""
    begin = time.time()
    driver = subprocess.Popen(
        [sys.executable, "-c", _DRIVE, folder, cluster.address, str(runs), str(size)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    before = processor(cluster.scheduler.pid), processor(cluster.delay.pid)
    phase = Phase(lost, begin)
    killed = False
    for text in driver.stdout:
        line = json.loads(text)
        if not killed:
            line["scheduler_rss"] = rss(cluster.scheduler.pid)
            line["scheduler"] = processor(cluster.scheduler.pid) - before[0]
            line["delay"] = processor(cluster.delay.pid) - before[1]
        phase.lines.append(line)
        if until is not None and not killed and line["reused"] + line["ended"] >= until:
            killed = True
            (cluster.scheduler if lost == "the scheduler" else driver).send_signal(signal.SIGKILL)
            phase.killed = time.time()
    phase.ended = time.time()
    phase.said = driver.stderr.read().strip().splitlines()[-1:]
    phase.exit_code = driver.wait()
    connection = sqlite3.connect(f"{(folder / NAME).as_uri()}?mode=ro", uri=True)
    (phase.stored,) = connection.execute("SELECT COUNT(*) FROM runs").fetchone()
    connection.close()
    return phase


def _check(found: Found, folder: Path, runs: int, size: int) -> None:
    """Whether every run is there once, whole, and some as they come out here."""
    with look_into(folder) as store:
        rows, damaged = store.damaged()
        found.stored += rows
        found.damaged += len(damaged)
        step = max(1, runs // CHECKED)
        for number, task in enumerate(tasks(runs, size)):
            if number % step:
                found.missing += not store.has(task.key)
                continue
            found.checked += 1
            found.differ += store.get(task.key) != run_task(task).outcome
