"""All replications by name: one module each in `colony_sim.evidence.replications`.

A module has a docstring with the protocol, `CONDITIONS`, the names of what the abstract leaves
open (from ``conditions.toml``), and `live(lab)`, which returns the model's number for each id of
the replication (without its prefix): a number, or an array with one number an individual.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from colony_sim.evidence import replications as package
from colony_sim.evidence.lab import Found, Lab


@dataclass(frozen=True)
class Replication:
    """An experiment that the model can live."""

    name: str
    conditions: tuple[str, ...]
    live: Callable[[Lab], Found]


@cache
def replications() -> dict[str, Replication]:
    """All replications, by name in alphabetical order."""
    found = {}
    for info in pkgutil.iter_modules(package.__path__):
        module = importlib.import_module(f"{package.__name__}.{info.name}")
        found[info.name] = Replication(info.name, module.CONDITIONS, module.live)
    return found
