"""Folders that are read while they are written, damaged or opened in a spreadsheet."""

from __future__ import annotations

import shutil
import sqlite3
import threading
import time
from contextlib import closing

import pandas as pd
import pytest
from commandline import cli, tree
from test_compare_worlds import EXPERIMENT

from colony_sim.errors import InputError
from colony_sim.results import folder as folders
from colony_sim.results.folder import settled, write_table
from colony_sim.words.cells import without_formulas


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
