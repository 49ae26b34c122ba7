"""How is a cell of a log read? What parts the columns, decimal commas, units of weight, words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from colony_sim.errors import InputError
from colony_sim.experiment.units import read

#: What may part the columns; where it is no comma, a comma may stand before decimals.
DELIMITERS = (",", ";", "\t")
#: Words that keepers use for what the log calls otherwise, and what to write for it.
SYNONYMS = {
    **dict.fromkeys(
        ("moved", "move", "transferred"),
        "'beetles out' of the old bin and 'beetles in' for the new one, on one date",
    ),
    "strained": "'beetles out', or 'harvest' if it was larvae that were strained out",
    **dict.fromkeys(
        ("sieved", "sifted"), "'harvest' for larvae taken, 'beetles out' for beetles strained out"
    ),
    "fed": "'bran added', or 'moisture started' on the first day of vegetables",
    **dict.fromkeys(
        ("carrot", "carrots", "potato", "vegetable", "vegetables", "water"),
        "'moisture started' on its first day",
    ),
    "bran": "'bran added'", "oats": "'bran added'", "topped": "'bran added'",
    "took": "'harvest'", "taken": "'harvest'", "collected": "'harvest'", "harvested": "'harvest'",
    "weighed": "'weight' for all in the bin, 'sample' for a few weighed together",
    "counted": "'count'", "saw": "'count'",
    "died": "'dead beetles'", "dead": "'dead beetles'",
    "emptied": "'cleared'", "washed": "'cleared'", "cleaned": "'cleared'",
    "bought": "'larvae in' or 'beetles in', with a count",
    "started": "'beetles in', with a count",
    "hatched": "'beetles picked' if they went to the breeders, else 'count'",
    "pupae": "'pupae picked' if they went to the tray, else 'count'",
}  # fmt: skip

_WITH_UNIT = re.compile(r"([0-9][0-9.,]*)\s*([a-zA-Z%]+)\.?")
_APPROXIMATE = re.compile(r"[~<>≈]\s*(\d+(?:[.]\d+)?)")


@dataclass(frozen=True)
class Number:
    """A number as read, or why it is none.

    Attributes
    ----------
    value : float or None
    remedy : str
        What to write instead; empty where it could be read.
    note : str
        How it was read, where that is not plain; else empty.
    """

    value: float | None = None
    remedy: str = ""
    note: str = ""


def delimiter(head: str) -> str:
    """What parts the columns of a log with this first line."""
    return max(DELIMITERS, key=head.count) if head else ","


def number(text: str, grams: bool, comma_parts: bool, bran: bool = False) -> Number:
    """Read a cell of the columns `count` and `grams`.

    Parameters
    ----------
    text : str
        Not empty.
    grams : bool
        Whether it may carry a unit of weight.
    comma_parts : bool
        Whether columns are parted by commas; else a comma stands before decimals.
    bran : bool
        Whether it is bran, which may be measured in cups.
    """
    found = _WITH_UNIT.fullmatch(text)
    if found is not None:
        alone, unit = number(found[1], grams, comma_parts), found[2].lower()
        if alone.value is None:
            return alone
        if not grams:
            weight = "; a weight belongs in grams" if _in_grams(1.0, unit, bran) else ""
            return Number(remedy=f"the number alone: {found[1]}{weight}")
        value = _in_grams(alone.value, unit, bran)
        if value is None:
            units = f"g, kg, oz, lb{', cups' if bran else ''}"
            return Number(remedy=f"the number alone, in grams; known units: {units}")
        return Number(value, note="" if unit[0] == "g" else f"{text} read as {value:.4g} g")
    if approximate := _APPROXIMATE.fullmatch(text):
        return Number(remedy=f"the number alone: {approximate[1]}, and yes under about")
    parts = re.fullmatch(r"(\d+)([.,])(\d+)", text)
    # In one country 1,250 is a thousand, in another a little over one.
    if (
        parts is not None
        and (len(parts[3]), parts[2]) == (3, "," if comma_parts else ".")
        and len(parts[1]) <= 3
        and parts[1] != "0"
    ):
        sign = "." if comma_parts else ","
        one, other = f"{parts[1]}{parts[3]}", f"{parts[1]}{sign}{parts[3].rstrip('0') or '0'}"
        return Number(remedy=f"{one} or {other}? write no separator between thousands")
    if parts is not None:
        text = text.replace(",", ".")
    # Python would take 1_000, inf and nan as well.
    plain = re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", text)
    return Number(float(text) if plain else None)


def _in_grams(value: float, unit: str, bran: bool) -> float | None:
    """A weight in grams; None for a unit of something else."""
    try:
        return read(f"{value!r} {unit}", "g", "", "", "bran" if bran else "")
    except InputError:
        return None


def meant(text: str) -> str:
    """What a keeper who wrote this word under `action` may have meant; empty if unknown."""
    return next((SYNONYMS[word] for word in text.split() if word in SYNONYMS), "")
