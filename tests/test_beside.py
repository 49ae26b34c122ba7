"""Work that a worker process does beside a command that draws."""

from __future__ import annotations

import os
import signal
from functools import partial

import pandas as pd
import pytest
import small_comparison

from colony_sim.report.page import write_report
from colony_sim.running import beside
from colony_sim.running.local import LocalExecutor, SerialExecutor
from colony_sim.studies.comparison import relive
from colony_sim.talk.write import write_talk

HERE = os.getpid()


def where(home: int, dies: bool = False) -> int:
    """Tells its process, or kills it if it is not that of the test."""
    if dies and os.getpid() != home:
        os.kill(os.getpid(), signal.SIGKILL)
    return os.getpid()


def fails() -> None:
    raise OSError(28, "No space left on device", "handout-a4.pdf")


def test_a_job_is_done_beside_and_one_whose_process_is_lost_is_done_here():
    with LocalExecutor(1) as worker:
        assert beside.handed_over(partial(where, HERE), worker)() != HERE
        with pytest.raises(OSError, match="No space left"):
            beside.handed_over(fails, worker)()
        assert beside.handed_over(partial(where, HERE, dies=True), worker)() == HERE
    assert beside.handed_over(partial(where, HERE), None)() == HERE


def test_on_one_core_no_process_is_started(monkeypatch):
    monkeypatch.setattr(beside, "default_workers", lambda: 1)
    with beside.open_beside() as executor:
        assert isinstance(executor, SerialExecutor)
        executor.ahead()
        assert beside.handed_over(partial(where, HERE), executor)() == HERE


def test_page_and_talk_are_the_same_with_a_worker_beside(tmp_path):
    folder = small_comparison.small("two", tmp_path)
    alone = relive.retrace(folder)
    names = ("one.html", "talk"), ("two.html", "more")
    write_report(folder, tmp_path / names[0][0])
    write_talk(folder, tmp_path / names[0][1])
    relive._known.cache_clear()
    with LocalExecutor(1) as worker:
        relive.begin(folder, worker)
        (waiting,) = relive._known(folder, relive._changed(folder), alone.seed).coming
        together = relive.retrace(folder)
        write_report(folder, tmp_path / names[1][0], executor=worker)
        write_talk(folder, tmp_path / names[1][1], executor=worker)
    assert waiting == list(alone.records)[1]
    for policy, record in alone.records.items():
        pd.testing.assert_frame_equal(record.bins_daily, together.records[policy].bins_daily)
        pd.testing.assert_frame_equal(record.bin_log, together.records[policy].bin_log)
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "two.html").read_bytes()
    talks = [{p.name: p.read_bytes() for p in (tmp_path / n[1]).iterdir()} for n in names]
    assert talks[0] == talks[1] and "poster.pdf" in talks[0]
