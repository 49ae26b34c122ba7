"""The profile of one colony: joint draws of the biology that a keeper's log has informed.

A profile replaces single values of the biology by draws from a joint posterior distribution. A
comparison takes one draw for each replicate, so that its intervals hold both chance and what is
not known of the fitted values. Where one value has to do, it is the median of the draws.

The file is TOML of our own: ``[profile]`` says where the draws come from, ``[biology]`` has the
median of every key, with its 50 and 90 % intervals as comments, and ``[draws]`` has the draws by
key. The draws decide; medians that are not those of the draws are refused.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.atomic import write_atomic
from colony_sim.biology.parameters import Entry, Parameters, catalogue, find
from colony_sim.errors import InputError
from colony_sim.experiment.files import flatten, read_text

FORMAT = 1
MOST_DRAWS = 10_000
RANGE = 0.9
"""Share of the draws in the interval that stands for the plausible range of a fitted key."""
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}")
_FACT = re.compile(r"[A-Za-z0-9_-]+")
_A_PROFILE = "a profile, as colony-sim fit writes it"
_PER_LINE = 6


@dataclass(frozen=True, eq=False)
class Profile:
    """Joint draws of fitted biology, and where they come from.

    Attributes
    ----------
    name : str
        1 to 64 of the characters a-z 0-9 _ -; part of the names of results folders.
    keys : tuple of str
        Keys of the biology.
    draws : numpy.ndarray
        Joint posterior draws (float64, draws x keys), each in the unit of its key.
    facts : mapping
        Where they come from: texts, numbers, truth values or lists of them, by name (file and
        hash of the log, method, range of dates, fingerprint of the model, seed).

    Raises
    ------
    InputError
        An unknown key, one that is not a number of the biology, a fact that TOML cannot hold, or
        draws of another shape. The values are checked by `check`.
    """

    name: str
    keys: tuple[str, ...]
    draws: np.ndarray
    facts: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        where = f"profile {self.name}"
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
        if not 1 <= len(draws) <= MOST_DRAWS:
            raise InputError(where, "draws", len(draws), f"1 to {MOST_DRAWS} draws")

    def check(self, where: str) -> None:
        """`InputError` that names the draw if one is out of limits or breaks the order of keys."""
        for number in range(1, len(self.draws) + 1):
            here = f"{where}, draw {number}"
            Parameters.default().with_values(self.draw(number), where=here)

    def draw(self, replicate: int) -> dict[str, float]:
        """Values of the draw that replicate number `replicate` (from 1) takes, by key.

        After the last draw comes the first again.
        """
        row = self.draws[(replicate - 1) % len(self.draws)]
        return {key: _typed(key, value) for key, value in zip(self.keys, row, strict=True)}

    def medians(self) -> dict[str, float]:
        """The median of every key over the draws (a whole number for keys that are)."""
        middle = np.median(self.draws, axis=0)
        return {
            key: _typed(key, round(value) if catalogue()[key].kind == "integer" else value)
            for key, value in zip(self.keys, middle.tolist(), strict=True)
        }

    def interval(self, key: str, level: float) -> tuple[float, float]:
        """Central interval of a key that holds the share `level` of the draws, in its unit."""
        column = self.draws[:, self.keys.index(key)]
        low, high = np.quantile(column, [0.5 - level / 2, 0.5 + level / 2])
        return float(low), float(high)

    def without(self, keys: Iterable[str]) -> Profile | None:
        """The same draws with some keys left out; None if no key is left."""
        gone = set(keys)
        kept = [i for i, key in enumerate(self.keys) if key not in gone]
        if len(kept) == len(self.keys):
            return self
        if not kept:
            return None
        names = tuple(self.keys[i] for i in kept)
        return Profile(self.name, names, self.draws[:, kept], self.facts)

    def as_dict(self) -> dict[str, Any]:
        """Plain data from which `Profile.from_dict` makes the same profile."""
        return {
            "name": self.name,
            "facts": dict(self.facts),
            "keys": list(self.keys),
            "draws": self.draws.tolist(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Profile:
        """The profile that `as_dict` described."""
        return cls(data["name"], tuple(data["keys"]), np.array(data["draws"]), data["facts"])

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, Profile)
            and (self.name, self.keys, self.facts) == (other.name, other.keys, other.facts)
            and np.array_equal(self.draws, other.draws)
        )

    def __hash__(self) -> int:
        return hash((self.name, self.keys, self.draws.tobytes()))


def fitted_ranges(entries: Iterable[Entry], profile: Profile | None) -> list[Entry]:
    """Entries with the interval that holds 90 % of the draws as range, where a key is fitted."""
    found = []
    for entry in entries:
        if profile is not None and entry.key in profile.keys:
            low, high = profile.interval(entry.key, RANGE)
            about = f"profile {profile.name}"
            entry = replace(entry, low=low, high=high, basis="fitted", source=about)
        found.append(entry)
    return found


def write_profile(path: Path, profile: Profile) -> None:
    """Write a profile file, whole or not at all.

    Raises
    ------
    InputError
        A draw out of the limits of its keys, or that breaks their order.
    """
    profile.check(f"profile {profile.name}")
    text = _text(profile)
    write_atomic(Path(path), lambda staged: staged.write_text(text, encoding="utf-8", newline="\n"))


def read_profile(path: str | Path) -> Profile:
    """Read and check a profile file.

    Raises
    ------
    InputError
        In one line: the file, the key, the value read and what is allowed.
    """
    path = Path(path)
    where = str(path)
    text = read_text(path)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(where, "file", f"no TOML ({error})", _A_PROFILE) from None
    for name in ("profile", "draws"):
        if not isinstance(tables.get(name), dict):
            raise InputError(where, f"[{name}]", tables.get(name), f"a table; {_A_PROFILE}")
    for name in tables:
        if name not in ("profile", "biology", "draws"):
            raise InputError(where, f"[{name}]", "unknown", "[profile], [biology] and [draws]")
    facts = dict(tables["profile"])
    name, layout = facts.pop("name", None), facts.pop("format", None)
    _check_name(name, where)
    if layout != FORMAT or isinstance(layout, bool):
        raise InputError(where, "profile.format", layout, f"{FORMAT}")
    columns = flatten(tables["draws"], where)
    _check_keys(tuple(columns), where)
    profile = Profile(name, tuple(columns), _columns(columns, where), facts)
    profile.check(where)
    _check_medians(profile, flatten(tables.get("biology", {}), where), where)
    return profile


def _typed(key: str, value: float) -> float:
    value = float(value)
    return int(value) if catalogue()[key].kind == "integer" and value.is_integer() else value


def _check_name(name: Any, where: str) -> None:
    if not (isinstance(name, str) and _NAME.fullmatch(name)):
        allowed = "1 to 64 of the characters a-z 0-9 _ -, the first a letter or digit"
        raise InputError(where, "profile.name", name, allowed)


def _check_keys(keys: tuple[str, ...], where: str) -> None:
    if not keys:
        raise InputError(where, "[draws]", "empty", "one key of the biology or more")
    for key in keys:
        entry = find(key, where)
        if entry.group != "biology":
            allowed = "keys of the biology only; this one is the keeper's to choose"
            raise InputError(where, "key", key, allowed)
        if entry.kind not in ("number", "integer"):
            raise InputError(where, "key", key, "a key with a number as value")
        if keys.count(key) > 1:
            raise InputError(where, "key", key, "every key once")


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


def _columns(columns: Mapping[str, Any], where: str) -> np.ndarray:
    """Draws x keys of the lists of a file."""
    first = next(iter(columns))
    for key, values in columns.items():
        if not isinstance(values, list) or not values:
            raise InputError(where, f"draws of {key}", values, "a list of numbers")
        if len(values) != len(columns[first]):
            allowed = f"{len(columns[first])}, as {first} has"
            raise InputError(where, f"number of draws of {key}", len(values), allowed)
        for number, value in enumerate(values, start=1):
            catalogue()[key].check(value, f"{where}, draw {number}")
    return np.array(list(columns.values()), dtype=np.float64).T


def _check_medians(profile: Profile, found: Mapping[str, Any], where: str) -> None:
    medians = profile.medians()
    for key, value in found.items():
        if key not in medians:
            find(key, where)
            raise InputError(where, f"biology.{key}", value, "keys that [draws] has as well")
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isclose(value, medians[key], rel_tol=1e-9, abs_tol=1e-12):
            allowed = f"{medians[key]!r}, the median of its draws (change the draws, or neither)"
            raise InputError(where, f"biology.{key}", value, allowed)
    missing = [key for key in medians if key not in found]
    if missing:
        raise InputError(where, f"biology.{missing[0]}", "missing", "the median of its draws")


# ---- The text of a file


def _text(profile: Profile) -> str:
    lines = [
        f"# Profile “{profile.name}” of a mealworm colony, for colony_sim (--profile FILE).",
        "# The biology below was fitted to a keeper's log: [biology] has the median of each value,",
        "# [draws] the joint draws of the posterior distribution, one value of each key in a draw.",
        "# Comparisons take one draw for each replicate. Values that are not here stay as they are",
        "# in the experiment file. It describes one colony; do not take it for another.",
        "",
        "[profile]",
        f"name = {_toml(profile.name)}",
        f"format = {FORMAT}",
    ]
    lines += [f"{name} = {_toml(value)}" for name, value in profile.facts.items()]
    lines += ["", "[biology]"]
    for key, value in profile.medians().items():
        (a, b), (c, d) = profile.interval(key, 0.5), profile.interval(key, 0.9)
        unit = catalogue()[key].unit
        lines.append(f"# {unit + ': ' if unit else ''}half of the draws from {a:.4g} to {b:.4g}, "
                     f"90 % from {c:.4g} to {d:.4g}")  # fmt: skip
        lines.append(f"{key} = {_toml(value)}")
    lines += ["", f"# {len(profile.draws)} draws.", "[draws]"]
    for key, column in zip(profile.keys, profile.draws.T.tolist(), strict=True):
        shown = [_toml(value) for value in column]
        lines.append(f"{key} = [")
        for start in range(0, len(shown), _PER_LINE):
            lines.append("    " + " ".join(f"{v}," for v in shown[start : start + _PER_LINE]))
        lines.append("]")
    return "\n".join(lines) + "\n"


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
