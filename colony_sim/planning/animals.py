"""Birds and other animals by name: what one is given a day.

The allowances (`animals.toml`) are common practice, no source; a keeper's own figure stands above
them (``larvae_each``, ``grams_per_day``).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any

from colony_sim.errors import InputError
from colony_sim.planning.wants import LARVA_MG, Want
from colony_sim.words.units import show

MOST = 1_000_000
_ONE = re.compile(r"(\d{1,9})\s+(\D+)")


@dataclass(frozen=True)
class Animal:
    """What one animal is given.

    Attributes
    ----------
    name, plural : str
    grams : float
        Live larvae (g a day), mean over a week.
    often : str
        How it is usually given.
    """

    name: str
    plural: str
    grams: float
    often: str


@cache
def animals() -> Mapping[str, Animal]:
    """All that have an allowance, by name."""
    text = Path(__file__).with_name("animals.toml").read_text(encoding="utf-8")
    return {
        key.replace("_", " "): Animal(key.replace("_", " "), **values)
        for key, values in tomllib.loads(text).items()
    }


def for_animals(
    given: Any, larva_mg: float | None, where: str, probability: float, after_days: int
) -> Want:
    """The want of animals by name.

    Parameters
    ----------
    given : str or mapping
        Such as ``4 hens, 12 quail`` or ``{hens = 4, quail = 12}``.
    larva_mg : float or None
        Mass of a larva, for the number of larvae in words.
    where : str
        For the line of an error.

    Raises
    ------
    InputError
        A name without an allowance, or a number out of its limits.
    """
    counts: dict[str, int] = {}
    for name, count in _pairs(given, where):
        animal = _find(name, where)
        whole = isinstance(count, int) and not isinstance(count, bool)
        if not whole or not 1 <= count <= MOST:
            raise InputError(where, f"animals: {name}", count, f"a whole number from 1 to {MOST}")
        counts[animal.name] = counts.get(animal.name, 0) + count
    known, mass = animals(), LARVA_MG if larva_mg is None else larva_mg
    grams = sum(count * known[name].grams for name, count in counts.items())
    said = ", ".join(
        f"{count} {name if count == 1 else known[name].plural} x {show(known[name].grams, 'g')}"
        for name, count in counts.items()
    )
    said += f"; some {1000 * grams / mass:.0f} larvae"
    return Want(grams, probability, after_days, larva_mg=mass, assumed=True, animals=said)


def _pairs(given: Any, where: str) -> list[tuple[str, Any]]:
    allowed = "numbers with names, such as 4 hens, 12 quail"
    if isinstance(given, Mapping) and given:
        return [(str(name).replace("_", " "), count) for name, count in given.items()]
    if not isinstance(given, str):
        raise InputError(where, "animals", given, allowed)
    found = []
    for part in re.split(r",|\band\b", given):
        match = _ONE.fullmatch(part.strip())
        if match is None:
            raise InputError(where, "animals", given, allowed)
        found.append((match[2].strip(), int(match[1])))
    return found


def _find(name: str, where: str) -> Animal:
    known = animals()
    by_name = {word: a for a in known.values() for word in (a.name, a.plural)}
    said = name.strip().lower()
    if said in by_name:
        return by_name[said]
    near = get_close_matches(said, by_name, n=1, cutoff=0.7)
    hint = f"did you mean {near[0]}? " if near else ""
    plurals = ", ".join(a.plural for a in known.values())
    allowed = f"{hint}one of {plurals}; for others give grams_per_day"
    raise InputError(where, "animals", name, allowed)
