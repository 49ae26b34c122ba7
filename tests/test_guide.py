"""The guide and the README: every command they show is run, or read as it would be run.

What takes long is done at reduced size, by `REDUCED`: options that are put behind the command.
Commands of `READ_ONLY` are run elsewhere in the tests; here their words, files and keys are read.
"""

from __future__ import annotations

import re
import shutil
import sys
from pathlib import Path

import pytest
import typer
from commandline import CHECKOUT, tree
from guide import GUIDE, MOST_BYTES, commands, pages

from colony_sim.commands.main import app, run
from colony_sim.commands.menu import options
from colony_sim.experiment.files import load
from colony_sim.studies.comparison import losses, overview, results, slides

README = (CHECKOUT / "README.md").read_text("utf-8")
REDUCED = {
    "compare rotation": ["--quick", "--worlds", "2", "--workers", "1", "--out", "results/rotation"],
    "run": ["--days", "60"],
    "calendar": ["--weeks", "8"],
}
READ_ONLY = (
    "compare isolation", "compare harvest", "compare mine/rotation.toml", "plan", "sweep",
    "breakeven", "sensitivity", "search", "explore", "fit demo_log --experiment",
    "compare rotation --profile", "today", "trial", "calendar results/flock-plan", "report",
)  # fmt: skip
#: In this order, as later ones stand on the folders of earlier ones.
ORDER = ["which-rotation.md", "calendar.md", "talk.md"]


def all_commands() -> list[list[str]]:
    found = pages()
    order = sorted(found, key=lambda name: (name not in ORDER, ORDER.index(name) if name in ORDER
                                            else 0, name))  # fmt: skip
    shown = [words for name in order for words in commands(found[name])]
    return [words[1:] for words in shown]


def is_read_only(words: list[str]) -> bool:
    return any(" ".join(words).startswith(start) for start in READ_ONLY)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("guide")


def test_every_page_has_its_job_its_command_and_its_picture():
    for name, text in pages().items():
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
            assert (GUIDE / target).exists(), (name, target)
        if name in ("README.md", "commands.md"):
            continue
        assert commands(text) and all(words[0] == "colony-sim" for words in commands(text)), name
        assert "](" in text and "![" in text and "**How to read it.**" in text, name
        assert "**What next.**" in text, name
        assert f"]({name})" in pages()["README.md"]
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (CHECKOUT / target).exists(), target
    for picture in GUIDE.glob("*.png"):
        assert picture.stat().st_size <= MOST_BYTES, picture
        assert any(f"({picture.name})" in text for text in pages().values()), picture


def test_every_command_of_the_program_is_in_the_guide():
    table = pages()["commands.md"].partition("## Extras")[0]
    named = re.findall(r"^\| `([a-z]+)", table, flags=re.M)
    assert sorted(named) == sorted(typer.main.get_command(app).commands)


def two_slides(folder, seed=None):
    """The quick ones of a comparison: that all are drawn is tested on a smaller one (talk)."""
    found = results.read(folder)
    return [overview.slide(found), losses.slide(found)]


def test_commands_of_the_guide_run(place, monkeypatch, capsys):
    monkeypatch.chdir(place)
    monkeypatch.setattr(slides, "slides", two_slides)
    ran = 0
    for words in all_commands():
        if is_read_only(words):
            continue
        starts = (start for start in REDUCED if " ".join(words).startswith(start))
        words = [*words, *(more for start in starts for more in REDUCED[start])]
        if words[0] == "copy" and (Path("mine") / f"{words[1]}.toml").exists():
            words.append("--over")
        monkeypatch.setattr(sys, "argv", ["colony-sim", *words])
        with pytest.raises(SystemExit) as end:
            run()
        assert not end.value.code, (words, capsys.readouterr().err)
        ran += 1
    assert ran >= 11
    written = tree(place)
    for name in ("results/rotation/slides/talk.md", "results/one-run/calendar/work.ics",
                 "mine/rotation.toml"):  # fmt: skip
        assert name in written, name


def shown_in_the_readme() -> list[list[str]]:
    fences = [words for words in re.findall(r"`colony-sim ([a-z][^`]*)`", README)]
    return [words.split() for words in fences if "FOLDER" not in words]


@pytest.mark.parametrize(
    "words",
    [words for words in all_commands() if is_read_only(words)] + shown_in_the_readme(),
    ids=" ".join,
)
def test_long_commands_are_read_as_they_would_be_run(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    shutil.copy(CHECKOUT / "experiments" / "rotation.toml", "mine")
    command = typer.main.get_command(app).commands[words[0]]
    given = command.make_context(words[0], words[1:]).params
    file = given.get("file")
    if file is not None and words[0] != "plan":
        experiment = load(file)
        for key in [given.get("x"), given.get("y"), *(given.get("vary") or ())]:
            if key:
                from colony_sim.experiment.design import parse_vary

                factor = parse_vary(key, "guide")
                assert factor.values
                own = {policy.parameters[factor.key] for policy in experiment.policies}
                assert words[0] != "breakeven" or len(own) == 1, key
        assert experiment.policies
    if words[0] == "plan":
        from colony_sim.planning.request import read_request

        names = {"grams_per_day": "grams", "minutes_per_week": "minutes"}
        keys = ("birds", "bins", "coldest", "warmest", "start")
        asked = {key: given[names.get(key, key)] for key in keys}
        want = read_request(given["file"], asked).want
        assert want.birds == 4 or want.animals.startswith("2 hens")
    if given.get("log") is not None:
        assert options.shipped_log_too(given["log"]).is_file()
