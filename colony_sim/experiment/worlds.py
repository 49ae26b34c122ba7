"""Worlds: joint draws of the biology, such as the profile of one colony that a log has informed.

A world is one joint draw: values of the biology that hold together. A comparison takes one world
for each replicate, so that its intervals hold both chance and what is not known of the values.
Where one world has to do, it is the draw nearest the centre of all.

The file is a CSV of our own, one row a world and one column a key. Before its header row stand
comments: ``# name = value`` (as in TOML) for the format, the name and the facts, ``## ...`` for
people. ``pandas.read_csv(path, comment="#")`` opens it.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from colony_sim.atomic import write_text
from colony_sim.biology.parameters import (
    Entry,
    Parameters,
    Value,
    catalogue,
    find,
    out_of_order,
)
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.inputs import read_text, refuse_long_keys

FORMAT = 2
MOST_DRAWS = 10_000
MOST_BYTES = 30_000_000
"""Size of a file: every key of the biology, with all digits, in `MOST_DRAWS` worlds."""
RANGE = 0.9
"""Share of the draws in the interval that stands for the plausible range of a fitted key."""
SHIPPED = "published"
"""Name of the worlds that the package holds: those that the literature allows."""
_MOST_HEAD = 10_000
"""Lines of comments and facts above the draws."""
_NUMBERING = "world"
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
_FACT = re.compile(r"[A-Za-z0-9_-]+")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_OLD = re.compile(r"^\[profile\]", re.MULTILINE)
_A_PROFILE = "a profile, as colony-sim fit writes it"
_TRUTH = ("false", "true")


@dataclass(frozen=True, eq=False)
class Worlds:
    """Joint draws of the biology, and where they come from.

    Attributes
    ----------
    name : str
        1 to 64 of the characters a-z 0-9 _ -; part of the names of results folders.
    keys : tuple of str
        Keys of the biology.
    draws : numpy.ndarray
        Joint draws (float64, draws x keys): a number in the unit of its key, a choice as its place
        in `Entry.choices` (from 0), a truth value as 0 or 1.
    facts : mapping
        Where they come from: texts, numbers, truth values or lists of them, by name (file and
        hash of the log, method, range of dates, fingerprint of the model, seed).

    Raises
    ------
    InputError
        An unknown key, one that is not of the biology, a fact that TOML cannot hold, or draws of
        another shape. The values are checked by `check`.
    """

    name: str
    keys: tuple[str, ...]
    draws: np.ndarray
    facts: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        where = f"worlds {self.name}"
        draws = np.array(self.draws, dtype=np.float64)
        draws.flags.writeable = False
        object.__setattr__(self, "keys", tuple(self.keys))
        object.__setattr__(self, "draws", draws)
        object.__setattr__(self, "facts", _plain_facts(self.facts, where))
        _check_name(self.name, where)
        _check_keys(self.keys, where)
        if draws.ndim != 2 or draws.shape[1] != len(self.keys):
            allowed = f"draws x {len(self.keys)} keys"
            raise InputError(where, "shape of draws", draws.shape, allowed)
        _check_count(len(draws), where)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """What is known of each of the keys."""
        return tuple(catalogue()[key] for key in self.keys)

    def check(self, where: str, base: Parameters | None = None) -> None:
        """Refuse draws out of limits, or that break the order of keys.

        Parameters
        ----------
        where : str
            What an error names, with the number of the world.
        base : Parameters, optional
            Values of the other keys; default: those of `parameters.toml`.

        Raises
        ------
        InputError
            The first such world.
        """
        base = Parameters.default() if base is None else base
        columns = list(zip(self.entries, self.draws.T, strict=True))
        bad = ~np.logical_and.reduce([_allowed(entry, column) for entry, column in columns])
        values = base.as_dict() | {entry.key: column for entry, column in columns}
        bad |= out_of_order(values, len(self.draws))
        if bad.any():
            number = int(np.argmax(bad)) + 1
            base.with_values(self.draw(number), where=f"{where}, {_NUMBERING} {number}")

    def draw(self, replicate: int) -> dict[str, Value]:
        """Values of the draw that replicate number `replicate` (from 1) takes, by key.

        After the last draw comes the first again.
        """
        row = self.draws[(replicate - 1) % len(self.draws)].tolist()
        return {e.key: _value(e, code) for e, code in zip(self.entries, row, strict=True)}

    def centre(self) -> dict[str, Value]:
        """Values of the draw nearest the centre of all, by key.

        The distance of a draw is the sum of its squared normal scores (of average ranks) over
        numbers, and of twice the share of the draws with another option over choices and truth
        values. Of draws equally near it is the first. It is a draw, not the medians: values that
        are each in the middle need not hold together as the data allow; those of a draw do.
        """
        far = np.zeros(len(self.draws))
        for entry, column in zip(self.entries, self.draws.T, strict=True):
            if entry.group != "biology":
                continue  # Hands are drawn on their own; they do not say which draw is central.
            ranks, counts = _ranks(column)
            if entry.is_number:
                far += ndtri((ranks - 0.5) / len(column)) ** 2
            else:
                far += 2 * (1 - counts / len(column))
        # Rounded, so that equal distances are equal in whatever order they were summed.
        return self.draw(int(np.argmin(far.round(9))) + 1)

    def first(self, count: int) -> Worlds:
        """The first worlds; replicates beyond them live in these again, with other seeds.

        Raises
        ------
        InputError
            A number that is none of 1 to that of the worlds.
        """
        if isinstance(count, bool) or not 1 <= count <= len(self.draws):
            raise InputError(ARGUMENT, "worlds", count, f"1 to {len(self.draws)} of them")
        return replace(self, draws=self.draws[:count])

    def frame(self) -> pd.DataFrame:
        """One row a world (index `world`, from 1), one column a key; choices in words."""
        columns = {
            entry.key: [_value(entry, code) for code in column]
            for entry, column in zip(self.entries, self.draws.T.tolist(), strict=True)
        }
        index = pd.RangeIndex(1, len(self.draws) + 1, name=_NUMBERING)
        return pd.DataFrame(columns, index=index)

    def interval(self, key: str, level: float) -> tuple[float, float]:
        """Central interval of a number that holds the share `level` of the draws, in its unit.

        Raises
        ------
        InputError
            A key without an interval: a choice or a truth value.
        """
        if not catalogue()[key].is_number:
            raise InputError(f"worlds {self.name}", "interval of", key, "a key with a number")
        column = self.draws[:, self.keys.index(key)]
        low, high = np.quantile(column, [0.5 - level / 2, 0.5 + level / 2])
        return float(low), float(high)

    def joined(self, keys: Sequence[str], columns: np.ndarray) -> Worlds:
        """The same worlds with more keys; `columns` is an array of worlds x `keys`.

        Keys that the worlds have already stay as they are.
        """
        new = [i for i, key in enumerate(keys) if key not in self.keys]
        names = (*self.keys, *(keys[i] for i in new))
        return replace(self, keys=names, draws=np.hstack([self.draws, columns[:, new]]))

    def without(self, keys: Iterable[str]) -> Worlds | None:
        """The same draws with some keys left out; None if no key is left."""
        gone = set(keys)
        kept = [i for i, key in enumerate(self.keys) if key not in gone]
        if len(kept) == len(self.keys):
            return self
        if not kept:
            return None
        names = tuple(self.keys[i] for i in kept)
        return Worlds(self.name, names, self.draws[:, kept], self.facts)

    def as_dict(self) -> dict[str, Any]:
        """Plain data from which `Worlds.from_dict` makes the same worlds."""
        entries = self.entries
        return {
            "name": self.name,
            "facts": dict(self.facts),
            "keys": list(self.keys),
            "draws": [
                [_value(entry, code) for entry, code in zip(entries, row, strict=True)]
                for row in self.draws.tolist()
            ],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Worlds:
        """The worlds that `as_dict` described.

        Raises
        ------
        InputError
            An unknown key.
        KeyError, TypeError, ValueError
            Data that `as_dict` does not make.
        """
        entries = [find(key, f"worlds {data['name']}") for key in data["keys"]]
        draws = [
            [_code(entry, value) for entry, value in zip(entries, row, strict=True)]
            for row in data["draws"]
        ]
        return cls(data["name"], tuple(data["keys"]), np.array(draws), data["facts"])

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, Worlds)
            and (self.name, self.keys, self.facts) == (other.name, other.keys, other.facts)
            and np.array_equal(self.draws, other.draws)
        )

    def __hash__(self) -> int:
        return hash((self.name, self.keys, self.draws.tobytes()))


def fitted_ranges(entries: Iterable[Entry], worlds: Worlds | None) -> list[Entry]:
    """Entries with the interval that holds 90 % of the draws as range, where a key is drawn."""
    found = []
    for entry in entries:
        if worlds is not None and entry.is_number and entry.key in worlds.keys:
            low, high = worlds.interval(entry.key, RANGE)
            about = f"profile {worlds.name}"
            entry = replace(entry, low=low, high=high, basis="fitted", source=about)
        found.append(entry)
    return found


def write_worlds(path: Path, worlds: Worlds) -> None:
    """Write a file of worlds, whole or not at all.

    Raises
    ------
    InputError
        A draw out of the limits of its keys, or that breaks their order.
    """
    worlds.check(f"worlds {worlds.name}")
    text = _text(worlds)
    write_text(Path(path), text)


def shipped_file() -> Path:
    """The file of the worlds of the package."""
    return Path(str(files("colony_sim") / "worlds" / "data" / f"{SHIPPED}.csv"))


def read_worlds(path: str | Path) -> Worlds:
    """Read and check a file of worlds.

    Parameters
    ----------
    path : str or Path
        A file, or `SHIPPED` for the worlds of the package.

    Raises
    ------
    InputError
        In one line: the file, the key or line, the value read and what is allowed.
    """
    path = shipped_file() if str(path) == SHIPPED else Path(path)
    where = str(path)
    text = read_text(path, MOST_BYTES, _A_PROFILE)
    if _OLD.search(text):
        allowed = "a profile in CSV; run colony-sim fit again, which writes one"
        raise InputError(where, "file", "a TOML profile of an older version", allowed)
    lines = text.rstrip("\n").split("\n", MOST_DRAWS + _MOST_HEAD)  # More are refused below.
    start = next((i for i, line in enumerate(lines) if not line.startswith("#")), len(lines))
    header = lines[start].split(",") if start < len(lines) else [""]
    if header[0] != _NUMBERING:
        allowed = f"the header row {_NUMBERING},KEY,...; {_A_PROFILE}"
        raise InputError(where, f"line {start + 1}", ",".join(header), allowed)
    facts = _facts(lines[:start], where)
    layout, name = facts.pop("format", None), facts.pop("name", None)
    if layout != FORMAT or isinstance(layout, bool):
        raise InputError(where, "format", layout, f"{FORMAT}")
    _check_name(name, where)
    facts = _plain_facts(facts, where)
    keys = tuple(header[1:])
    _check_keys(keys, where)
    worlds = Worlds(name, keys, _draws(keys, lines, start + 1, where), facts)
    worlds.check(where)
    return worlds


def profile_of(profile: Worlds | str | Path | None) -> Worlds | None:
    """A profile that is given, read where it is a file."""
    return profile if profile is None or isinstance(profile, Worlds) else read_worlds(profile)


def worlds_of(profile: Worlds | str | Path | None, one_world: bool) -> Worlds | None:
    """The worlds that a study lives in: those of a profile, or those of the package.

    None for one world: the values of the experiment and of `parameters.toml`.

    Raises
    ------
    InputError
        A profile and one world.
    """
    if one_world and profile is not None:
        raise InputError(ARGUMENT, "one_world", one_world, "not together with `profile`")
    return None if one_world else profile_of(SHIPPED if profile is None else profile)


# ---- Values as numbers, and as themselves


def _options(entry: Entry) -> tuple[str, ...]:
    """Words for the values of a choice or a truth value, in the order of their numbers."""
    return entry.choices if entry.kind == "choice" else _TRUTH


def _allowed(entry: Entry, column: np.ndarray) -> np.ndarray:
    """Which values of a column of draws are within the limits of its key."""
    if not entry.is_number:
        return np.isin(column, np.arange(len(_options(entry))))
    assert entry.least is not None and entry.most is not None
    within = (entry.least <= column) & (column <= entry.most)
    return within & (column == np.floor(column)) if entry.kind == "integer" else within


def _value(entry: Entry, code: float) -> Value:
    """The value that a number of the draws stands for; the number itself if it stands for none."""
    if entry.kind == "number" or not code.is_integer():
        return code
    if entry.kind == "integer":
        return int(code)
    if not 0 <= code < len(_options(entry)):
        return code
    return bool(code) if entry.kind == "boolean" else entry.choices[int(code)]


def _code(entry: Entry, value: Any) -> float:
    """The number that stands for a value in the draws."""
    return float(entry.choices.index(value) if entry.kind == "choice" else value)


def _ranks(column: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rank of every value (from 1, the mean of ranks for equal ones), and how often it occurs."""
    _, place, counts = np.unique(column, return_inverse=True, return_counts=True)
    ranks = np.cumsum(counts) - (counts - 1) / 2
    return ranks[place], counts[place]


# ---- Checks


def _check_name(name: Any, where: str) -> None:
    if not (isinstance(name, str) and _NAME.fullmatch(name)):
        allowed = "1 to 64 of the characters a-z 0-9 _ -, the first a letter or digit"
        raise InputError(where, "name", name, allowed)


def _check_keys(keys: tuple[str, ...], where: str) -> None:
    if not keys:
        raise InputError(where, "keys", "none", "one key of the biology or more")
    for key in keys:
        if not find(key, where).uncertain:
            allowed = "keys of the biology, and what nobody chooses of the handling"
            raise InputError(where, "key", key, allowed)
        if keys.count(key) > 1:
            raise InputError(where, "key", key, "every key once")


def _check_count(count: int, where: str) -> None:
    if not 1 <= count <= MOST_DRAWS:
        raise InputError(where, "draws", count, f"1 to {MOST_DRAWS} draws")


def _plain_facts(facts: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Facts as TOML reads them back; those that are None are left out."""
    for name in facts:
        if not _FACT.fullmatch(name) or name in ("name", "format"):
            allowed = "letters, digits, _ and -, besides name and format"
            raise InputError(where, "name of a fact", name, allowed)
    return {n: _plain(value, n, where) for n, value in facts.items() if value is not None}


def _plain(value: Any, name: str, where: str) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, list | tuple):
        return [_plain(item, name, where) for item in value]
    if isinstance(value, str | int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    allowed = "texts, finite numbers, true or false, and lists of them"
    raise InputError(where, f"fact {name}", value, allowed)


# ---- The text of a file


def _facts(lines: Sequence[str], where: str) -> dict[str, Any]:
    """What the comments before the header say, by name."""
    refuse_long_keys("\n".join(lines), where)
    facts: dict[str, Any] = {}
    for number, line in enumerate(lines, start=1):
        if line.startswith("##"):
            continue
        try:
            found = tomllib.loads(line[1:])
        except (ValueError, RecursionError):
            found = {}
        if len(found) != 1:
            allowed = "# NAME = VALUE as in TOML, or ## and an explanation"
            raise InputError(where, f"line {number}", line, allowed)
        if repeated := found.keys() & facts.keys():
            raise InputError(where, f"line {number}", line, f"{repeated.pop()} once")
        facts |= found
    return facts


def _draws(keys: tuple[str, ...], lines: Sequence[str], start: int, where: str) -> np.ndarray:
    """Draws x keys of the rows from line number `start` (from 0) on."""
    _check_count(len(lines) - start, where)
    rows = [line.split(",") for line in lines[start:]]
    for number, cells in enumerate(rows, start=1):
        if cells[0] != str(number):
            here = f"line {start + number}, {_NUMBERING}"
            raise InputError(where, here, cells[0], f"{number}: rows are numbered from 1")
        if len(cells) != len(keys) + 1:
            here = f"{where}, {_NUMBERING} {number}"
            raise InputError(here, "number of cells", len(cells), f"{len(keys) + 1}")
    columns = list(zip(*rows, strict=True))[1:]
    return np.column_stack(
        [_codes(catalogue()[key], cells, where) for key, cells in zip(keys, columns, strict=True)]
    )


def _codes(entry: Entry, cells: Sequence[str], where: str) -> list[float]:
    """Numbers for the cells of a column."""
    places = {} if entry.is_number else {w: float(i) for i, w in enumerate(_options(entry))}
    found = []
    for number, cell in enumerate(cells, start=1):
        if not (_NUMBER.fullmatch(cell) if entry.is_number else cell in places):
            raise InputError(f"{where}, {_NUMBERING} {number}", entry.key, cell, entry.allowed)
        found.append(float(cell) if entry.is_number else places[cell])
    return found


def _text(worlds: Worlds) -> str:
    lines = [
        "## Joint draws of the biology of a mealworm colony, for colony_sim (--profile FILE).",
        "## Every row is one world: values that hold together, one column a key. Comparisons take",
        "## one world for each replicate. Values without a column stay as they are in the",
        "## experiment file. A profile describes one colony; do not take it for another. Worlds",
        f"## named {SHIPPED} are those that the literature allows, each with a strain of its own.",
        f"# format = {FORMAT}",
        f"# name = {_toml(worlds.name)}",
        *(f"# {name} = {_toml(value)}" for name, value in worlds.facts.items()),
        *(f"## {line}" for line in _spread(worlds)),
        ",".join([_NUMBERING, *worlds.keys]),
    ]
    entries = worlds.entries
    for number, row in enumerate(worlds.draws.tolist(), start=1):
        cells = [_toml_word(_value(e, code)) for e, code in zip(entries, row, strict=True)]
        lines.append(",".join([str(number), *cells]))
    return "\n".join(lines) + "\n"


def _spread(worlds: Worlds) -> Iterator[str]:
    """How far the values of each key lie apart, for people."""
    for entry, column in zip(worlds.entries, worlds.draws.T, strict=True):
        if entry.is_number:
            (a, b), (c, d) = worlds.interval(entry.key, 0.5), worlds.interval(entry.key, 0.9)
            unit = f" ({entry.unit})" if entry.unit else ""
            yield (
                f"{entry.key}{unit}: half of the worlds from {a:.4g} to {b:.4g}, "
                f"90 % from {c:.4g} to {d:.4g}"
            )
        else:
            shares = ", ".join(
                f"{word} {100 * np.mean(column == code):.3g} %"
                for code, word in enumerate(_options(entry))
            )
            yield f"{entry.key}: {shares}"


def _toml_word(value: Value) -> str:
    """A value of the biology in a cell; a choice without the quotes of TOML."""
    return value if isinstance(value, str) else _toml(value)


def _toml(value: Any) -> str:
    """A value as TOML; floats with all their digits."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON escapes what TOML's basic strings have to, but for the delete character.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
