"""Cost of a sweep beside the cost of its runs.

Every figure is a ratio of two things measured in turn in the same minutes, so that what else the
machine does weighs on both. On a machine that is busy otherwise the ratios scatter; the line at
the top shows its load.
"""

from __future__ import annotations

import math
import multiprocessing
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from colony_sim import load
from colony_sim.experiment.design import latin_hypercube, parse_vary
from colony_sim.experiment.plan import Plan, expand, model_fingerprint
from colony_sim.measuring.catalogue import catalogue
from colony_sim.measuring.outcome import SteadyMeasuring
from colony_sim.running.executor import run_points
from colony_sim.running.local import LocalExecutor
from colony_sim.running.store import open_store
from colony_sim.running.task import Task, run_task
from colony_sim.studies.sweep.run import SweepPlan, run_sweep

ROOT = Path(__file__).resolve().parents[2]
RUNS = 12
"""Runs of about a second in each half of a pair; even."""


def main(repeats: int) -> None:
    """Print all three."""
    base = expand(load(ROOT / "experiments/rotation.toml"), quick=True)
    plan = replace(base, policies=base.policies[:1], baseline=base.policies[0].name, days=700)
    speed(plan, repeats)
    many_stored(base)
    memory()


def speed(plan: Plan, repeats: int) -> None:
    """Sweep with one and with two workers beside bare processes that loop over the same runs."""
    seeds = list(range(1, RUNS + 1))
    tasks = [
        Task(str(seed), scenario, SteadyMeasuring(), model_fingerprint(), SteadyMeasuring().digest)
        for seed, scenario in ((s, _scenario(plan, s)) for s in seeds)
    ]
    shares, gains, bare_gains = [], [], []
    with LocalExecutor(1) as one, LocalExecutor(2) as two:
        for executor in (one, two):  # Processes start and load their kernels.
            _sweep(plan, seeds[:4], executor)
        for _ in range(repeats):
            alone, inside = _sweep(plan, seeds, one)
            shares.append(alone / inside - 1)
            gains.append(alone / _sweep(plan, seeds, two)[0])
            bare_gains.append(_bare(tasks, 1) / _bare(tasks, 2))
            print(
                f"  {RUNS} runs, {inside / RUNS:.2f} s each: overhead {100 * shares[-1]:.1f} %; "
                f"2 workers {gains[-1]:.2f} times one; 2 bare processes {bare_gains[-1]:.2f} times",
                flush=True,
            )
    print(f"Scheduling overhead: {100 * statistics.median(shares):.1f} % of run time (below 5 %)")
    ratio = statistics.median(gains) / statistics.median(bare_gains)
    print(
        f"2 workers: {statistics.median(gains):.2f} times one (at least 1.8 on two free cores), "
        f"{100 * ratio:.0f} % of what two bare processes gain here"
    )


def _sweep(plan: Plan, seeds: list[int], executor: LocalExecutor) -> tuple[float, float]:
    """Wall seconds of a sweep into an empty store, and seconds inside its runs."""
    with tempfile.TemporaryDirectory() as name, open_store(Path(name)) as store:
        begin = time.perf_counter()
        for _ in run_points(plan, [{}], store, seeds=seeds, executor=executor):
            pass
        wall = time.perf_counter() - begin
        return wall, store.cost().seconds * len(seeds)


def _scenario(plan: Plan, seed: int):
    return next(replace(plan, seeds=(seed,)).runs()).scenario


def _bare(tasks: list[Task], processes: int) -> float:
    """Wall seconds of processes that loop over their share of the runs, once they are ready."""
    context = multiprocessing.get_context("spawn")
    ready = context.Barrier(processes + 1)
    started = [
        context.Process(target=_loop, args=(tasks[i::processes], ready)) for i in range(processes)
    ]
    for process in started:
        process.start()
    ready.wait()
    begin = time.perf_counter()
    for process in started:
        process.join()
    return time.perf_counter() - begin


def _loop(tasks: list[Task], ready) -> None:
    from colony_sim.running.runner import get_ready

    get_ready()
    ready.wait()
    for task in tasks:
        run_task(task)


def many_stored(plan: Plan) -> None:
    """A sweep of 10 000 finished runs, opened and summarised, beside one of 1 000."""
    seconds = {}
    for size in (1_000, 10_000):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            sweep = _stored(plan, folder, size)
            begin = time.perf_counter()
            result = run_sweep(sweep, folder, workers=1)
            seconds[size] = time.perf_counter() - begin
            assert result.n_reused == result.n_runs == size
    print(
        f"Stored runs opened and summarised: 10 000 in {seconds[10_000]:.1f} s, "
        f"1 000 in {seconds[1_000]:.1f} s (within seconds)"
    )


def _stored(plan: Plan, folder: Path, size: int) -> SweepPlan:
    """A sweep of two policies with five seeds, all of its runs made up and stored."""
    factors = (parse_vary("harvest.fraction=0.2:0.8"), parse_vary("predation.adult_egg"))
    points = latin_hypercube(factors, size // (2 * 5))
    plan = replace(plan, seeds=plan.seeds[:5], name="stored-sweep")
    sweep = SweepPlan(plan, factors, "lhs", 1, points, None, ())
    rng = np.random.default_rng(1)
    with open_store(folder) as store:
        connection = store._connection
        connection.execute("PRAGMA synchronous = OFF")
        for run in sweep.runs(SteadyMeasuring()):
            settled = rng.random() < 0.9
            values = {k: rng.normal(50, 5) if settled else math.nan for k in catalogue()}
            status = "settled" if settled else "unsettled"
            facts = {"status": status, "died_out_day": None, "warm_up_days": 300, "days_used": 400}
            store.save(run.key, {**facts, "note": "Made up.", **values}, 1.0, 200.0)
    return sweep


def memory() -> None:
    """Peak memory of the driver: 10 000 stored runs beside 2 000, in processes of their own."""
    peaks = []
    for size in (2_000, 10_000):
        code = f"from tests.benchmarks.sweep import peak_of; print(peak_of({size}))"
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
        )
        peaks.append(float(done.stdout))
    few, many = peaks
    print(f"Peak memory of the driver: {many:.0f} MB with 10 000 runs, {few:.0f} MB with 2 000")


def peak_of(size: int) -> float:
    """Peak memory (MB) of this process once it has summarised `size` stored runs."""
    plan = expand(load(ROOT / "experiments/rotation.toml"), quick=True)
    with tempfile.TemporaryDirectory() as name:
        run_sweep(_stored(plan, Path(name), size), Path(name), workers=1)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
