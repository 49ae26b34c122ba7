"""Runs in worker processes: stored at once, never lost, never done twice."""

from __future__ import annotations

import os
import shutil
import signal
import time

import pytest
from commandline import EXPERIMENT, cli, start, stored_runs, told, tree, wait_for

# Few days: enough for the mechanics, and every run is quick.
SHORT = EXPERIMENT.replace("days = 700", "days = 60")
SEEDS = [16823399, 2940995229, 2290007392, 1039507385]


@pytest.fixture
def place(tmp_path):
    (tmp_path / "demo.toml").write_text(SHORT)
    return tmp_path


@pytest.fixture(scope="module")
def two_replicates(tmp_path_factory):
    """Results folder of a comparison with two of the four replicates, and the log of its runs."""
    place = tmp_path_factory.mktemp("two")
    (place / "demo.toml").write_text(SHORT)
    log = place / "log"
    words = ("compare", "demo.toml", "--replicates", 2, "--workers", 1)
    assert cli(*words, cwd=place, log=log)[::2] == (0, [])
    return place / "results/demo", logged(log)


@pytest.fixture
def begun(place, two_replicates):
    """As `place`, with a copy of that results folder."""
    shutil.copytree(two_replicates[0], place / "results/demo")
    return place


def logged(path) -> list[str]:
    """Interval and seed of every run begun, those that were lived on counted once."""
    runs = [line.split() for line in path.read_text().splitlines()] if path.exists() else []
    asked = min((int(days) for *_, days in runs), default=0)
    return [f"{interval} {seed}" for interval, seed, days in runs if int(days) == asked]


def alive_in_group(group: int) -> list[int]:
    found = []
    for entry in os.listdir("/proc"):
        if entry.isdigit():
            try:
                with open(f"/proc/{entry}/stat") as handle:
                    fields = handle.read().rsplit(")", 1)[1].split()
            except OSError:
                continue
            if int(fields[2]) == group and fields[0] != "Z":
                found.append(int(entry))
    return found


def tables(folder) -> dict[str, bytes]:
    """Files of a results folder but for its store of runs."""
    return {name: data for name, data in tree(folder).items() if not name.startswith("runs.sqlite")}


def test_the_number_of_workers_changes_no_byte(place, two_replicates):
    code, _, err = cli("compare", "demo.toml", "--replicates", 2, "--workers", 3, cwd=place)
    assert (code, err) == (0, [])
    one, three = tables(two_replicates[0]), tables(place / "results/demo")
    one.pop("manifest.json"), three.pop("manifest.json")
    assert one.keys() == three.keys()
    assert [name for name in one if one[name] != three[name]] == []
    # The stored runs are the same as well, in whatever order they came in.
    one, three = stored_runs(two_replicates[0]), stored_runs(place / "results/demo")
    assert len(one) == 4
    assert {k: checksum for k, (checksum, _) in one.items()} == {
        k: checksum for k, (checksum, _) in three.items()
    }


def test_finished_runs_are_reused_and_runs_of_other_input_are_not(begun, two_replicates):
    assert sorted(two_replicates[1]) == sorted(f"{i} {s}" for i in (14, 21) for s in SEEDS[:2])
    folder, log = begun / "results/demo", begun / "log"
    before = stored_runs(folder)
    # More replicates, and one policy changed: only what is new is simulated.
    (begun / "demo.toml").write_text(SHORT.replace("= 21", "= 28"))
    assert cli("compare", "demo.toml", cwd=begun, log=log)[0] == 0
    new = [f"14 {seed}" for seed in SEEDS[2:]] + [f"28 {seed}" for seed in SEEDS]
    assert sorted(logged(log)) == sorted(new)
    after = stored_runs(folder)
    assert before.items() <= after.items() and len(after) == 4 + 6


@pytest.mark.parametrize("whole_group", [True, False], ids=["terminal", "parent only"])
def test_ctrl_c_stops_at_once_and_keeps_finished_runs(place, whole_group):
    log = place / "log"
    folder = place / "results/demo"
    process = start("compare", "demo.toml", "--workers", 2, cwd=place, faults="slow=0.01", log=log)
    wait_for(lambda: len(stored_runs(folder)) >= 2)
    asked = time.monotonic()
    (os.killpg if whole_group else os.kill)(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=20)
    assert time.monotonic() - asked < 2.0
    assert process.returncode == 130
    finished = len(stored_runs(folder))
    assert 2 <= finished < 8
    (line,) = told(err)
    assert f"Stopped. {finished} of 8 runs are finished and kept" in line
    assert "the same command goes on from there" in line
    wait_for(lambda: not alive_in_group(process.pid), 5)
    assert {path.name for path in folder.iterdir()} == {"runs.sqlite", ".lock"}
    if whole_group:
        log.unlink()
        assert cli("compare", "demo.toml", cwd=place, log=log)[0] == 0
        assert len(logged(log)) == 8 - finished


def test_a_killed_parent_leaves_old_tables_and_no_workers(begun):
    folder = begun / "results/demo"
    before = tables(folder)
    process = start("compare", "demo.toml", "--workers", 2, cwd=begun, faults="slow=0.01")
    wait_for(lambda: len(stored_runs(folder)) >= 5)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate(timeout=20)
    assert tables(folder) == before
    wait_for(lambda: not alive_in_group(process.pid), 5)
    assert len(stored_runs(folder)) < 8


def test_a_run_that_raises_does_not_stop_the_others(begun):
    folder, log = begun / "results/demo", begun / "log"
    before = tables(folder)
    code, out, err = cli("compare", "demo.toml", cwd=begun, faults=f"fail={SEEDS[2]}")
    assert (code, out) == (1, "")
    (line,) = err
    assert "2 of 8 runs failed" in line
    assert f"policy short, seed {SEEDS[2]}: RuntimeError: bin 3 is on fire" in line
    assert len(stored_runs(folder)) == 6
    errors = folder / "failed_runs.txt"
    assert str(errors.relative_to(begun)) in line
    text = errors.read_text()
    assert text.count("Traceback") == text.count(f", seed {SEEDS[2]}\n") == 2
    assert {name: data for name, data in tables(folder).items() if name != errors.name} == before

    code, _, err = cli("compare", "demo.toml", "--fresh", cwd=begun, log=log)
    assert (code, err) == (0, [])
    assert len(logged(log)) == len(stored_runs(folder)) == 8
    assert not errors.exists()


def test_a_worker_that_is_killed_is_told_in_one_line(place):
    code, _, err = cli("compare", "demo.toml", "--workers", 2, cwd=place, faults=f"exit={SEEDS[2]}")
    finished = len(stored_runs(place / "results/demo"))
    assert code == 1
    (line,) = err
    assert f"{finished} of 8 runs were finished" in line and "fewer --workers" in line
    assert finished >= 2
