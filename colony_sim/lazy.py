"""Modules that a library loads whatever is wanted of it: put off until they are used.

Mesa loads networks and distances for spaces that no rack has, and the help of commands a reader
of Markdown that it does not need; they take as long as all the rest.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import Any


class _Name(type):
    """Class of a name of a module that is not loaded: the real one makes its objects."""

    _module: str

    def __call__(cls, *args: Any, **options: Any) -> Any:
        return cls._real()(*args, **options)

    def __getattr__(cls, name: str) -> Any:
        return getattr(cls._real(), name)

    def __instancecheck__(cls, one: object) -> bool:
        return isinstance(one, cls._real())

    def _real(cls) -> Any:
        _forget(cls._module)
        return getattr(import_module(cls._module), cls.__name__)


class _Module(ModuleType):
    def __getattr__(self, wanted: str) -> Any:
        if wanted.startswith("__"):
            raise AttributeError(wanted)
        return _Name(wanted, (), {"_module": self.__name__})


@contextmanager
def put_off(*names: str) -> Iterator[None]:
    """What is imported inside the block gets stand-ins for the callables of these modules.

    A module that is loaded already stays what it is.
    """
    absent = [name for name in names if name not in sys.modules]
    sys.modules.update({name: _Module(name) for name in absent})
    try:
        yield
    finally:
        for name in absent:
            _forget(name)


def _forget(name: str) -> None:
    if isinstance(sys.modules.get(name), _Module):
        del sys.modules[name]
