"""Words on a terminal or a pipe, whatever letters it knows, and places for files."""

from __future__ import annotations

import codecs
import logging
import os
import sys
from collections.abc import Iterable
from io import FileIO, TextIOWrapper
from pathlib import Path

from colony_sim.errors import InputError

_NAME = "colony_sim.plain"
_PLAIN = {
    "\N{HORIZONTAL ELLIPSIS}": "...", "\N{EN DASH}": "-", "\N{EM DASH}": "-", "\N{MINUS SIGN}": "-",
    "\N{MULTIPLICATION SIGN}": "x", "\N{PLUS-MINUS SIGN}": "+-", "\N{BULLET}": "*",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
}  # fmt: skip


def forgive() -> None:
    """Letters that an output does not know are written as others; a closed one takes anything."""
    codecs.register_error(_NAME, _as_plain)
    # Where it has no home it says so in two lines of its own.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    columns = os.environ.get("COLUMNS", "")
    if not (columns.isascii() and columns.isdecimal() and 20 <= int(columns[:6]) <= 1000):
        os.environ.pop("COLUMNS", None)  # Who prints would stumble over it.
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # Closed by who started the program.
            setattr(sys, name, TextIOWrapper(FileIO(os.open(os.devnull, os.O_WRONLY), "w")))
    for stream in (sys.stdout, sys.stderr):
        # What tests and notebooks put in its place has no encoding to miss.
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=_NAME)


def refuse_other_than_files(places: Iterable[Path]) -> None:
    """`InputError` for the first place that is there and no file: before any of them is written."""
    for place in places:
        if place.exists() and not place.is_file():
            raise InputError(str(place), "file", "no plain file", "one that may be replaced")


def discard() -> None:
    """What is left to print goes nowhere."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
    except (OSError, ValueError):  # No file at all, as in a notebook.
        pass


def _as_plain(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    return "".join(_PLAIN.get(letter, "?") for letter in letters), error.end
