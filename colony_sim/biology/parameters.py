"""Every parameter of the model: read from `parameters.toml`, checked, overridden.

A key is "section.name", for instance "rotation.interval_days". Keys of the group
"biology" describe the insects, keys of the group "handling" describe what the keeper
does; a policy is a name and a set of handling keys.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from colony_sim.errors import InputError

Value = float | int | bool | str


@dataclass(frozen=True)
class Slider:
    """The control of a handling key on the page of `explore`.

    Attributes
    ----------
    place : int
        Where it stands, from 1.
    label : str
        Words beside it.
    step : float or None
        In the unit of the key; None where there is no slider.
    words : mapping of str to str
        How the words of a choice are called.
    """

    place: int
    label: str
    step: float | None = None
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Entry:
    """One parameter as documented in `parameters.toml`.

    Attributes
    ----------
    key : str
        "section.name".
    group : str
        "biology" or "handling".
    kind : str
        "number", "integer", "boolean" or "choice".
    value : float, int, bool or str
        Default, in `unit`.
    low, high : float or None
        Plausible range, in `unit`.
    least, most : float or None
        What the program accepts, in `unit`.
    choices : tuple of str
        Allowed words of a choice.
    basis, source, confidence, about : str
        Where the value comes from and what it means.
    label : str
        Short plain name, as within a sentence.
    measure : str
        How a keeper could measure it in bins of their own; empty for what a keeper decides.
    slider : Slider or None
    """

    key: str
    group: str
    kind: str
    value: Value
    unit: str
    low: float | None
    high: float | None
    least: float | None
    most: float | None
    choices: tuple[str, ...]
    basis: str
    source: str
    confidence: str
    about: str
    label: str
    measure: str = ""
    slider: Slider | None = None

    @property
    def ends(self) -> tuple[float, float]:
        """The plausible range of a number; no other kind has one."""
        assert self.low is not None and self.high is not None
        return self.low, self.high

    @property
    def uncertain(self) -> bool:
        """Whether nobody chooses the value: biology, or what a keeper's hands happen to do."""
        return bool(self.measure)

    @property
    def is_number(self) -> bool:
        """Whether the value is a number, whole or not."""
        return self.kind in ("number", "integer")

    @property
    def allowed(self) -> str:
        """What is accepted, in words."""
        if self.kind == "boolean":
            return "true or false"
        if self.kind == "choice":
            return "one of " + ", ".join(f'"{word}"' for word in self.choices)
        noun = "a whole number" if self.kind == "integer" else "a number"
        return f"{noun} from {self.least:g} to {self.most:g} ({self.unit})"

    def check(self, value: Any, where: str) -> Value:
        """Return `value` in this entry's type or raise `InputError`."""
        if self.kind == "boolean":
            if isinstance(value, bool):
                return value
        elif self.kind == "choice":
            if isinstance(value, str) and value in self.choices:
                return value
        elif isinstance(value, int | float | np.integer | np.floating) and not isinstance(
            value, bool
        ):
            whole = self.kind == "integer"
            assert self.least is not None and self.most is not None  # As numbers have.
            # The range test comes first: NaN, infinities and huge integers all fail it.
            if self.least <= value <= self.most and (not whole or value == int(value)):
                return int(value) if whole else float(value)
        raise InputError(where, self.key, value, self.allowed)


def _kind(value: Value) -> str:
    if isinstance(value, bool):
        return "boolean"
    if isinstance(value, str):
        return "choice"
    return "integer" if isinstance(value, int) else "number"


@cache
def catalogue() -> dict[str, Entry]:
    """All parameters by key, in the order of the file.

    Raises
    ------
    ValueError
        An entry that lacks a field, or has one that is not known.
    """
    text = files("colony_sim.biology").joinpath("parameters.toml").read_text("utf-8")
    entries: dict[str, Entry] = {}
    for group, sections in tomllib.loads(text).items():
        for section, names in sections.items():
            for name, item in names.items():
                key = f"{section}.{name}"
                _check_fields(key, group, item)
                low, high = item.get("range", (None, None))
                least, most = item.get("allowed", (None, None))
                entries[key] = Entry(
                    key=key,
                    group=group,
                    kind=_kind(item["value"]),
                    value=item["value"],
                    unit=item["unit"],
                    low=low,
                    high=high,
                    least=least,
                    most=most,
                    choices=tuple(item.get("choices", ())),
                    basis=item["basis"],
                    source=item["source"],
                    confidence=item["confidence"],
                    about=item["about"],
                    label=item["label"],
                    measure=item.get("measure", ""),
                    slider=Slider(**item["slider"]) if "slider" in item else None,
                )
    return entries


_NEEDED = {
    "": {"about", "label", "value", "unit", "basis", "source", "confidence"},
    "number": {"range", "allowed"},
    "integer": {"range", "allowed"},
    "choice": {"choices"},
    "biology": {"measure"},
    "handling": set(),
}
"""Fields of every entry, and of those of a kind or group."""


def _check_fields(key: str, group: str, item: Mapping[str, Any]) -> None:
    kind = _kind(item.get("value", True))
    needed = _NEEDED[""] | _NEEDED.get(kind, set()) | _NEEDED[group]
    allowed = needed | ({"slider", "measure"} if group == "handling" else set())
    if found := needed - set(item) or set(item) - allowed:
        what = "lacks" if found <= needed else "has the unknown field"
        raise ValueError(f"parameters.toml: {key} {what} {', '.join(sorted(found))}")


def find(key: str, where: str, group: str | None = None) -> Entry:
    """Entry of `key`; `InputError` names the nearest keys when there is none."""
    entry = catalogue().get(key)
    if entry is not None and group in (None, entry.group):
        return entry
    known = [k for k, e in catalogue().items() if group in (None, e.group)]
    near = difflib.get_close_matches(key, known, n=3, cutoff=0.5)
    kind = f"{group} " if group else ""
    hint = "a known " + kind + "key" + (", such as " + ", ".join(near) if near else "")
    raise InputError(where, "unknown key", key, hint)


#: Chains of keys whose values must rise strictly.
_RISING = (
    ("egg.lower_c", "egg.reference_c", "egg.upper_c"),
    ("egg.viability_full_c", "egg.viability_none_c"),
    ("egg.lethal_low_c", "egg.lethal_high_c"),
    ("larva.lower_c", "larva.reference_c", "larva.upper_c"),
    ("larva.hatchling_mass_mg", "larva.mature_mass_mg", "larva.asymptotic_mass_mg"),
    ("larva.lethal_low_c", "larva.lethal_high_c"),
    ("pupa.lower_c", "pupa.reference_c", "pupa.upper_c"),
    ("pupa.lower_c", "adult.teneral_reference_c", "pupa.upper_c"),
    ("pupa.lethal_low_c", "pupa.lethal_high_c"),
    ("adult.lethal_low_c", "adult.lethal_high_c"),
    ("fecundity.lower_c", "fecundity.full_from_c"),
    ("fecundity.full_until_c", "fecundity.upper_c"),
)
#: Pairs of which the second must be no smaller than the first.
_NOT_FALLING = (
    ("fecundity.full_from_c", "fecundity.full_until_c"),
    ("fecundity.full_from_days", "fecundity.full_until_days"),
)
_FEED = "feed.per_gain x (1 - feed.frass_share) at least 1"


def _rules(v: Mapping[str, Any]) -> Iterator[tuple[Any, tuple[str, str], tuple[str, str]]]:
    """Every rule that ties keys together: whether `v` breaks it, its two keys, what each may be.

    Arrays as values give an array. What is allowed has room for the other key and its value.
    """
    for chain in _RISING:
        for small, large in zip(chain, chain[1:], strict=False):
            yield v[small] >= v[large], (small, large), ("below {} = {:g}", "above {} = {:g}")
    for small, large in _NOT_FALLING:
        words = ("at most {} = {:g}", "at least {} = {:g}")
        yield v[small] > v[large], (small, large), words
    # A gram of larva cannot come from less than a gram of bran kept and not egested.
    kept = v["feed.per_gain"] * (1.0 - v["feed.frass_share"])
    yield kept < 1.0, ("feed.frass_share", "feed.per_gain"), (_FEED, _FEED)


def out_of_order(values: Mapping[str, Any], count: int) -> np.ndarray:
    """Which sets of values break a rule that ties keys together.

    Parameters
    ----------
    values : mapping
        Every key with one number, or with an array of numbers, one for each set. Each number is
        within the limits of its key.
    count : int
        Number of sets.

    Returns
    -------
    bool array, shape (count,)
    """
    found = np.zeros(count, dtype=bool)
    for broken, _, _ in _rules(values):
        found |= broken
    return found


class Parameters(Mapping[str, Any]):
    """A complete, checked, unchangeable set of parameter values.

    Examples
    --------
    >>> p = Parameters.default().with_values({"rotation.interval_days": 21}, where="me")
    >>> p["rotation.interval_days"]
    21
    """

    __slots__ = ("_values",)

    def __init__(
        self,
        values: Mapping[str, Value],
        where: str = "parameters",
        base: Mapping[str, Value] | None = None,
    ) -> None:
        full = {key: entry.value for key, entry in catalogue().items()} if base is None else base
        full = dict(full)
        for key, value in values.items():
            full[key] = find(key, where).check(value, where)
        self._values: dict[str, Any] = full
        self._check_order(where, values)

    @classmethod
    def default(cls) -> Parameters:
        """The values of `parameters.toml`."""
        return cls({})

    def with_values(
        self, values: Mapping[str, Any], where: str, group: str | None = None
    ) -> Parameters:
        """A copy with some values replaced.

        Raises
        ------
        InputError
            Unknown key, wrong type, or a value outside the hard limits.
        """
        for key in values:
            find(key, where, group)
        return Parameters(values, where, base=self._values)

    def as_dict(self) -> dict[str, Value]:
        """All values by key."""
        return dict(self._values)

    def _check_order(self, where: str, given: Mapping[str, Value]) -> None:
        v = self._values
        for broken, (first, second), (of_first, of_second) in _rules(v):
            if broken:
                # The key that was given is at fault, not the one it clashes with.
                if first in given:
                    raise InputError(where, first, v[first], of_first.format(second, v[second]))
                raise InputError(where, second, v[second], of_second.format(first, v[first]))

    def __getitem__(self, key: str) -> Any:
        return self._values[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Parameters) and self._values == other._values

    def __hash__(self) -> int:
        return hash(tuple(self._values.items()))

    def __reduce__(self) -> tuple[type[Parameters], tuple[dict[str, Any]]]:
        return (Parameters, (self._values,))

    def __repr__(self) -> str:
        changed = [f"{key} = {value}" for key, value in self._changed().items()]
        shown = ", ".join(changed[:2]) + (", ..." if len(changed) > 2 else "")
        told = f"{len(changed)} not at their defaults ({shown})" if changed else "all defaults"
        return f"<Parameters: {len(self)} values, {told}>"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{key}</td><td>{value}</td><td>{catalogue()[key].value}</td></tr>"
            for key, value in self._changed().items()
        )
        head = "<tr><th>key</th><th>value</th><th>default</th></tr>"
        told = f"{len(self)} parameters; those not at their defaults:"
        return f"<p>{told}</p><table>{head}{rows}</table>"

    def _changed(self) -> dict[str, Value]:
        return {k: v for k, v in self._values.items() if v != catalogue()[k].value}
