"""The results folder keeps what is finished, whatever happens in the middle of a write."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from colony_sim.atomic import write_atomic
from colony_sim.errors import InputError
from colony_sim.results import folder as store_module
from colony_sim.results.folder import (
    FILES,
    RunStore,
    claim,
    finish_commit,
    replace_tables,
    write_table,
)

KEY = "ab" * 32


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
    store = RunStore(tmp_path)
    assert not store.has(KEY)
    store.save(KEY, daily(), died_out_day)
    assert store.has(KEY)
    back = store.read(KEY)
    pd.testing.assert_frame_equal(back.daily, daily())
    assert back.died_out_day == died_out_day
    assert listing(store.folder) == {f"{KEY}.parquet"}


def test_the_same_run_gives_the_same_bytes(tmp_path):
    store = RunStore(tmp_path)
    store.save(KEY, daily(), np.int64(3))
    first = store.path(KEY).read_bytes()
    store.save(KEY, daily(), 3)
    assert store.path(KEY).read_bytes() == first


def test_a_torn_or_exchanged_file_is_no_finished_run(tmp_path):
    store = RunStore(tmp_path)
    store.save(KEY, daily(), None)
    other = "cd" * 32
    store.path(other).write_bytes(store.path(KEY).read_bytes())
    assert not store.has(other)
    store.path(KEY).write_bytes(store.path(KEY).read_bytes()[:-20])
    assert not store.has(KEY)
    store.path(KEY).write_bytes(b"")
    assert not store.has(KEY)


def test_a_finished_run_removes_its_earlier_error(tmp_path):
    store = RunStore(tmp_path)
    store.save_error(KEY, "bin 3 is on fire")
    assert store.error_path(KEY).read_text() == "bin 3 is on fire"
    store.save(KEY, daily(), None)
    assert listing(store.folder) == {f"{KEY}.parquet"}


def test_write_atomic_keeps_the_old_file_if_writing_fails(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("old")

    def fail(temporary: Path) -> None:
        temporary.write_text("ne")
        raise OSError("disk full")

    with pytest.raises(OSError, match="disk full"):
        write_atomic(path, fail)
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


# Ends the process, as a power cut would, right before a certain call that changes the disk.
DEATH = """
import os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[3])
from test_store import put
left = int(sys.argv[2])
def counted(call):
    def wrapper(*args, **kwargs):
        global left
        if left == 0:
            os._exit(9)
        left -= 1
        return call(*args, **kwargs)
    return wrapper
os.replace, Path.unlink, os.fsync = map(counted, (os.replace, Path.unlink, os.fsync))
put(Path(sys.argv[1]), "new")
print(left)
"""


def test_a_process_that_dies_anywhere_leaves_all_old_or_all_new_tables(tmp_path):
    outcomes = []
    processes = []
    for calls in (0, 4, 5, 7, 9, 11, 14, 40, 1000):
        folder = tmp_path / str(calls)
        folder.mkdir()
        put(folder, "old", "comparison.png")
        words = [sys.executable, "-c", DEATH, str(folder), str(calls), str(Path(__file__).parent)]
        processes.append((folder, subprocess.Popen(words, stdout=subprocess.DEVNULL)))
        if len(processes) % 2 == 0:
            processes[-1][1].wait()
    for folder, process in processes:
        code = process.wait()
        with claim(folder, "x"):
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
    with claim(tmp_path, "x"):
        with pytest.raises(InputError, match="in use"), claim(tmp_path, "x"):
            pass
        assert (tmp_path / ".lock").exists()
    with claim(tmp_path, "x"):
        pass


def test_what_a_killed_process_left_is_swept(tmp_path):
    RunStore(tmp_path).save(KEY, daily(), None)
    (tmp_path / "runs" / f".{KEY}.parquet.77.tmp").write_text("half")
    (tmp_path / ".staged").mkdir()
    (tmp_path / ".staged" / "runs.csv").write_text("half")
    with claim(tmp_path, "x"):
        assert listing(tmp_path) == {"runs", ".lock"}
        assert listing(tmp_path / "runs") == {f"{KEY}.parquet"}


def test_folders_that_hold_something_else_are_refused(tmp_path):
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "thesis.doc").write_text("chapter 1")
    with pytest.raises(InputError, match=r"holds thesis\.doc"), claim(notes, "x"):
        pass
    assert listing(notes) == {"thesis.doc"}
    other = tmp_path / "other"
    other.mkdir()
    put(other, "old")
    with pytest.raises(InputError, match="holds experiment x"), claim(other, "y"):
        pass


@pytest.mark.parametrize("path", ["file", "file/below"])
def test_a_folder_that_cannot_be_written(tmp_path, path):
    (tmp_path / "file").write_text("")
    with (
        pytest.raises(InputError, match="a folder that can be written"),
        claim(tmp_path / path, "x"),
    ):
        pass


def test_tables_are_written_twice_and_csv_keeps_every_digit(tmp_path):
    write_table(tmp_path, "runs", daily())
    assert {"runs.csv", "runs.parquet"} == listing(tmp_path) <= set(FILES)
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "runs.parquet"), daily())
    pd.testing.assert_frame_equal(pd.read_csv(tmp_path / "runs.csv"), daily())
