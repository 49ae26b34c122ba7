"""In which units does this house speak? Read a quantity with its unit into that of the model.

The model, its tables and its keys are metric, each in the unit that its name or its entry tells. A
keeper may write a text with a unit wherever a key has one (``temperature_c = "68 F"``), and choose
the units that are shown (``units = "us"``; the showing is `words.units`). Numbers are converted by
the package pint, which is imported when a unit is converted first.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

from colony_sim.biology.parameters import catalogue
from colony_sim.errors import ARGUMENT, InputError

SYSTEMS = ("metric", "us")
CUP_CM3 = 236.588
"""A cup of the US kitchen (cm3), half a liquid pint (NIST SP 811, B.8)."""
CARROT_WATER = 0.88
"""Water in fresh carrot (share): from memory, no source at hand."""
_CUP_G, _SLICE_G = (10.0, 500.0), (0.1, 500.0)
UNITS, CUP, SLICE = "units", "cup_of_bran_g", "slice_of_carrot_g"


@dataclass(frozen=True)
class House:
    """The units of a house.

    Attributes
    ----------
    system : str
        "metric" or "us": in which quantities are shown.
    cup_g : float
        Grams of bran in a cup, filled loosely: `CUP_CM3` at the bulk volume of the model's bran
        (``feed.bran_cm3_per_g``: 55 g); every bran differs, weigh yours.
    slice_g : float
        Grams of a slice of carrot; 5 g is one of 5 mm and 35 mm across. Common practice, no source.
    """

    system: str = "metric"
    cup_g: float = 55.0
    slice_g: float = 5.0

    @classmethod
    def of(cls, table: Mapping[str, Any], where: str, prefix: str) -> House:
        """From the keys `KEYS` of a table of a file; InputError for what is not allowed."""
        system = table.get(UNITS, cls.system)
        if system not in SYSTEMS:
            allowed = " or ".join(f'"{word}"' for word in SYSTEMS)
            raise InputError(where, f"{prefix}{UNITS}", system, allowed)
        weights = []
        for key, (low, high) in ((CUP, _CUP_G), (SLICE, _SLICE_G)):
            value = table.get(key, {CUP: cls.cup_g, SLICE: cls.slice_g}[key])
            if isinstance(value, str):
                value = read(value, "g", where, f"{prefix}{key}")
            if isinstance(value, bool) or not isinstance(value, int | float) or not (
                low <= value <= high
            ):  # fmt: skip
                allowed = f"a number from {low:g} to {high:g} (g)"
                raise InputError(where, f"{prefix}{key}", value, allowed)
            weights.append(float(value))
        return cls(system, *weights)

    def in_units(self, system: str | None) -> House:
        """The same in the units of an option, if it is given; InputError if it is not known."""
        if system is None:
            return self
        return replace(self, system=House.of({UNITS: system}, ARGUMENT, "").system)

    def as_dict(self) -> dict[str, Any]:
        """Plain data from which `House(**data)` makes the same."""
        return asdict(self)


KEYS = (UNITS, CUP, SLICE)
METRIC = House()
_here: ContextVar[House | None] = ContextVar("house", default=None)
_everywhere = [METRIC]
"""Of threads without a house of their own."""


def house() -> House:
    """The house whose units are shown here; metric unless `using` says otherwise."""
    return _here.get() or _everywhere[-1]


@contextmanager
def using(chosen: House) -> Iterator[None]:
    """Show quantities in the units of a house, in this thread."""
    token = _here.set(chosen)
    try:
        yield
    finally:
        _here.reset(token)


@contextmanager
def using_everywhere(chosen: House) -> Iterator[None]:
    """Show quantities in the units of a house, in all threads without one of their own."""
    _everywhere.append(chosen)
    try:
        yield
    finally:
        _everywhere.remove(chosen)


_DEFINED = (
    "kelvin = [temperature]; offset: 0 = k",
    "celsius = kelvin; offset: 273.15 = c",
    "fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = f",
    "gram = [mass] = g", "milligram = 1e-3 gram = mg", "kilogram = 1e3 gram = kg",
    "pound = 453.59237 gram = lb = lbs", "ounce = pound / 16 = oz",
    "centimeter = [length] = cm = centimetre", "millimeter = 0.1 cm = mm = millimetre",
    "decimeter = 10 cm = dm = decimetre", "meter = 100 cm = m = metre",
    "inch = 2.54 cm = in = inches", "foot = 12 inch = ft = feet",
    "second = [time] = s = sec", "minute = 60 second = min", "hour = 60 minute = h",
    "day = 24 hour = d", "week = 7 day",
    "year = 365.25 day",
)  # fmt: skip
"""Inch and pound are the international ones (NIST SP 811, B.8)."""
_KNOWN = {
    "C": "C, F", "K": "K, C, F (a difference)", "g": "g, kg, oz, lb", "mg": "mg, g, oz",
    "g/d": "g, oz, lb (a day)", "cm": "cm, mm, in, ft", "d": "days, weeks", "min": "min, h",
    "s": "s, min", "min/week": "min, h (a week)", "kg/week": "kg, lb (a week)",
    "dm2": 'dm2, cm2, sq in, sq ft or sides, as "40 x 30 cm"',
}  # fmt: skip
"""What may be written for a key of each unit; a key of another takes numbers alone."""
_AN_AREA = 'dm2, sq in or a piece, as "150 on 4 x 4 in"'
_NOUNS = "eggs|egg|larvae|larva|adults|beetles|skins|insects|of bran|of carrot|of water|each"
_NUMBER = r"[-+]?(?:\d+\s+\d+/\d+|\d+/\d+|\d+\.?\d*|\.\d+)"
_RATES = ("/d", "/week")
"""Ends of units whose time a keeper may leave out."""
_SIDES = re.compile(rf"({_NUMBER})\s*(?:x|by|\N{{MULTIPLICATION SIGN}})\s*({_NUMBER})\s*([a-z]+)")
_PLAIN = re.compile(rf"({_NUMBER})\s*(.*)")


@cache
def _registry(cup_g: float, slice_g: float) -> Any:
    import pint

    registry: Any = pint.UnitRegistry(None)
    for line in _DEFINED:
        registry.define(line)
    registry.define(f"cup = {cup_g!r} gram")
    registry.define(f"slice = {slice_g * CARROT_WATER!r} gram")
    return registry


def _unit(text: str, registry: Any) -> Any:
    """A unit of the registry from words such as "square inches", "g/d" or "lb a week"."""
    text = re.sub(r"°|\bdegrees?\b|\bdeg\b\.?", " ", text.lower().replace("²", "2"))
    text = re.sub(rf"\b(?:{_NOUNS})\b", " ", text)
    text = re.sub(r"\s+(?:a|per)\s+|\s*/\s*", "/", f" {text.strip()} ").strip()
    text = re.sub(r"\b(?:square|sq\.?)\s+([a-z]+)", r"\g<1>2", text)
    top, *below = text.split("/")
    found = registry.Unit("")
    for part, power in ((top, 1), *((part, -1) for part in below)):
        named = re.fullmatch(r"\s*([a-z]+)\.?(2?)\s*", part)
        if named is None:
            if part.strip() or power < 0:
                raise ValueError(part)
            continue
        found *= registry.Unit(named[1]) ** (power * (2 if named[2] else 1))
    return found


def _value(text: str) -> float:
    return float(sum(Fraction(part) for part in text.split()))


def _target(unit: str, registry: Any) -> Any:
    special = {"K": "kelvin", "delta_F": "delta_fahrenheit"}.get(unit)
    return registry.Unit(special) if special else _unit(unit, registry)


def read(text: str, unit: str, where: str, key: str, stuff: str = "") -> float:
    """A quantity with its unit, in the unit of the model.

    Parameters
    ----------
    text : str
        A number (fractions as ``1 1/2`` too) and a unit, such as ``68 F``, ``2 lb``,
        ``16 x 12 in``, ``3 cups``, ``6 slices a day``, ``8 g a hundred``, ``150 eggs/dm2`` or
        ``155 on 4 x 4 in``. Where the unit of the key is a rate, ``a day`` may be left out.
    unit : str
        Of the key, as in ``parameters.toml``.
    where, key : str
        For the error.
    stuff : str
        "bran" where cups, "water" where slices of carrot are a unit as well.

    Raises
    ------
    InputError
        If that is no quantity of this kind.
    """
    import pint

    here = house()
    registry = _registry(here.cup_g, here.slice_g)
    try:
        given, each = " ".join(text.lower().split()), 1.0
        if share := re.fullmatch(r"(.+?) (?:a|per) (?:hundred|100)", given):
            given, each = share[1], 0.01
        if piece := re.fullmatch(r"(.+?) on (.+)", given):
            area = _sides(piece[2], registry)
            count = re.fullmatch(rf"({_NUMBER})\s*(?:{_NOUNS})?", piece[1])
            if area is None or count is None:
                raise ValueError
            found = _value(count[1]) / area
        else:
            found = _sides(given, registry)
        if found is None:
            plain = _PLAIN.fullmatch(given)
            if plain is None or not plain[2]:
                raise ValueError
            cups, slices = "cup" in plain[2], "slice" in plain[2]
            if cups and stuff != "bran" or slices and stuff != "water":
                raise ValueError
            of = _unit(plain[2], registry)
            if unit == "K" and of.dimensionality == registry.kelvin.dimensionality:
                of = registry.Unit(f"delta_{of}")
            found = registry.Quantity(_value(plain[1]) * each, of)
        target = _target(unit, registry)
        if unit.endswith(_RATES):
            time = registry.Unit(unit.rsplit("/", 1)[1])
            if found.dimensionality == (target * time).dimensionality:
                found = found / time
        return float(f"{found.to(target).magnitude:.12g}")
    except (ValueError, ZeroDivisionError, OverflowError, AttributeError, pint.PintError):
        raise InputError(where, key, text, f"a number ({unit}), or one with a unit: "
                         f"{_known(unit, stuff)}") from None  # fmt: skip


def _sides(text: str, registry: Any) -> Any:
    """The area of ``16 x 12 in``; None for a text of another form."""
    found = _SIDES.fullmatch(text)
    if found is None:
        return None
    return registry.Quantity(_value(found[1]) * _value(found[2]), _unit(found[3], registry) ** 2)


def _known(unit: str, stuff: str) -> str:
    known = _KNOWN.get(unit, _AN_AREA)
    more = {"bran": ", cups", "water": ", slices of carrot"}.get(stuff, "")
    return f"{known.removesuffix(' (a day)')}{more}" + (" (a day)" if "(a day)" in known else "")


@cache
def _factor(unit: str, other: str) -> tuple[float, float]:
    """Slope and intercept from one unit to another."""
    registry = _registry(METRIC.cup_g, METRIC.slice_g)
    ends = [registry.Quantity(x, _target(unit, registry)).to(_target(other, registry)).magnitude
            for x in (0.0, 1.0)]  # fmt: skip
    return ends[1] - ends[0], ends[0]


def converted(value: Any, unit: str, other: str) -> Any:
    """A number, or an array of them, of one unit in another of the same kind."""
    if unit == other:
        return value
    slope, start = _factor(unit, other)
    return value * slope + start


_CLIMATE = {"temperature_c": "C", "mean_c": "C", "amplitude_k": "K"}


def unit_of(key: str) -> str:
    """Unit of a key of the biology or of the handling for which a text may be written, or ""."""
    entry = catalogue().get(key)
    if entry is None or not entry.is_number:
        return ""
    return entry.unit if entry.unit in _KNOWN or entry.unit.endswith("/dm2") else ""


def read_key(key: str, value: Any, where: str, units: Mapping[str, str] | None = None) -> Any:
    """A value of a key: a text of a key that has a unit as a number, all else as it is.

    Parameters
    ----------
    key : str
        Of the biology or the handling, or one of `units`.
    value : object
    where : str
        For the error.
    units : mapping of str to str, optional
        Units of other keys.
    """
    unit = (units or {}).get(key) or unit_of(key)
    if not unit or not isinstance(value, str):
        return value
    section = key.split(".")[0]
    stuff = {"bran": "bran", "moisture": "water"}.get(section, "")
    return read(value, unit, where, key, stuff)


def in_model_units(
    tables: Mapping[str, Any], where: str, units: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """Tables of a file with every quantity as a number in the unit of its key.

    Parameters
    ----------
    tables : mapping
        As parsed; ``[biology]``, ``[handling]`` and ``[[policy]]`` have keys of the model,
        ``[climate]`` its own.
    where : str
        For the errors.
    units : mapping of str to str, optional
        Units of other keys, by ``table.key``.

    Raises
    ------
    InputError
        A text that is no quantity of its key.
    """
    known = {**{f"climate.{key}": unit for key, unit in _CLIMATE.items()}, **(units or {})}

    def walk(table: Mapping[str, Any], prefix: str, here: str) -> dict[str, Any]:
        found = {}
        for name, value in table.items():
            key = f"{prefix}{name}"
            if isinstance(value, Mapping):
                found[name] = walk(value, f"{key}.", here)
            else:
                found[name] = read_key(key, value, here, known)
        return found

    done: dict[str, Any] = {}
    for name, value in tables.items():
        if name == "policy" and isinstance(value, list):
            done[name] = [
                walk(each, "", f'{where}, policy "{each.get("name")}"')
                if isinstance(each, Mapping) else each
                for each in value
            ]  # fmt: skip
        elif isinstance(value, Mapping):
            prefix = "" if name in ("biology", "handling") else f"{name}."
            done[name] = walk(value, prefix, where)
        else:
            done[name] = value
    return done
