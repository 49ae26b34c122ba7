"""A sweep on a Dask cluster: a real scheduler and real workers on the loopback device."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from commandline import EXPERIMENT, cli, environment, start, told, tree, wait_for
from inline import Inline

from colony_sim.errors import InputError
from colony_sim.running.cluster import ClusterExecutor
from colony_sim.running.jobs import run_jobs
from colony_sim.running.protocol import TaskResult
from colony_sim.running.store import open_store, read_store

WORDS = ("--vary", "harvest.fraction=0.5,0.6,0.7", "--replicates", 3, "--one-world")
RUNS = 3 * 2 * 3
PATIENT = 240
"""Seconds to wait for processes on a machine that is busy."""
QUIET = ("--no-dashboard", "--host", "127.0.0.1")


@contextmanager
def dask(*words, cwd, env, says):
    """A process of Dask; gives itself and the address it announces."""
    log = cwd / f"{words[0]}-{len(list(cwd.glob('*.dask')))}.dask"
    with open(log, "w") as handle:
        process = subprocess.Popen(
            [sys.executable, "-m", "dask", *words, *QUIET],
            cwd=cwd, env=env, stdout=handle, stderr=handle, start_new_session=True,
        )  # fmt: skip
    try:
        wait_for(lambda: re.search(says, log.read_text()) or process.poll() is not None, PATIENT)
        yield process, re.search(says, log.read_text()).group(1)
    finally:
        process.kill()
        process.wait()


@contextmanager
def cluster(cwd, faults, workers=2):
    """A scheduler and its workers; gives its address, and the processes of workers and of it.

    Worker k writes its runs to ``worker-k.log``.
    """
    env = environment(faults)
    with ExitStack() as stack:
        scheduler, address = stack.enter_context(
            dask("scheduler", "--port", "0", cwd=cwd, env=env, says=r"Scheduler at: +(tcp://\S+)")
        )
        alone = ("--nthreads", "1", "--no-nanny")
        started = [
            stack.enter_context(
                dask("worker", address, *alone, cwd=cwd, says=r"Registered to: +(\S+)",
                     env=environment(faults, log=cwd / f"worker-{k}.log"))
            )[0]
            for k in range(workers)
        ]  # fmt: skip
        yield address, [*started, scheduler]


def stopped_in_mid_task(worker, log) -> None:
    """Let a worker stand still when its logs say that it has begun a run and not ended it."""

    def lines(path) -> int:
        return len(path.read_text().splitlines()) if path.exists() else 0

    def found() -> bool:
        worker.send_signal(signal.SIGSTOP)
        wait_for(lambda: "State:\tT" in Path(f"/proc/{worker.pid}/status").read_text())
        if lines(log) == lines(log.with_name(f"{log.name}.ended")) + 1:
            return True
        worker.send_signal(signal.SIGCONT)
        return False

    wait_for(found, PATIENT)


def tables(folder) -> dict[str, bytes]:
    return {
        name: data
        for name, data in tree(folder).items()
        if name not in ("manifest.json", ".lock", "runs.sqlite")
    }


@pytest.fixture
def place(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return tmp_path


def finished(folder) -> int:
    with read_store(folder) as store:
        return store.cost().runs if store is not None and store.cost() else 0


def test_a_worker_killed_in_mid_task_changes_no_byte(place):
    on_cluster, here = place / "cluster", place / "here"
    with cluster(place, "slow=0.0007") as (address, workers):
        options = ("--cluster", address, "--out", on_cluster)
        process = start("sweep", "demo.toml", *WORDS, *options, cwd=place)
        # The tables come last, so as long as they are missing, runs are under way.
        wait_for(
            lambda: (on_cluster / "runs.sqlite").exists() and finished(on_cluster) >= 4, PATIENT
        )
        stopped_in_mid_task(workers[0], place / "worker-0.log")
        workers[0].send_signal(signal.SIGKILL)
        left = RUNS - finished(on_cluster)
        out, err = process.communicate(timeout=PATIENT)
    assert left > 4
    assert process.returncode == 0, err
    assert [line for line in told(err) if not line.startswith("demo-sweep: ")] == []
    code, _, err = cli("sweep", "demo.toml", *WORDS, "--out", here, cwd=place)
    assert code == 0, err
    runs = pd.read_parquet(on_cluster / "sweep.parquet")
    assert len(runs) == RUNS and (runs["status"] == "settled").all()
    assert not runs.duplicated(["point", "policy", "replicate"]).any()
    first, second = tables(on_cluster), tables(here)
    assert len(first) == 14 and first.keys() == second.keys()
    assert [name for name in first if first[name] != second[name]] == []


def test_a_scheduler_that_is_gone_in_mid_task_ends_the_sweep_and_keeps_what_was_finished(place):
    folder = place / "results/demo-sweep"
    with cluster(place, "slow=0.0007", workers=1) as (address, (worker, scheduler)):
        process = start("sweep", "demo.toml", *WORDS, "--cluster", address, cwd=place)
        wait_for(lambda: (folder / "runs.sqlite").exists() and finished(folder) >= 2, PATIENT)
        stopped_in_mid_task(worker, place / "worker-0.log")
        scheduler.kill()
        worker.send_signal(signal.SIGCONT)
        _, err = process.communicate(timeout=PATIENT)
    assert process.returncode == 1
    (line,) = [line for line in told(err) if not line.startswith("demo-sweep: ")]
    assert "is lost" in line and "finished runs are kept in results/demo-sweep" in line
    assert 2 <= finished(folder) < RUNS and not (folder / "sweep.parquet").exists()


def test_a_missing_package_is_told_with_the_command_that_adds_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError) as error:
        ClusterExecutor("tcp://127.0.0.1:8786")
    assert "pip install 'colony-sim[cluster]'" in error.value.line
    assert "\n" not in error.value.line


def test_no_scheduler_and_workers_with_another_model_are_refused(place, monkeypatch):
    monkeypatch.setattr("colony_sim.running.cluster.CONNECT_SECONDS", 2)
    with cluster(place, "", workers=1) as (address, workers):
        monkeypatch.setattr("colony_sim.running.cluster.model_fingerprint", lambda: "edited")
        with pytest.raises(InputError, match="workers with this very model"):
            ClusterExecutor(address)
        os.kill(workers[0].pid, signal.SIGKILL)
        workers[0].wait()
        with pytest.raises(InputError, match="at least one worker"):
            ClusterExecutor(address)
    with pytest.raises(InputError, match="the address of a Dask scheduler that answers"):
        ClusterExecutor(address)


def test_progress_is_told_while_a_cluster_has_no_worker():
    lonely = Inline(lambda job: TaskResult({}, None, 0.5, None))
    lonely.at_once = 0
    jobs, said = [SimpleNamespace(key=str(k)) for k in range(3)], []
    with open_store(None) as store:
        assert len(list(run_jobs(jobs, 3, store, lonely, said.append))) == 3
    assert said[-1].done == 3 and said[-1].seconds_left == 0
