"""Rows that a page writes to a keeper's log: written once, taken out again, or refused."""

from __future__ import annotations

import os

import pytest
from small_log import LOG

from colony_sim.logs import log_rows
from colony_sim.logs.log_rows import LogRows, Refused
from colony_sim.logs.logbook import parse
from colony_sim.logs.words import LogAction

HARVEST = {"date": "2031-03-28", "bin": "A", "action": "harvest", "grams": "12.5"}
SEMICOLONS = (
    "# my shed\r\naction;date;bin;grams;count;note\r\nbeetles in;2031-03-01;A;;60;first; second\r\n"
).replace("first; second", '"first; second"')


@pytest.fixture
def shed(tmp_path):
    def make(text: str = LOG) -> tuple:
        path = tmp_path / "shed.csv"
        path.write_bytes(text.encode())
        return path, LogRows(path, tmp_path / "logged.json")

    return make


def test_a_row_goes_below_the_others_and_undo_gives_the_very_bytes_back(shed):
    for text in (LOG, LOG.rstrip("\n"), SEMICOLONS, "\ufeff" + LOG, LOG + "# the end\n"):
        path, rows = shed(text)
        os.chmod(path, 0o640)
        before = path.read_bytes()
        for key, grams in (("row-one-1", "12.5"), ("row-two-2", "7")):
            rows.add(key, HARVEST | {"grams": grams})
        entries, faults, _ = parse(path.read_bytes().decode("utf-8-sig"))
        assert not faults and path.read_bytes().startswith(before)
        assert [one.grams for one in entries[-2:]] == [12.5, 7]
        assert entries[-1].action is LogAction.HARVEST
        assert path.stat().st_mode & 0o777 == 0o640
        rows.undo("row-one-1")
        assert [row.key for row in rows.rows()] == ["row-two-2"]
        left = parse(path.read_bytes().decode("utf-8-sig"))[0]
        assert [one.grams for one in left[len(entries) - 2 :]] == [7]
        rows.undo("row-two-2")
        assert path.read_bytes() == before
        assert sorted(one.name for one in path.parent.iterdir()) == ["logged.json", "shed.csv"]
        rows._journal.unlink()


def test_separators_columns_and_ends_of_lines_are_the_logs(shed):
    path, rows = shed(SEMICOLONS)
    rows.add("row-one-1", HARVEST | {"grams": "12,5", "note": "a; b"})
    assert path.read_bytes().decode() == SEMICOLONS + 'harvest;2031-03-28;A;12,5;;"a; b"\r\n'


def test_a_row_sent_twice_is_written_once_also_by_a_program_that_died(shed, monkeypatch):
    path, rows = shed()
    rows.add("row-one-1", HARVEST)
    once = path.read_bytes()
    rows.add("row-one-1", HARVEST)
    LogRows(path, rows._journal).add("row-one-1", HARVEST)
    assert path.read_bytes() == once
    with pytest.raises(Refused, match="another row has this key"):
        rows.add("row-one-1", HARVEST | {"bin": "B"})

    # It dies between the log and the journal, or before the log.
    keep = LogRows._keep

    def dies(self, all_rows, row):
        if row.state == "written":
            raise SystemExit
        return keep(self, all_rows, row)

    monkeypatch.setattr(LogRows, "_keep", dies)
    with pytest.raises(SystemExit):
        rows.add("row-two-2", HARVEST | {"bin": "B"})
    monkeypatch.setattr(LogRows, "_keep", keep)
    twice = path.read_bytes()
    rows.add("row-two-2", HARVEST | {"bin": "B"})
    assert path.read_bytes() == twice != once
    monkeypatch.setattr(LogRows, "_change", lambda self, change: change(LOG) and 1 / 0)
    with pytest.raises(ZeroDivisionError):
        rows.add("row-3333", HARVEST | {"bin": "C"})
    monkeypatch.undo()
    rows.add("row-3333", HARVEST | {"bin": "C"})
    assert path.read_text().count("28,C,harvest") == 1


def test_a_row_taken_out_before_it_came_is_not_written_any_more(shed):
    path, rows = shed()
    rows.undo("row-one-1")
    with pytest.raises(Refused, match="taken out"):
        rows.add("row-one-1", HARVEST)
    assert path.read_text() == LOG and not rows.rows()


def test_undo_leaves_a_log_alone_whose_end_was_changed(shed):
    path, rows = shed()
    rows.add("row-one-1", HARVEST)
    changed = path.read_text() + "2031-03-28,B,harvest,,,3,,,\n"
    path.write_text(changed)
    with pytest.raises(Refused, match="end of the log was changed"):
        rows.undo("row-one-1")
    assert path.read_text() == changed and len(rows.rows()) == 1


def test_what_an_editor_saves_meanwhile_is_not_lost(shed, monkeypatch):
    path, rows = shed()
    flush, saved = log_rows.os.fsync, []

    def saves(descriptor):
        flush(descriptor)
        if not saved:
            saved.append(path.write_text(LOG + "2031-03-28,B,count,larvae,9,,,,\n"))

    monkeypatch.setattr(log_rows.os, "fsync", saves)
    rows.add("row-one-1", HARVEST)
    assert path.read_text().splitlines()[-2:] == [
        "2031-03-28,B,count,larvae,9,,,,", "2031-03-28,A,harvest,,,12.5,,,",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        ({"grams": "a lot"}, "grams 'a lot'"),
        ({"grams": "1,250"}, "no separator between thousands"),
        ({"date": "28.3.2031"}, "YYYY-MM-DD"),
        ({"action": "harvset"}, "did you mean 'harvest'"),
        ({"bin": ""}, "bin"),
        ({"bin": "Z"}, "bin"),
        ({"action": "beetles out", "grams": ""}, "bin"),
        ({"note": "a\nb"}, "one line"),
        ({"note": "a" * 201}, "200 characters"),
        ({"colour": "red"}, "no such column"),
        ({"grams": 12.5}, "a text"),
        ({"date": "2031-03-11", "action": "beetles out", "grams": "", "stage": "beetles",
          "count": "52"}, "the same as row"),
    ],
)  # fmt: skip
def test_a_refused_row_says_why_in_one_line_and_is_not_written(shed, cells, why):
    path, rows = shed()
    with pytest.raises(Refused, match=why) as refused:
        rows.add("row-one-1", HARVEST | cells)
    assert "\n" not in str(refused.value)
    assert path.read_text() == LOG and not rows.rows()


def test_a_log_without_the_column_says_so_and_an_open_quote_swallows_no_row(shed):
    _, rows = shed("date,bin,action\n2031-03-01,A,beetles in\n")
    with pytest.raises(Refused, match="no column grams"):
        rows.add("row-one-1", HARVEST)
    path, rows = shed(LOG + '2031-03-28,B,count,larvae,9,,,,"open\n')
    before = path.read_bytes()
    with pytest.raises(Refused):
        rows.add("row-one-1", HARVEST)
    assert path.read_bytes() == before
