"""The results folder keeps what is finished, whatever happens in the middle of a write."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from commandline import tree

from colony_sim.atomic import whole_file
from colony_sim.errors import InputError
from colony_sim.measuring.series import pack, unpack
from colony_sim.results import folder as store_module
from colony_sim.results.folder import (
    claim,
    finish_commit,
    replace_tables,
    write_table,
)
from colony_sim.running.jobs import run_jobs
from colony_sim.running.local import SerialExecutor
from colony_sim.running.protocol import TaskResult
from colony_sim.running.store import Damaged, open_store, read_store

KEY = "ab" * 32
FILES = ("runs.csv", "verdict.txt", "manifest.json")


def daily() -> pd.DataFrame:
    return pd.DataFrame({"day": np.arange(1, 4), "larvae_g": [0.1, np.nan, 1 / 3]})


def listing(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def put(folder: Path, word: str, *more: str) -> None:
    """Replace the tables of a folder by texts that all hold one word."""
    with replace_tables(folder) as staged:
        names = ["verdict.txt", "runs.csv", *more]
        for name in names:
            (staged / name).write_text(word)
        facts = {"word": word, "files": [*names, "manifest.json"], "experiment": {"name": "x"}}
        (staged / "manifest.json").write_text(json.dumps(facts))


@pytest.mark.parametrize("died_out_day", [None, 3])
def test_a_run_comes_back_as_it_was(tmp_path, died_out_day):
    with open_store(tmp_path) as store:
        assert not store.has(KEY) and store.get(KEY) is None
        store.save(KEY, pack(daily(), died_out_day))
        assert store.has(KEY)
        back = unpack(store.get(KEY))
        pd.testing.assert_frame_equal(back.daily, daily())
        assert back.died_out_day == died_out_day
        assert unpack(store.get(KEY), ["larvae_g"]).daily.columns.tolist() == ["larvae_g"]
    assert listing(tmp_path) == {"runs.sqlite"}


def test_the_same_run_gives_the_same_bytes():
    assert pack(daily(), np.int64(3)) == pack(daily(), 3) != pack(daily(), 2)


def change(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / "runs.sqlite")) as connection, connection:
        assert connection.execute(statement).rowcount == 1


@pytest.mark.parametrize(
    "harm",
    [
        "UPDATE runs SET payload = substr(payload, 1, length(payload) - 1)",
        "UPDATE runs SET payload = x''",
        "UPDATE runs SET checksum = replace(checksum, substr(checksum, 1, 1), 'x')",
        f"UPDATE runs SET key = '{'cd' * 32}'",
    ],
)
@pytest.mark.parametrize("outcome", [pack(daily(), None), {"yield": 0.1}])
def test_what_is_not_as_it_was_stored_is_no_finished_run(tmp_path, outcome, harm):
    with open_store(tmp_path) as store:
        store.save(KEY, outcome)
        assert store.get(KEY) == outcome
    change(tmp_path, harm)
    with read_store(tmp_path) as store:
        assert not store.has(KEY) and not store.has("cd" * 32)
        with pytest.raises(Damaged):
            store.get("cd" * 32 if "key" in harm else KEY)


@dataclass(frozen=True)
class Counted:
    """A job that tells how often it was done."""

    key: str
    done: list

    def run(self) -> TaskResult:
        self.done.append(self.key)
        return TaskResult({"number": len(self.done)}, None, 0.1, None)


def test_a_damaged_run_is_run_again_and_told_in_one_line(tmp_path, capsys):
    done: list[str] = []
    jobs = [Counted(key, done) for key in (KEY, "cd" * 32)]

    def outcomes() -> list:
        with open_store(tmp_path) as store, SerialExecutor() as here:
            return [e.outcome["number"] for e in run_jobs(jobs, 2, store, here)]

    assert outcomes() == outcomes() == [1, 2]
    change(tmp_path, f"UPDATE runs SET payload = '{{}}' WHERE key = '{KEY}'")
    capsys.readouterr()
    assert sorted(outcomes()) == [2, 3] and done == [KEY, "cd" * 32, KEY]
    assert capsys.readouterr().err == f"Stored run {KEY[:12]} is damaged and is run again.\n"
    assert sorted(outcomes()) == [2, 3]


def test_a_finished_run_removes_its_earlier_error(tmp_path):
    with open_store(tmp_path) as store:
        store.save_error(KEY, "bin 3 is on fire")
        assert store.error(KEY) == "bin 3 is on fire"
        store.save(KEY, {})
        assert store.error(KEY) is None


OLD = {"experiment": {"name": "x"}, "files": [], "software": {"colony_sim": "0.1.0"}}


@pytest.mark.parametrize("kept", ["runs/ab.parquet", "runs/ab.npy", "runs.sqlite"])
def test_runs_of_an_earlier_version_are_refused_in_one_line(tmp_path, kept):
    (tmp_path / "runs").mkdir()
    (tmp_path / "manifest.json").write_text(json.dumps(OLD))
    if kept == "runs.sqlite":
        with closing(sqlite3.connect(tmp_path / kept)) as connection:
            connection.execute("CREATE TABLE runs (key TEXT PRIMARY KEY, outcome TEXT)")
    else:
        (tmp_path / kept).write_bytes(b"run")
    before = tree(tmp_path)
    told = r"'runs of colony_sim 0\.1\.0'; allowed: a new folder"
    with pytest.raises(InputError, match=told), claim(tmp_path, "x", FILES):
        pass
    assert tree(tmp_path) == before
    with read_store(tmp_path) as store:  # Who only reads does without.
        assert store is None


def test_a_file_stays_as_it_was_if_writing_fails(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("old")
    with pytest.raises(OSError, match="disk full"), whole_file(path) as file:
        file.write(b"ne")
        raise OSError("disk full")
    assert path.read_text() == "old"
    assert listing(tmp_path) == {"table.csv"}


def test_tables_are_exchanged_as_a_whole(tmp_path):
    put(tmp_path, "old", "comparison.png")
    put(tmp_path, "new")
    assert listing(tmp_path) == {"verdict.txt", "runs.csv", "manifest.json"}
    assert (tmp_path / "verdict.txt").read_text() == "new"


def test_an_error_while_writing_tables_leaves_the_old_ones(tmp_path):
    put(tmp_path, "old", "comparison.png")
    with pytest.raises(KeyboardInterrupt), replace_tables(tmp_path) as staged:
        (staged / "verdict.txt").write_text("new")
        raise KeyboardInterrupt
    assert listing(tmp_path) == {"verdict.txt", "runs.csv", "comparison.png", "manifest.json"}
    assert (tmp_path / "verdict.txt").read_text() == "old"


def dying(folder: Path, left: int) -> int:
    """Put new tables in a process that ends, as in a power cut, before a certain call that changes
    the disk; its exit code."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])

    def counted(call):
        def wrapper(*args, **kwargs):
            nonlocal left
            if left == 0:
                os._exit(9)
            left -= 1
            return call(*args, **kwargs)

        return wrapper

    try:
        os.replace, Path.unlink, os.fsync = map(counted, (os.replace, Path.unlink, os.fsync))
        put(folder, "new")
        os._exit(0)
    finally:
        os._exit(70)


def test_a_process_that_dies_anywhere_leaves_all_old_or_all_new_tables(tmp_path):
    outcomes = []
    for calls in (0, 4, 5, 7, 9, 11, 14, 40, 1000):
        folder = tmp_path / str(calls)
        folder.mkdir()
        put(folder, "old", "comparison.png")
        code = dying(folder, calls)
        with claim(folder, "x", FILES):
            pass
        word = json.loads((folder / "manifest.json").read_text())["word"]
        assert (folder / "verdict.txt").read_text() == word
        assert (folder / "runs.csv").read_text() == word
        assert (folder / "comparison.png").exists() == (word == "old")
        assert not {".staged", ".ready"} & listing(folder)
        outcomes.append((code, word))
    assert outcomes == sorted(outcomes, key=lambda o: (o[0] == 0, o[1] != "old"))
    # Deaths before the moment that counts, deaths after it, and no death.
    assert set(outcomes) == {(9, "old"), (9, "new"), (0, "new")}


def test_moving_goes_on_where_it_stopped(tmp_path, monkeypatch):
    put(tmp_path, "old")
    moved = []
    replace = store_module.os.replace

    def failing(source, target):
        moved.append(Path(target).name)
        if moved[1:] and len(moved) == 3:
            raise OSError("gone")
        replace(source, target)

    monkeypatch.setattr(store_module.os, "replace", failing)
    with pytest.raises(OSError, match="gone"):
        put(tmp_path, "new")
    monkeypatch.undo()
    assert (tmp_path / ".ready").is_dir()
    finish_commit(tmp_path)
    assert {p.read_text() for p in tmp_path.iterdir() if p.name != "manifest.json"} == {"new"}


def test_one_process_at_a_time(tmp_path):
    with claim(tmp_path, "x", FILES):
        with pytest.raises(InputError, match="in use"), claim(tmp_path, "x", FILES):
            pass
        assert (tmp_path / ".lock").exists()
    with claim(tmp_path, "x", FILES):
        pass


def test_what_a_killed_process_left_is_swept(tmp_path):
    (tmp_path / ".verdict.txt.77.tmp").write_text("half")
    (tmp_path / ".staged").mkdir()
    (tmp_path / ".staged" / "runs.csv").write_text("half")
    with claim(tmp_path, "x", FILES):
        assert listing(tmp_path) == {".lock"}


def test_a_file_of_somebody_else_stays_and_is_in_the_way_only_of_its_own_name(tmp_path):
    (tmp_path / "my_plot.png").write_text("a picture")
    with claim(tmp_path, "x", FILES):
        put(tmp_path, "old", "comparison.png")
    with claim(tmp_path, "x", FILES):
        put(tmp_path, "new")
    assert (tmp_path / "my_plot.png").read_text() == "a picture"
    assert not (tmp_path / "comparison.png").exists()
    before = tree(tmp_path)
    told, more = r"holds my_plot\.png.*without a file of that name", (*FILES, "my_plot.png")
    with pytest.raises(InputError, match=told), claim(tmp_path, "x", more):
        pass
    assert tree(tmp_path) == before
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "runs.csv").write_text("my own runs")
    with pytest.raises(InputError, match=r"holds runs\.csv"), claim(notes, "x", FILES):
        pass
    assert listing(notes) == {"runs.csv"}


def test_a_folder_of_another_experiment_is_refused(tmp_path):
    put(tmp_path, "old")
    with pytest.raises(InputError, match="holds experiment x"), claim(tmp_path, "y", FILES):
        pass


@pytest.mark.parametrize("path", ["file", "file/below"])
def test_a_folder_that_cannot_be_written(tmp_path, path):
    (tmp_path / "file").write_text("")
    with (
        pytest.raises(InputError, match="a folder that can be written"),
        claim(tmp_path / path, "x", FILES),
    ):
        pass


def test_tables_are_written_twice_and_csv_keeps_every_digit(tmp_path):
    write_table(tmp_path, "runs", daily())
    assert {"runs.csv", "runs.parquet"} == listing(tmp_path)
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "runs.parquet"), daily())
    pd.testing.assert_frame_equal(pd.read_csv(tmp_path / "runs.csv"), daily())
