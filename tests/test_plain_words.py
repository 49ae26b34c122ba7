"""Screens of the commands: an answer first, 25 lines, a keeper's words."""

from __future__ import annotations

from pathlib import Path

import pytest
from plain_words import COLUMNS, LINES, faults, jargon
from rich.console import Console
from rich.table import Table

from colony_sim.commands.main import app
from colony_sim.commands.show import show_page

#: Where a test runs a command through `commandline.cli`, which looks at every screen, or looks
#: at it itself. `explore` serves a page and says where.
SEEN = {
    "compare": "test_commands", "run": "test_commands", "repeat": "test_commands",
    "sweep": "test_sweep", "breakeven": "test_breakeven", "sensitivity": "test_sensitivity",
    "search": "test_search", "evidence": "test_evidence", "worlds": "test_worlds",
    "figures": "test_talk", "report": "test_report", "plan": "test_plan_words",
    "calendar": "test_calendar", "fit": "test_fit", "explore": "test_explore",
    "copy": "test_shipped", "film": "test_film",
    "today": "test_today", "trial": "test_trial", "check": "test_hard",
}  # fmt: skip


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("All 8 runs settled, Holm-adjusted over worlds", ["settled", "worlds"]),
        ("p (Holm), paired; the Baseline.", ["Holm", "paired", "Baseline"]),
        ("seedlings in front of a worldly beetle, --one-world, over_worlds.csv", ["front"]),
        ("rotation.interval_days = 21", ["rotation.interval_days"]),
        ("see verdict.txt, results/a.b/talk.md, 1.68 h, 12.5 g, e.g. this.That is all.", []),
        ("https://example.org/page.one at the end. Next", []),
        ("Little's law, MSER-5, the root scale", ["Little's law", "MSER-5", "root scale"]),
    ],
)
def test_words_of_the_trade_are_found_and_no_others(text, found):
    assert sorted(jargon(text)) == sorted(found)


def test_every_command_is_looked_at():
    names = {c.name or c.callback.__name__ for c in app.registered_commands if c.callback}
    assert names == set(SEEN)
    for name, file in SEEN.items():
        text = Path(__file__).with_name(f"{file}.py").read_text(encoding="utf-8")
        assert name in text and ("cli(" in text or "faults(" in text or name == "explore"), name


def test_a_page_keeps_the_answer_and_drops_what_does_not_fit(capsys):
    table = Table("one", "two")
    for _ in range(9):
        table.add_row("a", "b")
    long = "word " * 120
    to = Console(width=COLUMNS)
    show_page(to, ["The answer."], [table, long, long, "last but one"], ["Where the rest is."])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "The answer." and lines[-1] == "Where the rest is."
    # The table has 13 lines, each long part 8: the second one does not fit, a line does.
    assert len(lines) == 1 + 13 + 8 + 1 + 1 <= LINES and lines[-2] == "last but one"


def test_what_is_wrong_with_a_screen_is_told():
    assert faults("Good is what this is.\n" + "more\n" * 20) == []
    assert faults("Good is what this is.\nHow it was worked out: seed 4\n") == []
    assert faults("Good is what this is.\nseed 4\n") == ["word: seed"]
    assert faults("Good is what this is.\n" + "more\n" * 30) == ["31 lines"]
    assert faults("| table | of |\n")[0].startswith("no sentence first")
