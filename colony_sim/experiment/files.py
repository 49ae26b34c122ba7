"""Read an experiment file (TOML) into checked values.

A file that is wrong in any way ends in one :class:`~colony_sim.errors.InputError`: one line
with the file, the key, the value read and what is allowed.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from colony_sim.biology.climate import Climate, climate_from_table
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.own_keeper import OwnKeeper
from colony_sim.errors import InputError
from colony_sim.experiment.units import CUP, METRIC, SLICE, House, in_model_units, using
from colony_sim.inputs import read_text, refuse_long_keys

LONGEST_DAYS = 36_500
MOST_REPLICATES = 10_000
MOST_BREEDERS = 100_000
MOST_LARVAE = 1_000_000
MOST_POINTS = 100_000
# Seeds are 32-bit so that a seed printed in a table can be typed back at the command line.
LARGEST_SEED = 2**32 - 1

Days = Annotated[int, Field(ge=1, le=LONGEST_DAYS)]
Asked = Literal["", "yield", "worth the work", "how much may be taken"]
Replicates = Annotated[int, Field(ge=2, le=MOST_REPLICATES)]


class Nothing:
    """Stands for a value that is missing, so that the error line reads ``key = nothing``."""

    def __repr__(self) -> str:
        return "nothing"


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Experiment(_Section):
    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$")]
    question: Annotated[str, Field(max_length=500)] = ""
    invented: bool = False
    days: Days
    quick_days: Days | None = None
    replicates: Replicates
    quick_replicates: Replicates | None = None
    seed: Annotated[int, Field(ge=0, le=LARGEST_SEED)] = 1
    baseline: str | None = None
    asks: Asked = ""
    units: str = METRIC.system
    cup_of_bran_g: float = METRIC.cup_g
    slice_of_carrot_g: float = METRIC.slice_g


class _Start(_Section):
    breeders: Annotated[int, Field(ge=1, le=MOST_BREEDERS)]
    larvae: Annotated[int, Field(ge=0, le=MOST_LARVAE)] = 0


class _Policy(BaseModel):
    # Everything besides the name is a nested table of handling keys.
    model_config = ConfigDict(extra="allow", strict=True, frozen=True)
    name: Annotated[str, Field(pattern=r"^[^\s\x00-\x1f](?:[^\x00-\x1f]{0,58}[^\s\x00-\x1f])?$")]


class SweepTable(_Section):
    """The ``[sweep]`` table: what ``colony-sim sweep`` takes where no option is given."""

    vary: list[str] = []
    design: Literal["factorial", "lhs", "sobol"] | None = None
    points: Annotated[int, Field(ge=1, le=MOST_POINTS)] | None = None
    design_seed: Annotated[int, Field(ge=0, le=LARGEST_SEED)] = 1
    replicates: Replicates | None = None
    policy: str | None = None
    until: list[str] = []
    least: Replicates | None = None
    most: Replicates | None = None


class _File(_Section):
    experiment: _Experiment
    climate: dict[str, Any]
    start: _Start
    biology: dict[str, Any] = {}
    handling: dict[str, Any] = {}
    policy: Annotated[list[_Policy], Field(min_length=1)]
    sweep: SweepTable | None = None


@dataclass(frozen=True)
class Policy:
    """A named way to handle the colony: one complete set of parameters."""

    name: str
    parameters: Parameters


@dataclass(frozen=True)
class Experiment:
    """An experiment file, checked and resolved.

    Attributes
    ----------
    path : Path
        The file.
    text : str
        Its text as read, kept for the manifest.
    name, question : str
        Name (also that of the results folder) and the question in words.
    days, quick_days : int
        Simulated days of a full and of a quick comparison.
    replicates, quick_replicates : int
        Runs of each policy in a full and in a quick comparison.
    seed : int
        The seed from which the seeds of all replicates are derived.
    baseline : str
        Name of the policy the others are compared with.
    breeders, larvae : int
        Founder beetles and founder larvae (of all ages) at the start.
    climate : Climate
        Air temperature over time.
    policies : tuple of Policy
        The policies, baseline first.
    invented : bool
        Whether the scenario is invented: not data of a real colony.
    asks : str
        What the answer has to name (`asks.Asks`); empty: as what varies suggests.
    house : House
        In which units quantities are shown.
    keeper : OwnKeeper or None
        A keeper of one's own, handed in from Python.
    sweep : SweepTable or None
        The ``[sweep]`` table, as far as it can be checked without a design.
    """

    path: Path
    text: str
    name: str
    question: str
    days: int
    quick_days: int
    replicates: int
    quick_replicates: int
    seed: int
    baseline: str
    breeders: int
    larvae: int
    climate: Climate
    policies: tuple[Policy, ...]
    invented: bool = False
    sweep: SweepTable | None = None
    keeper: OwnKeeper | None = None
    asks: str = ""
    house: House = METRIC


def load(path: str | Path) -> Experiment:
    """Read and check an experiment file.

    Parameters
    ----------
    path : str or Path
        TOML file with ``[experiment]``, ``[climate]``, ``[start]``, optional ``[biology]`` and
        ``[handling]`` and one or more ``[[policy]]``.

    Returns
    -------
    Experiment

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, or holds an unknown key, a value of the wrong
        type or an impossible value.
    """
    path = Path(path)
    where = str(path)
    text = read_text(path)
    tables = _parse(text, where)
    try:
        _refuse_non_finite(tables, where)
    except RecursionError:
        raise InputError(where, *_TOO_DEEP) from None
    house, tables = _in_model_units(tables, where)
    file = _check(tables, where)
    policies = _policies(file, where)
    names = [policy.name for policy in policies]
    baseline = file.experiment.baseline if file.experiment.baseline is not None else names[0]
    if baseline not in names:
        raise InputError(
            where, "experiment.baseline", baseline, f"the name of a policy: {quoted(names)}"
        )
    climate = climate_from_table(dict(file.climate), where, path.parent)
    head = file.experiment
    return Experiment(
        path=path,
        text=text,
        name=head.name,
        question=head.question,
        days=head.days,
        quick_days=head.quick_days or head.days,
        replicates=head.replicates,
        quick_replicates=head.quick_replicates or min(head.replicates, 5),
        seed=head.seed,
        baseline=baseline,
        breeders=file.start.breeders,
        larvae=file.start.larvae,
        climate=climate,
        policies=tuple(sorted(policies, key=lambda policy: policy.name != baseline)),
        invented=head.invented,
        sweep=file.sweep,
        asks=head.asks,
        house=house,
    )


def house_of(path: Path | None, units: str | None) -> House:
    """The house of an experiment file, if there is one, in the units of an option, if given."""
    return (METRIC if path is None else load(path).house).in_units(units)


def _in_model_units(tables: dict[str, Any], where: str) -> tuple[House, dict[str, Any]]:
    """The house of a file, and its tables with every quantity in the unit of its key."""
    head = tables.get("experiment")
    house = House.of(head, where, "experiment.") if isinstance(head, dict) else METRIC
    with using(house):
        return house, in_model_units(tables, where, {f"experiment.{k}": "g" for k in (CUP, SLICE)})


def flatten(tables: Mapping[str, Any], where: str, prefix: str = "") -> dict[str, Any]:
    """Turn nested tables into one dict with dotted keys.

    ``{"rotation": {"interval_days": 21}}`` and ``{"rotation.interval_days": 21}`` give the same;
    a key that is given in both ways is an error.
    """
    flat: dict[str, Any] = {}
    for key, value in _leaves(tables, prefix):
        if key in flat:
            raise InputError(where, key, value, f"one value; {flat[key]!r} was given as well")
        flat[key] = value
    return flat


def quoted(names: list[str] | tuple[str, ...]) -> str:
    """Names in quotes, separated by commas."""
    return ", ".join(f'"{name}"' for name in names)


def _leaves(tables: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for key, value in tables.items():
        dotted = f"{prefix}{key}"
        if isinstance(value, Mapping) and value:
            yield from _leaves(value, f"{dotted}.")
        else:
            yield dotted, value


_TOO_DEEP = ("tables", "nested too deeply", "tables and lists as the shipped files have them")


def _parse(text: str, where: str) -> dict[str, Any]:
    if not text.strip():
        raise InputError(where, "file", "empty", "an experiment in TOML, with [experiment]")
    refuse_long_keys(text, where)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        lines = text.splitlines()
        found = re.search(r"\(at line (\d+), column \d+\)", message)
        # "at end of document" has no number: the fault is on the last line.
        number = int(found.group(1)) if found else len(lines)
        line = lines[number - 1].strip() if number <= len(lines) else ""
        raise InputError(where, f"line {number}", line, f"TOML ({message})") from None
    except RecursionError:
        raise InputError(where, *_TOO_DEEP) from None
    except ValueError:  # Of an integer of more digits than Python reads.
        raise InputError(where, "number", "of thousands of digits", "one of a few") from None


def _refuse_non_finite(tables: Any, where: str, prefix: str = "") -> None:
    if isinstance(tables, dict):
        for key, value in tables.items():
            _refuse_non_finite(value, where, f"{prefix}.{key}" if prefix else str(key))
    elif isinstance(tables, list):
        for index, value in enumerate(tables):
            _refuse_non_finite(value, where, f"{prefix}[{index + 1}]")
    elif isinstance(tables, float) and not math.isfinite(tables):
        raise InputError(where, prefix, tables, "a finite number")


def _check(tables: dict[str, Any], where: str) -> _File:
    if "experiment" not in tables and {"want", "have"} & set(tables):
        allowed = "an experiment file with [experiment]; for a plan use colony-sim plan"
        raise InputError(where, "file", "a plan file", allowed)
    try:
        return _File.model_validate(tables)
    except ValidationError as error:
        # The misspelt key comes first: it is the cause of the key that then is missing.
        faults = sorted(error.errors(), key=lambda fault: fault["type"] != "extra_forbidden")
        raise _as_input_error(faults[0], where) from None


def _as_input_error(fault: Any, where: str) -> InputError:
    location = fault["loc"]
    key = ""
    for part in location:
        key += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if key else str(part)
    value = fault["input"]
    kind = fault["type"]
    if kind == "missing":
        return InputError(where, key, Nothing(), _allowed(location, "missing", fault))
    if kind == "extra_forbidden":
        known = _keys_of(location[:-1])
        near = get_close_matches(str(location[-1]), known, n=1, cutoff=0.6)
        hint = f"did you mean {near[0]}? " if near else ""
        return InputError(where, key, value, f"{hint}one of the keys {', '.join(known)}")
    if key == "policy" and kind == "too_short":
        return InputError(where, key, value, "at least one [[policy]] table with a name")
    return InputError(where, key, value, _allowed(location, kind, fault))


def _keys_of(location: tuple[Any, ...]) -> list[str]:
    models: dict[tuple[Any, ...], type[BaseModel]]
    models = {(): _File, ("experiment",): _Experiment, ("start",): _Start, ("sweep",): SweepTable}
    return list(models[location].model_fields)


def _allowed(location: tuple[Any, ...], kind: str, fault: Any) -> str:
    name = str(location[-1])
    whole = {
        "days": (1, LONGEST_DAYS),
        "quick_days": (1, LONGEST_DAYS),
        "replicates": (2, MOST_REPLICATES),
        "quick_replicates": (2, MOST_REPLICATES),
        "seed": (0, LARGEST_SEED),
        "breeders": (1, MOST_BREEDERS),
        "larvae": (0, MOST_LARVAE),
        "points": (1, MOST_POINTS),
        "design_seed": (0, LARGEST_SEED),
        "least": (2, MOST_REPLICATES),
        "most": (2, MOST_REPLICATES),
    }
    if name in whole:
        low, high = whole[name]
        return f"a whole number from {low} to {high}"
    if location[0] == "sweep" and len(location) > 1:
        if name == "design":
            return "factorial, lhs or sobol"
        return "a name in quotes" if name == "policy" else "a list of texts in quotes"
    if name == "name" and location[0] == "experiment":
        return "1 to 64 of the characters a-z 0-9 _ -, the first a letter or digit"
    if name == "name":
        return "a name of 1 to 60 characters in quotes, with no space at either end"
    if name == "policy":
        return "one or more [[policy]] tables, each with a name"
    if len(location) == 1 or isinstance(location[-1], int):
        return f"a [{name}] table" if isinstance(name, str) and kind == "missing" else "a table"
    if name == "asks":
        return quoted(
            [each for each in get_args(_Experiment.model_fields["asks"].annotation) if each]
        )
    if kind.startswith("bool"):
        return "true or false"
    if kind.startswith("string"):
        return "a text in quotes" if kind == "string_type" else "a text of at most 500 characters"
    return str(fault["msg"])


def _policies(file: _File, where: str) -> list[Policy]:
    biology = flatten(file.biology, where)
    shared = flatten(file.handling, where)
    _refuse_group(biology, "biology", where, "[biology]")
    _refuse_group(shared, "handling", where, "[handling]")
    base = Parameters.default().with_values(biology, where=where)
    base = base.with_values(shared, where=where)
    policies: list[Policy] = []
    for entry in file.policy:
        here = f'{where}, policy "{entry.name}"'
        if any(entry.name == policy.name for policy in policies):
            raise InputError(where, "policy.name", entry.name, "names that differ")
        own = flatten(entry.model_extra or {}, here)
        _refuse_group(own, "handling", here, "[[policy]]")
        policies.append(Policy(entry.name, base.with_values(own, where=here)))
    return policies


def _refuse_group(values: Mapping[str, Any], group: str, where: str, table: str) -> None:
    # Unknown keys are left to Parameters.with_values, which suggests the nearest names.
    entries = catalogue()
    for key, value in values.items():
        inside = [name for name in entries if name.startswith(f"{key}.")]
        if inside:
            raise InputError(where, key, value, f"a table of keys, such as {inside[0]}")
        if key in entries and entries[key].group != group:
            other = entries[key].group
            home = "[biology]" if other == "biology" else "[handling] or [[policy]]"
            raise InputError(
                where, key, value, f"in {table} only {group} keys; this one belongs in {home}"
            )
