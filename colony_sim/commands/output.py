"""Words on a terminal or a pipe, whatever letters it knows."""

from __future__ import annotations

import codecs
import os
import sys
from io import TextIOWrapper

_NAME = "colony_sim.plain"
_PLAIN = {
    "\N{HORIZONTAL ELLIPSIS}": "...", "\N{EN DASH}": "-", "\N{EM DASH}": "-", "\N{MINUS SIGN}": "-",
    "\N{MULTIPLICATION SIGN}": "x", "\N{PLUS-MINUS SIGN}": "+-", "\N{BULLET}": "*",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
}  # fmt: skip


def forgive() -> None:
    """Letters that an output does not know are written as others, not as an error."""
    codecs.register_error(_NAME, _as_plain)
    for stream in (sys.stdout, sys.stderr):
        # What tests and notebooks put in its place has no encoding to miss.
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=_NAME)


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
