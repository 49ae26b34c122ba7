"""Short plain names, and values and units as they are printed: in the units of the house."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from colony_sim.biology.parameters import catalogue
from colony_sim.experiment.design import START, entry
from colony_sim.words.units import differs, here, plain, symbol

_UNITS = {
    "C": "°C", "d": "days", "number": "no unit", "yes or no": "", "choice": "", "1/d": "per day",
    "1/(bin yr)": "per bin and year",
    "W/(m2 K)": "W/m²/K", "g/d": "g/day", "g/(g d)": "g/g/day", "kg/(g d)": "kg/g/day",
    "dm2/(adult d)": "dm²/adult/day", "eggs/(female d)": "eggs/female/day",
}  # fmt: skip


def label(key: str) -> str:
    """Plain name of a key; the key itself if it has none."""
    known = START.get(key) or catalogue().get(key)
    return known.label if known else key


def heading(key: str) -> str:
    """Plain name of a key as it begins a line."""
    text = label(key)
    return text if text == key else f"{text[0].upper()}{text[1:]}"


def unit(key: str) -> str:
    """Unit of a key as it is printed, that of the house; empty for one without."""
    text = entry(key).unit
    return symbol(text) if differs(text) else printed(text)


def printed(text: str) -> str:
    """A unit of ``parameters.toml`` as it is printed of a table, the same in every house."""
    return _UNITS.get(text, text).replace("dm2", "dm²")


def axis(key: str) -> str:
    """Label of an axis: plain name and unit."""
    text = unit(key)
    return f"{heading(key)} ({text})" if text else heading(key)


def with_unit(key: str, value: object) -> str:
    """A value of a key with its unit, as in a sentence."""
    text = unit(key)
    number = shown(value, key)
    return number if text in ("", "share", "no unit", "ratio") else f"{number} {text}"


def at(key: str, value: Any) -> Any:
    """A value of a key, or an array of them, in the unit of `unit`; words stay as they are."""
    if isinstance(value, str | bool | np.bool_):
        return value
    return here(value, entry(key).unit)


def shown(value: object, key: str = "") -> str:
    """A value, short; with its `key` in the unit of the house."""
    if key and differs(entry(key).unit):
        number = at(key, value)
        return plain(number) if abs(number) < 100 else f"{round(number, 1):g}"
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def told(key: str, value: Any, form: Callable[[Any], str] = shown) -> str:
    """A value of a key as `form` writes it; with its unit where the house has one of its own."""
    return with_unit(key, value) if differs(entry(key).unit) else form(value)


def shortened(name: str, most: int) -> str:
    """`name` in at most `most` characters; the middle goes, as names differ at the ends."""
    if len(name) <= most:
        return name
    tail = max((most - 3) // 2, 1)
    head = max(most - 3 - tail, 1)
    first, last = name[:head], name[-tail:]
    # No parts of words, where that keeps half of the space.
    if name[head] != " " and len(kept := first.rpartition(" ")[0]) >= head / 2:
        first = kept
    if name[-tail - 1] != " " and len(kept := last.partition(" ")[2]) >= tail / 2:
        last = kept
    return f"{first.rstrip(' ,;:')} … {last.lstrip()}"
