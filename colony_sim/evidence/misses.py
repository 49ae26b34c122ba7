"""The numbers that do not come out at the values in use, each with what is known of the reason.

``misses.toml`` names them by id; a claim of the verification program holds it against every run,
so that neither a new miss nor one that has gone stays unnoticed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from colony_sim.errors import InputError
from colony_sim.evidence.keepers import fact_ids
from colony_sim.evidence.numbers import Standing, numbers


@cache
def misses() -> Mapping[str, str]:
    """Reasons by id of a judged or used number, or of what keepers see."""
    text = files("colony_sim.evidence").joinpath("misses.toml").read_text("utf-8")
    return read_misses(text, "misses.toml")


def read_misses(text: str, where: str) -> dict[str, str]:
    """Reasons from TOML; `InputError` names an id that is unknown or without a reason."""
    known = {n.id for n in numbers() if n.standing is not Standing.HELD} | set(fact_ids())
    found: dict[str, str] = {}
    for replication, items in tomllib.loads(text).items():
        for name, reason in items.items():
            full = f"{replication}.{name}"
            if full not in known:
                raise InputError(where, "id", full, "a judged or used number, or a keepers' fact")
            if not isinstance(reason, str) or not reason:
                raise InputError(where, full, reason, "a reason in words")
            found[full] = reason
    return found
