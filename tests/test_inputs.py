"""Files of any size: refused at once where they are too long, read within bounds where not."""

from __future__ import annotations

import os
import tracemalloc
from contextlib import contextmanager
from pathlib import Path

import pytest

from colony_sim.biology import logger_file
from colony_sim.biology.logger import read_logger
from colony_sim.commands import main
from colony_sim.errors import InputError
from colony_sim.inputs import MOST_BYTES, read_text
from colony_sim.logs import logbook
from colony_sim.trial import back

HUGE = 99_000_000
EXPERIMENT = """\
[experiment]
name = "room"
days = 700
replicates = 2

[climate]
kind = "{kind}"
csv = "huge.csv"
{start}
[start]
breeders = 300

[[policy]]
name = "short"
"""


@contextmanager
def at_most(most: int):
    """Hold a block to a peak of so many bytes of memory."""
    tracemalloc.start()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak <= most, f"{peak:,} bytes"


def huge(path: Path) -> Path:
    """A file that takes no room on the disk."""
    path.touch()
    os.truncate(path, HUGE)
    return path


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        (["today", "huge.csv"], "at most 4 MB; keep the rows of the last years"),
        (["fit", "huge.csv"], "at most 4 MB; keep the rows of the last years"),
        (["compare", "logger.toml"], "at most 40 MB; let the logger's program write a reading"),
        (["compare", "series.toml"], "at most 1 MB; one row a day"),
        (["compare", "huge.csv"], "at most 1 MB"),
        (["plan", "huge.csv"], "at most 1 MB"),
        (["explore", "--profile", "huge.csv"], "at most 30 MB; a profile, as colony-sim fit"),
    ],
)
def test_a_file_that_is_too_long_is_one_line_with_the_remedy(
    words, remedy, tmp_path, monkeypatch, capsys
):
    huge(tmp_path / "huge.csv")
    for kind, start in (("logger", 'start = "2031-01-01"'), ("series", "")):
        text = EXPERIMENT.format(kind=kind, start=start)
        (tmp_path / f"{kind}.toml").write_text(text, encoding="utf-8")
    before = sorted(tmp_path.iterdir())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["colony-sim", *words])
    with pytest.raises(SystemExit) as ended:
        main.run()
    said = capsys.readouterr()
    assert ended.value.code == 2 and said.out == ""
    line = said.err.splitlines()[-1]
    assert f"huge.csv: size = '99.0 MB'; allowed: {remedy}" in line
    assert set(said.err.splitlines()[:-1]) <= {"Getting ready."}
    assert sorted(tmp_path.iterdir()) == before


def test_a_result_of_a_trial_is_short(tmp_path):
    allowed = r"size = '99.0 MB'; allowed: at most 0.1 MB; a result has one number for each box"
    with pytest.raises(InputError, match=allowed):
        back.read(huge(tmp_path / "huge.csv"), ())


def test_never_more_is_read_than_allowed(tmp_path):
    path = huge(tmp_path / "a.toml")
    with at_most(3 * MOST_BYTES), pytest.raises(InputError, match="99.0 MB"):
        read_text(path)
    os.truncate(path, MOST_BYTES)
    assert len(read_text(path)) == MOST_BYTES
    # What has no size: it would never end.
    if Path("/dev/zero").exists():
        with at_most(3 * MOST_BYTES), pytest.raises(InputError, match="1.0 MB"):
            read_text(Path("/dev/zero"))


def test_readings_take_a_few_numbers_each_and_have_a_limit(tmp_path, monkeypatch):
    path = tmp_path / "logger.csv"
    rows = [
        f"2031-01-{1 + n // 1440:02d} {n // 60 % 24:02d}:{n % 60:02d},{20 + n % 7 / 10}"
        for n in range(20_000)
    ]
    path.write_text("\n".join(["time,temperature_c", *rows, ""]), encoding="utf-8")
    with at_most(path.stat().st_size + 60 * len(rows) + 1_000_000):
        found = logger_file.read_readings(path, None)
    assert len(found.line) == len(rows) and found.celsius[-1] == 20 + 19_999 % 7 / 10
    assert (found.hours[-1], found.line[-1], found.odd) == (19_999 / 60, 20_001, {})
    monkeypatch.setattr(logger_file, "MOST_ROWS", len(rows))
    read_logger(path)
    monkeypatch.setattr(logger_file, "MOST_ROWS", len(rows) - 1)
    with pytest.raises(InputError, match=r"rows = 'more than 19,999'; .* every ten minutes"):
        read_logger(path)


def test_a_log_has_a_limit_of_rows_and_is_not_read_beyond(tmp_path, monkeypatch):
    monkeypatch.setattr(logbook, "MOST_ROWS", 1000)
    path = tmp_path / "log.csv"
    path.write_text("date,bin,action,grams\n" + "x\n" * 300_000, encoding="utf-8")
    with at_most(12 * path.stat().st_size):
        found = logbook.read_log(path)
    (fault,) = found.faults
    assert (fault.row, found.entries) == (1002, ())
    assert "at most 1,000 rows: keep the rows of the last years" in fault.remedy
    path.write_text(
        "date,bin,action,grams\n" + "".join(f"2031-01-01,A,harvest,{n}\n" for n in range(1, 1001)),
        encoding="utf-8",
    )
    assert len(logbook.read_log(path).entries) == 1000
