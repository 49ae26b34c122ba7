"""Inputs and folders that once broke a command: each ends in one line, and nothing is written."""

from __future__ import annotations

import shutil
import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path

import pandas as pd
import pytest
from commandline import CHECKOUT, cli, tree
from test_compare_worlds import EXPERIMENT

from colony_sim.errors import InputError
from colony_sim.experiment.design import parse_vary
from colony_sim.results import folder as folders
from colony_sim.results.folder import settled, write_table
from colony_sim.words.cells import without_formulas

ROTATION = (CHECKOUT / "experiments" / "rotation.toml").read_text()
FLOCK = (CHECKOUT / "experiments" / "flock.toml").read_text()
DAYS = "days = 1200"
AXES = ("--x", "harvest.fraction=0.5,0.6", "--y", "larva.duration_days=90,100")
CASES = {
    "an integer of 5,000 digits": (ROTATION.replace(DAYS, f"days = {'9' * 5000}"),
                                   ("compare", "bad.toml"), "thousands of digits"),
    "lists nested 3,000 deep": (f"{ROTATION}\nx = {'[' * 3000}{']' * 3000}\n",
                                ("compare", "bad.toml"), "nested too deeply"),
    "lists nested 700 deep": (f"{ROTATION}\nx = {'[' * 700}{']' * 700}\n",
                              ("compare", "bad.toml"), "bad.toml"),
    "a plan's integer of 5,000 digits": (FLOCK.replace("bins = 14", f"bins = {'9' * 5000}"),
                                         ("plan", "bad.toml"), "a plan file in TOML"),
    "a cell of 200,000 letters": (
        f"date,bin,action,stage,count,grams,about,until,note\n2031-01-01,1,beetles in,,5,,,,"
        f"{'x' * 200_000}\n", ("fit", "bad.toml"), "field larger than field limit"),
    "a step too small to count": (ROTATION, ("sweep", "bad.toml", "--vary",
                                             "harvest.fraction=0:1:1e-99999999"), "at most"),
    "a policy without a name": (ROTATION, ("sweep", "bad.toml", "--policy", "", "--vary",
                                           "harvest.fraction=0.5"), "policy = ''"),
    "days before the first": (ROTATION, ("breakeven", "bad.toml", *AXES, "--used", -5),
                              "used = -5; allowed: 1 to"),
    "no days": (ROTATION, ("breakeven", "bad.toml", *AXES, "--used", 0), "used = 0"),
    "a warm-up below nothing": (ROTATION, ("breakeven", "bad.toml", *AXES, "--warm-up", -3),
                                "--warm-up = -3; allowed: 0 to"),
    "a billion candidates": (ROTATION, ("search", "bad.toml", "--keys", "harvest.fraction",
                                        "--candidates", 10**9), "1 to 100000"),
    "a share next to 1": (ROTATION, ("search", "bad.toml", "--keys", "harvest.fraction",
                                     "--persist", 0.99999999999), "at most 0.999"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_once_broke_a_command_is_one_line_and_writes_nothing(tmp_path, name):
    text, words, said = CASES[name]
    (tmp_path / "bad.toml").write_text(text)
    code, out, err = cli(*words, cwd=tmp_path, faults=None)
    told = [line for line in err if line.startswith("colony-sim: ")]
    assert (code, out, len(told)) == (2, "", 1), (code, err[-3:])
    assert said in told[0] and len(told[0]) < 700
    assert not any("Traceback" in line for line in err)
    # A folder that only holds a lock is no result.
    assert {Path(path).suffix for path in tree(tmp_path)} <= {".toml", "", ".lock"}


def test_a_step_that_overflows_is_refused_as_too_many():
    with pytest.raises(InputError, match="at most 100000 values"):
        parse_vary("harvest.fraction=0:1:1e-99999999")


def test_a_reader_waits_for_a_writer_and_changes_nothing(tmp_path, monkeypatch):
    """Tables on their way are waited for; those of a writer that was stopped are told of."""
    ready = tmp_path / ".ready"
    ready.mkdir()
    (ready / "manifest.json").write_text("{}")
    (ready / "runs.csv").write_text("x")
    before = tree(tmp_path)
    monkeypatch.setattr(folders, "_PATIENCE", 3)
    with pytest.raises(InputError, match="run it once more"):
        settled(tmp_path)
    assert tree(tmp_path) == before
    monkeypatch.setattr(folders, "_PATIENCE", 200)
    writer = threading.Thread(target=lambda: (time.sleep(0.3), folders.finish_commit(tmp_path)))
    writer.start()
    settled(tmp_path)
    writer.join()
    assert (tmp_path / "runs.csv").read_text() == "x"


def test_texts_that_a_spreadsheet_would_work_out_get_an_apostrophe(tmp_path):
    frame = pd.DataFrame({
        "policy": ["=HYPERLINK(1)", "@x", "+1 bin", "-5", "every 14 days", "\tx"],
        "g": [1.5, -2.0, 3.0, 4.0, 5.0, -6.0],
    })  # fmt: skip
    write_table(tmp_path, "runs", frame)
    read = pd.read_csv(tmp_path / "runs.csv")
    assert read["policy"].tolist() == [
        "'=HYPERLINK(1)", "'@x", "'+1 bin", "-5", "every 14 days", "'\tx",
    ]  # fmt: skip
    assert read["g"].tolist() == frame["g"].tolist()
    assert pd.read_parquet(tmp_path / "runs.parquet").equals(frame)
    assert without_formulas(frame[["g"]]).equals(frame[["g"]])


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A finished comparison."""
    place = tmp_path_factory.mktemp("whole")
    (place / "small.toml").write_text(EXPERIMENT)
    code, _, err = cli("compare", "small.toml", "--replicates", 2, cwd=place, faults="eggs=eaten")
    assert code == 0, err
    return place / "results" / "demo"


def flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 4]) + data[at + 1 :]


def test_a_folder_is_proven_whole_and_a_flipped_bit_is_found(finished, tmp_path):
    before = tree(finished)
    code, out, _ = cli("check", finished, cwd=tmp_path)
    assert code == 0 and out.startswith("Whole: ") and "4 stored runs" in out
    assert tree(finished) == before
    for name in ("runs.csv", "measures.parquet", "verdict.txt", "runs.sqlite"):
        copy = tmp_path / name.replace(".", "-")
        shutil.copytree(finished, copy)
        if name == "runs.sqlite":
            with closing(sqlite3.connect(copy / name)) as store, store:
                one = "(SELECT key FROM runs LIMIT 1)"
                store.execute(f"UPDATE runs SET payload = payload || ' ' WHERE key = {one}")
        else:
            data = (copy / name).read_bytes()
            (copy / name).write_bytes(flipped(data, len(data) // 2))
        code, _, err = cli("check", copy, cwd=tmp_path)
        wanted = "1 of 4 stored runs" if name == "runs.sqlite" else name
        assert code == 1 and wanted in err[-1], (name, err)
    # A damaged table is refused by whatever reads the folder.
    code, _, err = cli("report", tmp_path / "measures-parquet", cwd=tmp_path)
    assert code == 2 and "measures.parquet: table = 'damaged'" in err[-1]
    code, _, err = cli("check", tmp_path, cwd=tmp_path)
    assert code == 2
