"""Finds every claim in the package."""

from __future__ import annotations

import importlib
import pkgutil

from .claim import Claim


def discover() -> dict[str, type[Claim]]:
    """All claims by name, in the order of modules and of classes within them."""
    package = __package__
    found: dict[str, type[Claim]] = {}
    path = importlib.import_module(package).__path__
    for info in pkgutil.iter_modules(path):
        if info.name == "__main__":
            continue
        module = importlib.import_module(f"{package}.{info.name}")
        for item in vars(module).values():
            if not (isinstance(item, type) and issubclass(item, Claim) and item.name):
                continue
            if item.__module__ != module.__name__:
                continue
            if item.name in found:
                raise ValueError(f"two claims are called {item.name!r}")
            found[item.name] = item
    return found
