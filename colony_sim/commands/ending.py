"""How a command ends other than well."""

from __future__ import annotations


class Ending(Exception):
    """One line for the user and the exit code: 1 failed, 130 stopped with Ctrl-C."""

    def __init__(self, line: str, code: int) -> None:
        super().__init__(line)
        self.code = code
