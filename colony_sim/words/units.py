"""A quantity of the model as it is shown: in the units of the house, on paper in both.

Whatever a keeper reads of temperatures, weights, lengths and floors goes through here; tables stay
metric. The house is `experiment.units.house()`; who reads a results folder or an experiment says
``with using(...)`` around its words. Numbers keep three significant digits, temperatures a tenth
of a degree, floors the sides of a box to half a centimetre or inch; `experiment.units.read` reads
all of it back within that, and showing what was read back gives the same text.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from colony_sim.experiment.units import CARROT_WATER, converted, house
from colony_sim.words.estimate import short

Form = Callable[[float], str]
_SQUARE = {"metric": ("10 x 10 cm", 1.0), "us": ("4 x 4 in", 1.03225600)}
"""A piece of floor to count on, and its area (dm2)."""
_TALL = 4 / 3
"""Length by width of the box that a floor is shown as."""
_LONGEST = 1.7
"""A floor is shown as a box of at most so many times its width."""
_MOST_CUPS = 40.0
_RATES = {
    "/d": " a day", "/day": " a day", "/week": " a week", "/month": " a month", "/yr": " a year",
}  # fmt: skip
_SCALES: dict[str, dict[str, tuple[tuple[str, str], ...]]] = {
    "metric": {
        "C": (("°C", "C"),),
        "K": (("°C", "K"),),
        "g": (("g", "g"), ("kg", "kg")),
        "kg": (("kg", "kg"),),
        "mg": (("g", "g"),),
        "cm": (("cm", "cm"),),
        "g/kg": (("g for a kilogram", "g/kg"),),
    },
    "us": {
        "C": (("°F", "F"),),
        "K": (("°F", "delta_F"),),
        "g": (("oz", "oz"), ("lb", "lb")),
        "kg": (("lb", "lb"),),
        "mg": (("oz", "oz"),),
        "cm": (("in", "in"),),
        "g/kg": (("oz for a pound", "oz/lb"),),
        "dm2": (("sq in", "in2"),),
    },
}
"""Names and units by the unit of the model; of two, the second from `_LARGE` of the first on.

Larvae are shown a hundred at a time: a kitchen scale can weigh these."""
_LARGE = {"g": 1000.0, "oz": 16.0}


def plain(value: float) -> str:
    """Three significant digits without zeros at the end: how settings are shown."""
    return f"{value:.0f}" if abs(value) >= 1000 else f"{float(f'{value:.3g}'):g}"


def show(value: float, unit: str, form: Form = plain) -> str:
    """A quantity in the units of the house, such as ``77 °F``, ``1.32 lb`` or ``12 g a day``.

    Parameters
    ----------
    value : float
    unit : str
        Of the model: "C", "K" (a difference), "g", "kg", "g/kg", "mg" (of a larva), "cm", "dm2" (a
        floor), each with "/d", "/week", "/month" or "/yr" where it is a rate, or a count on a
        floor such as "eggs/dm2". Any other unit is the same in every house.
    form : callable
        How a number is written, such as `words.estimate.number` for an estimate; temperatures and
        floors have a form of their own.
    """
    alone, rate = _split(unit)
    return _text(value, alone, form, house().system) + rate


def both(value: float, unit: str, form: Form = plain) -> str:
    """As `show`, then in the other units: ``1.32 lb (600 g)``. For paper."""
    alone, rate = _split(unit)
    one, other = (_text(value, alone, form, system) for system in _systems())
    return (one if one == other else f"{one} ({other})") + rate


def span(low: float, high: float, unit: str, form: Form = plain) -> str:
    """Two quantities and the unit once: ``63 to 81 °F``; one where they look the same."""
    alone, rate = _split(unit)
    name, _ = scale = _scale(max(abs(low), abs(high)), alone, house().system)
    ends = [_number(end, alone, form, scale) for end in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {name}{rate}"


def symbol(unit: str, size: float = 0.0) -> str:
    """The unit of the house for a column or an axis whose largest value is `size`: ``oz a day``."""
    if unit.endswith("/dm2"):
        return f"{unit.removesuffix('/dm2')} on {_SQUARE[house().system][0]}"
    alone, rate = _split(unit)
    return _scale(size, alone, house().system)[0] + rate


def degrees() -> str:
    """The letter of the degrees of the house, for a narrow head: ``C`` or ``F``."""
    return symbol("C").removeprefix("°")


def scaled(values: Any, unit: str, size: float = 0.0) -> Any:
    """A number, or an array of them, in the unit that `symbol` names for the same `size`."""
    if unit.endswith("/dm2"):
        return values * _SQUARE[house().system][1]
    alone, _ = _split(unit)
    return _in_scale(values, alone, _scale(size, alone, house().system)[1])


def named(unit: str) -> str:
    """A unit as tables write it (``g/day``) where that is the unit of the house, else `symbol`."""
    return symbol(unit) if differs(unit) else unit


def here(values: Any, unit: str) -> Any:
    """A number, or an array of them, in the unit that `named` gives."""
    return scaled(values, unit) if differs(unit) else values


def differs(unit: str) -> bool:
    """Whether this house has another unit than the tables."""
    known = _split(unit)[0] in _SCALES["us"] or unit.endswith("/dm2")
    return known and house().system != "metric"


def bran(grams: float, paper: bool = False) -> str:
    """Bran: ``600 g``, in a US house ``11 cups (1.32 lb)``; on paper in cups and in grams."""
    here = house()
    count = grams / here.cup_g
    first, second = (_text(grams, "g", plain, system) for system in _systems())
    if count > _MOST_CUPS:
        return f"{first} ({second})" if paper else first
    cups = _pieces(count, "cup")
    if here.system == "us":
        return f"{cups} ({second if paper else first})"
    return f"{first} ({cups})" if paper else first


def moisture(grams: float, paper: bool = False) -> str:
    """Water in moist feed: ``25 g of water``, in a US house ``5.5 slices of carrot``."""
    here = house()
    slices = f"{_pieces(grams / CARROT_WATER / here.slice_g, 'slice')} of carrot"
    water = f"{_text(grams, 'g', plain, 'metric')} of water"
    first, second = (slices, water) if here.system == "us" else (water, slices)
    return f"{first} ({second})" if paper else first


def weight(grams: float, places: int = 0) -> str:
    """Grams to so many places: ``420 g``; in another house two digits: ``15 oz``."""
    return f"{size(grams, places)} {symbol('g')}"


def size(grams: float, places: int = 0) -> str:
    """As `weight`, without the unit."""
    return short(scaled(grams, "g")) if differs("g") else f"{grams:.{places}f}"


def legend() -> str:
    """What a cup and a slice weigh here, in a sentence for paper."""
    here = house()
    return (
        f"A cup of bran weighs {both(here.cup_g, 'g')}, a slice of carrot "
        f"{both(here.slice_g, 'g')}; weigh yours."
    )


def _systems() -> tuple[str, str]:
    first = house().system
    return first, "us" if first == "metric" else "metric"


def _pieces(count: float, name: str) -> str:
    """A count of cups or slices in the steps a keeper measures: quarters, halves, whole ones."""
    steps = 4 if count < 3 else 2 if count < 10 else 1
    near = max(round(count * steps), 1) / steps
    return f"{near:g} {name}{'s' if near > 1 else ''}"


def _split(unit: str) -> tuple[str, str]:
    """A unit without its rate, and the rate in words; larvae are told by the hundred."""
    if unit == "mg":
        return unit, " a hundred"
    for ending, words in _RATES.items():
        if unit.endswith(ending):
            return unit.removesuffix(ending), words
    return unit, ""


def _scale(size: float, unit: str, system: str) -> tuple[str, str]:
    """Name and unit in which a quantity of this size is shown; an unknown unit is its own."""
    scales = _SCALES[system].get(unit, ((unit, unit),))
    first = scales[0][1]
    # As it is written: 999.6 g are a kilogram.
    large = float(f"{abs(_in_scale(size, unit, first)):.3g}") >= _LARGE.get(first, float("inf"))
    return scales[-1] if large else scales[0]


def _in_scale(values: Any, unit: str, other: str) -> Any:
    return converted(values * 100.0 if unit == "mg" and other != "mg" else values, unit, other)


def _number(value: float, unit: str, form: Form, scale: tuple[str, str]) -> str:
    there = _in_scale(value, unit, scale[1])
    if unit in ("C", "K"):
        return f"{round(there, 1) + 0.0:.1f}".removesuffix(".0")
    return form(there)


def _text(value: float, unit: str, form: Form, system: str) -> str:
    """A quantity in the units of a system; its unit has no rate."""
    if unit == "dm2":
        return _floor(value, system)
    if unit.endswith("/dm2"):
        piece, area = _SQUARE[system]
        return f"{form(value * area)} {unit.removesuffix('/dm2')} on {piece}"
    scale = _scale(value, unit, system)
    return f"{_number(value, unit, form, scale)} {scale[0]}"


def _floor(dm2: float, system: str) -> str:
    """A floor as the sides of a box, in halves of a centimetre or inch.

    Of boxes not much longer than wide the nearest in area is taken, and of equal ones the nearest
    to 4 by 3, so that what is read back is shown as before.
    """
    unit, name = ("in2", "in") if system == "us" else ("cm2", "cm")
    area = converted(dm2, "dm2", unit)
    boxes = []
    for k in range(1, math.ceil(2 * math.sqrt(area)) + 1):
        side = k / 2
        other = max(round(2 * area / side), k) / 2
        if other <= _LONGEST * side or other == side + 0.5:
            error = round(abs(side * other - area), 9)
            boxes.append((error, abs(other / side - _TALL), other, side))
    _, _, other, side = min(boxes)
    return f"{other:g} x {side:g} {name}"
