"""The time left of a study of several rounds."""

from __future__ import annotations

import pytest

from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole


def test_rounds_are_one_count_and_one_estimate():
    told: list[Progress] = []
    whole = Whole(told.append, total=20)
    whole.report(Progress(0, 8, 0, 0, None))
    assert told[-1] == Progress(0, 20, 0, 0, None)
    whole.report(Progress(4, 8, 1, 0, 12.0))  # 3 s a run.
    assert told[-1] == Progress(4, 20, 1, 0, pytest.approx(48.0))
    whole.report(Progress(7, 8, 1, 1, 0.0))
    whole.next()
    # The next round begins at the pace of the one before, and counts on.
    whole.report(Progress(0, 4, 0, 0, None))
    assert told[-1] == Progress(7, 20, 1, 1, pytest.approx(36.0))
    whole.expect(2)
    whole.report(Progress(2, 4, 0, 0, 10.0))  # 5 s a run.
    assert told[-1] == Progress(9, 12, 1, 1, pytest.approx(10.0))
    assert whole.reused == 1


def test_what_follows_a_round_counts_and_a_total_is_never_below_what_is_there():
    told: list[Progress] = []
    outer = Whole(told.append, after=10)
    outer.report(Progress(5, 10, 0, 0, 5.0))
    assert (told[-1].total, told[-1].seconds_left) == (20, pytest.approx(15.0))
    outer.next()
    outer.after = 0
    outer.report(Progress(0, 30, 0, 0, None))
    assert told[-1].total == 35
