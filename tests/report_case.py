"""A small real comparison, a study and their pages, made once for all tests of pages."""

from __future__ import annotations

import atexit
import io
import os
import shutil
import sys
import tempfile
from contextlib import redirect_stdout
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from unittest import mock

from plain_words import COLUMNS

from colony_sim.api import compare
from colony_sim.commands.main import run
from colony_sim.experiment.files import load
from colony_sim.studies.comparison.relive import Traces, retrace
from colony_sim.talk.deck import Deck, gather

QUESTION = "Is 14 days <better> & cheaper than 21?"
EXPERIMENT = f"""\
[experiment]
name = "small"
question = "{QUESTION}"
invented = true
days = 600
replicates = 3
seed = 3
baseline = "every 21 days"

[climate]
kind = "constant"
temperature_c = 28.0

[start]
breeders = 60
larvae = 3000

[[policy]]
name = "every 14 days"
rotation.interval_days = 14
harvest.fraction = 0.9

[[policy]]
name = "every 21 days"
rotation.interval_days = 21
harvest.fraction = 0.6
"""
PAIR = ("every 21 days", "every 14 days")
DAYS, ROWS = 120, 10
"""Days of the rack on the page, and rows at most of the numbers behind a figure."""


@dataclass(frozen=True)
class Case:
    """Folders and pages of a comparison and of a break-even map, and four slides of the first."""

    folder: Path
    page: Path
    study: Path
    study_page: Path
    deck: Deck
    told: str
    """The screen of the command that wrote the first page."""


def command(*words: object) -> int:
    """Run ``colony-sim`` in this process; returns the exit code."""
    with mock.patch.object(sys, "argv", ["colony-sim", *map(str, words)]):
        try:
            run()
        except SystemExit as ended:
            return int(ended.code or 0)
    return 0


def with_slides(slides: Deck):
    """Pages within this take slides made before: making them again takes seconds."""
    return mock.patch("colony_sim.report.contents.gather", return_value=slides)


def few_numbers():
    """Pages within this show a few numbers behind each figure: checking thousands is slow."""
    return mock.patch("colony_sim.report.tables.MOST_ROWS", ROWS)


@cache
def folders() -> tuple[Path, Path]:
    """Of the comparison and of the break-even map, made at the first call."""
    base = Path(tempfile.mkdtemp(prefix="colony-sim-pages-"))
    atexit.register(shutil.rmtree, base, ignore_errors=True)
    file = base / "small.toml"
    file.write_text(EXPERIMENT, encoding="utf-8")
    short = base / "short.toml"
    short.write_text(EXPERIMENT.replace("days = 600", "days = 60"), encoding="utf-8")
    folder, study = base / "results" / "small", base / "elsewhere" / "map"
    compare(load(file), out=folder, workers=1, figures=False, one_world=True, assumptions=False)
    grid = ("--x", "predation.adult_egg=0,0.02", "--y", "rack.bins=6,12")
    span = ("--replicates", 2, "--warm-up", 20, "--used", 21, "--workers", 1)
    assert command("breakeven", short, *grid, *span, "--out", study) == 0
    return folder, study


@cache
def case() -> Case:
    """Their pages, made at the first call."""
    folder, study = folders()
    found = gather(folder, False)
    slides = Deck(found.slides[:4], found.folders[:4], [])
    screen = io.StringIO()
    wide = mock.patch.dict(os.environ, COLUMNS=str(COLUMNS))
    with with_slides(slides), few_numbers(), redirect_stdout(screen), wide:
        assert command("report", folder, "--days", DAYS) == 0
    with few_numbers():
        assert command("report", study) == 0
    pages = folder / "report.html", study / "report.html"
    return Case(folder, pages[0], study, pages[1], slides, screen.getvalue())


@cache
def lived_again() -> Traces:
    """The runs of the page lived again, apart from the code of the page."""
    return retrace(folders()[0], PAIR)
