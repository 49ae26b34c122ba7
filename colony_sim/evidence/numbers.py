"""The published numbers: what was found, where, how it was read, and how it counts.

``numbers.csv`` holds one row a published number or ordering; ``allowed.toml`` says how far the
model may lie from it, by kind of quantity. A published range is one number with two ends.
Values that a collector computed from other rows, assumptions, and the same finding told twice
are left out.
"""

from __future__ import annotations

import csv
import io
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import TypeVar

from colony_sim.biology.parameters import catalogue
from colony_sim.errors import InputError

_Words = TypeVar("_Words", bound=StrEnum)


class Standing(StrEnum):
    """What a number counts as."""

    USED = "used"  # it set a value, so agreement is no evidence
    JUDGED = "judged"
    HELD = "held against"  # the model has no process that could give it; a miss


class Compare(StrEnum):
    """What of the model stands beside the published number."""

    OVERLAP = "overlap"  # the 5 to 95 % range over the draws must reach the widened number
    WORDS = "words"  # the median over the draws must lie within what the words are read as
    INDIVIDUALS = "individuals"  # 5 to 95 % of all individuals must lie within the widened range


class Read(StrEnum):
    """How the number was read."""

    TEXT = "V"
    ABSTRACT = "A"
    SECOND_HAND = "V2"
    MEMORY = "M"


@dataclass(frozen=True)
class Allowance:
    """Difference between studies that a kind of quantity is allowed.

    `below` and `above` are factors, `points` is absolute; `reason` says why.
    """

    below: float
    above: float
    points: float
    reason: str

    def widened(self, low: float, high: float) -> tuple[float, float]:
        """The ends of a published range, moved apart."""
        return low / self.below - self.points, high * self.above + self.points


@dataclass(frozen=True)
class Number:
    """One published number or ordering.

    Attributes
    ----------
    id : str
        "replication.name".
    replication, theme : str
    quantity, unit : str
    low, high : float
        Ends of the published range, equal for one value; NaN for a finding without number. For
        words, what they are read as.
    sd : float
        Published standard deviation, NaN if none.
    kind : str
        Key of the allowance.
    compare : Compare
    conditions, reading, source : str
        What is known of the experiment, what its words are taken to mean, who published it.
    read : Read
    standing : Standing
    sets : tuple of str
        Keys of the parameters that a used number set.
    reason : str
        Why it stands so.
    """

    id: str
    replication: str
    theme: str
    quantity: str
    low: float
    high: float
    unit: str
    sd: float
    kind: str
    compare: Compare
    conditions: str
    reading: str
    source: str
    read: Read
    standing: Standing
    sets: tuple[str, ...]
    reason: str

    @property
    def middle(self) -> float:
        """Geometric mean of the ends, or the mean where an end is not above zero."""
        if self.low > 0.0:
            return math.sqrt(self.low * self.high)
        return (self.low + self.high) / 2.0

    @property
    def published(self) -> str:
        """The number in words: a value, a range, or the reading of an ordering."""
        if self.compare is Compare.WORDS:
            return self.reading
        if self.low == self.high:
            return f"{self.low:g} {self.unit}"
        return f"{self.low:g} to {self.high:g} {self.unit}"


_COLUMNS = tuple(Number.__dataclass_fields__)


def _text(name: str) -> str:
    return files("colony_sim.evidence").joinpath(name).read_text("utf-8")


@cache
def allowances() -> Mapping[str, Allowance]:
    """Allowances by kind of quantity."""
    return read_allowances(_text("allowed.toml"), "allowed.toml")


def read_allowances(text: str, where: str) -> dict[str, Allowance]:
    """Allowances from TOML; `InputError` names a kind that is wrong."""
    found = {}
    for kind, item in tomllib.loads(text).items():
        below, above = item.get("below", 1.0), item.get("above", 1.0)
        points = item.get("points", 0.0)
        if set(item) - {"below", "above", "points", "reason"} or not item.get("reason"):
            raise InputError(where, kind, sorted(item), "below, above, points and a reason")
        if not (below >= 1.0 and above >= 1.0 and points >= 0.0):
            raise InputError(
                where, kind, (below, above, points), "factors from 1 on, points from 0"
            )
        found[kind] = Allowance(float(below), float(above), float(points), item["reason"])
    return found


@cache
def numbers() -> tuple[Number, ...]:
    """All published numbers, in the order of the file."""
    return read_numbers(_text("numbers.csv"), "numbers.csv", allowances())


def read_numbers(text: str, where: str, allowed: Mapping[str, Allowance]) -> tuple[Number, ...]:
    """Numbers from CSV.

    Raises
    ------
    InputError
        A column is missing or unknown, or a row does not say what it must; names the row by id.
    """
    reader = csv.DictReader(io.StringIO(text))
    if tuple(reader.fieldnames or ()) != _COLUMNS:
        raise InputError(where, "columns", reader.fieldnames, ", ".join(_COLUMNS))
    found: dict[str, Number] = {}
    for row in reader:
        number = _number(row, where, allowed)
        if number.id in found:
            raise InputError(where, "id", number.id, "each id once")
        found[number.id] = number
    return tuple(found.values())


def _number(row: dict[str, str], where: str, allowed: Mapping[str, Allowance]) -> Number:
    name = row["id"] or ""
    if not re.fullmatch(r"[a-z0-9]+\.[a-z0-9_]+", name):
        raise InputError(where, "id", name, "replication.name in small letters")

    def wrong(column: str, allowed: str) -> InputError:
        return InputError(where, f"{name} {column}", row[column], allowed)

    def word(column: str, kind: type[_Words]) -> _Words:
        try:
            return kind(row[column])
        except ValueError:
            raise wrong(column, ", ".join(kind)) from None

    def value(column: str) -> float:
        if row[column] == "":
            return math.nan
        try:
            return float(row[column])
        except ValueError:
            raise wrong(column, "a number or nothing") from None

    if row["replication"] != name.split(".")[0]:
        raise wrong("replication", f"{name.split('.')[0]}, as in the id")
    for column in ("theme", "quantity", "source", "reason"):
        if not row[column]:
            raise wrong(column, "some text")
    if row["kind"] not in allowed:
        raise wrong("kind", ", ".join(allowed))
    standing, compare = word("standing", Standing), word("compare", Compare)
    low, high, sets = value("low"), value("high"), tuple(row["sets"].split())
    if not (low <= high or (standing is Standing.HELD and math.isnan(low) and math.isnan(high))):
        raise wrong("low", "at most high; both may miss only where held against")
    if (standing is Standing.USED) != bool(sets):
        raise wrong("sets", "the keys a used number sets, and nothing else")
    for key in sets:
        if key not in catalogue():
            raise wrong("sets", "known parameter keys")
    if (compare is Compare.WORDS) != bool(row["reading"]):
        raise wrong("reading", "what the words are taken to mean, for words only")
    return Number(
        id=name,
        replication=row["replication"],
        theme=row["theme"],
        quantity=row["quantity"],
        low=low,
        high=high,
        unit=row["unit"],
        sd=value("sd"),
        kind=row["kind"],
        compare=compare,
        conditions=row["conditions"],
        reading=row["reading"],
        source=row["source"],
        read=word("read", Read),
        standing=standing,
        sets=sets,
        reason=row["reason"],
    )
