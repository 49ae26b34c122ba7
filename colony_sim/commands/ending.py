"""How a command ends other than well."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

from colony_sim.atomic import is_full
from colony_sim.errors import ARGUMENT, InputError

_RENAMED = {"fresh": "fresh-seeds"}
"""Options whose name is not that of the argument."""


DONE, FAILED, REFUSED, ANSWERED, STOPPED = 0, 1, 2, 3, 130
"""Exit codes, as `docs/guide/commands.md` lists them: done; began and could not be finished, or a
folder is not what it was; bad input, nothing written; stopped with an answer; stopped."""

LONGEST = 600
"""Letters of the line that tells of an end."""


class Ending(Exception):
    """One line for the user and the exit code; `folder` is that of results written nonetheless."""

    def __init__(self, line: str, code: int, folder: Path | None = None) -> None:
        super().__init__(line)
        self.code = code
        self.folder = folder


def one_line(text: str) -> str:
    """A text as one line of at most `LONGEST` letters; what is too long is left out within."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(line) <= LONGEST:
        return line
    half = (LONGEST - 5) // 2
    return f"{line[:half]} ... {line[-half:]}"


def of_the_system(error: OSError) -> tuple[str, int]:
    """What the system says of a file, with the file, and the exit code.

    A disk that is full fails a command whatever was asked of it; a file that is not there or must
    not be written is input that can be mended.
    """
    said = error.strerror or str(error) or type(error).__name__
    where = error.filename
    if is_full(error):
        place = "" if where is None else f"{where}: "
        return f"{place}{said}; make room and give the command again.", FAILED
    if where is None and error.errno == errno.ENOENT:
        try:
            os.getcwd()
        except OSError:
            return "The folder that you are in is gone: change to another.", REFUSED
        return f"{said}; set TMPDIR to a folder that can be written.", FAILED
    if where is None:
        return said, FAILED
    return InputError(where, "file", said, "one that can be read, or written to").line, REFUSED


def as_options(error: InputError) -> str:
    """The line of bad input, with the options of the command in place of arguments."""
    where, key = error.where, error.key
    if where == ARGUMENT:
        where, key = "command line", re.sub(r"^[a-z_]+$", _option, key)
    elif where.startswith(f"{ARGUMENT} "):
        where = re.sub(r"^[a-z_]+", _option, where.removeprefix(f"{ARGUMENT} "))
    allowed = re.sub(r"`([a-z_]+)`", _option, error.allowed)
    return InputError(where, key, error.value, allowed).line


def _option(found: re.Match[str]) -> str:
    name = found[found.lastindex or 0]
    return f"--{_RENAMED.get(name, name.replace('_', '-'))}"
