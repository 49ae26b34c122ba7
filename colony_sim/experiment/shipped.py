"""The experiment files that come with the package: found by name, listed with their questions.

They stand in ``experiments/`` beside the package in a checkout, and where the wheel's data go
(``share/colony_sim/experiments`` below the prefix) once it is installed.
"""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

from colony_sim.errors import InputError

_PACKAGE = Path(__file__).resolve().parents[1]
EXPERIMENT, LOG = ".toml", ".csv"


def folder() -> Path:
    """Where the shipped files are; InputError if they are gone."""
    beside = _PACKAGE.parent / "experiments"
    if (_PACKAGE.parent / "pyproject.toml").is_file() and beside.is_dir():
        return beside
    # The prefix is two to four folders up, whoever installed the package.
    for above in _PACKAGE.parents:
        place = above / "share" / "colony_sim" / "experiments"
        if place.is_dir():
            return place
    raise InputError(str(_PACKAGE), "shipped experiments", "missing", "a whole installation")


def _files() -> list[Path]:
    # Installing leaves a folder of compiled Python there.
    return sorted(path for path in folder().iterdir() if path.is_file())


def names(suffix: str = "") -> list[str]:
    """Names of the shipped files with this ending, or of all."""
    return sorted({path.stem for path in _files() if path.name.endswith(suffix)})


def files(name: str) -> list[Path]:
    """The files of a name: an experiment, or a log with its experiment."""
    found = [path for path in _files() if path.stem == name]
    if not found:
        raise InputError("command line", "NAME", name, f"one of {', '.join(names())}")
    return found


def find(given: Path, suffix: str = EXPERIMENT) -> Path:
    """The file that is meant: one that exists, else the shipped one of this name.

    A bare word that is neither ends in InputError; a path is left to whoever reads it.
    """
    if given.is_file() or given.suffix or len(given.parts) != 1:
        return given
    shipped = folder() / f"{given}{suffix}"
    if shipped.is_file():
        return shipped
    allowed = f"a file, or one that comes with colony-sim: {', '.join(names(suffix))}"
    raise InputError("command line", "FILE", str(given), allowed)


def question(name: str) -> str:
    """What a shipped file asks, in one line."""
    first = min(files(name), key=lambda path: path.suffix != EXPERIMENT)
    text = first.read_text("utf-8")
    if first.suffix == ".py":
        return (ast.get_docstring(ast.parse(text)) or "").partition("\n")[0]
    asked = tomllib.loads(text).get("experiment", {}).get("question", "")
    # A plan file has its question in its first comment.
    comment = re.match(r"(?:#[^\n]*\n)+", text)
    told = " ".join((comment[0] if comment else "").replace("#", "").split())
    sentence = re.search(r": (.*?\?)", told)
    return asked or (sentence[1][:1].upper() + sentence[1][1:] if sentence else told)
