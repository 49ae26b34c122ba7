"""Packages that only some commands need, installed as extras."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from types import ModuleType


class MissingExtra(Exception):
    """A package that is not installed; the message is one line with the command that adds it."""

    def __init__(self, package: str, extra: str) -> None:
        super().__init__(
            f"this needs the package {package}, which is not installed; add it with "
            f"python -m pip install '{package}' (or install colony-sim with the extra '{extra}')"
        )


def check(module: str, package: str, extra: str) -> None:
    """Look for a module of an extra, without the time that importing it takes.

    Raises
    ------
    MissingExtra
        If its package is not installed.
    """
    if find_spec(module) is None:
        raise MissingExtra(package, extra)


def require(module: str, package: str, extra: str) -> ModuleType:
    """Import a module of an extra.

    Raises
    ------
    MissingExtra
        If its package is not installed.
    """
    try:
        return import_module(module)
    except ModuleNotFoundError as error:
        if error.name is not None and error.name.split(".")[0] != module.split(".")[0]:
            raise
        raise MissingExtra(package, extra) from None
