"""How a command ends other than well."""

from __future__ import annotations

import re
from pathlib import Path

from colony_sim.errors import ARGUMENT, InputError

_RENAMED = {"fresh": "fresh-seeds"}
"""Options whose name is not that of the argument."""


STOPPED = 3
"""Exit code of a study that Ctrl-C ended with an answer from what was done by then."""


class Ending(Exception):
    """One line for the user and the exit code.

    1 failed, `STOPPED` stopped with an answer, 130 stopped with Ctrl-C.

    `folder` is that of results that were written nonetheless.
    """

    def __init__(self, line: str, code: int, folder: Path | None = None) -> None:
        super().__init__(line)
        self.code = code
        self.folder = folder


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
