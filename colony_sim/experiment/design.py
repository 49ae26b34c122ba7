"""Designs: which points of parameter space to run.

A point gives some keys of ``parameters.toml`` (or ``start.breeders``, ``start.larvae``) a value;
it is laid over every policy. A design is a table with one row per point and one column per key,
its index named ``point`` and counted from 1.

* Full factorial: every combination of the listed values, the last key running fastest.
* Latin hypercube (McKay, Beckman & Conover 1979, Technometrics 21:239-245) and scrambled Sobol'
  sequence (Sobol' 1967, USSR Comput. Math. Math. Phys. 7:86-112; Owen 1998, J. Complexity
  14:466-489), both from ``scipy.stats.qmc``. Uniform over a range, equal shares of listed values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation, Overflow
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
import scipy

from colony_sim.biology.parameters import Entry, Value, find
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import LARGEST_SEED, MOST_BREEDERS, MOST_LARVAE, MOST_POINTS

DESIGNS = ("factorial", "lhs", "sobol")
OPTION = f"{ARGUMENT} vary"
_SPEC = "KEY=1,2,3 or KEY=LOW:HIGH:STEP, or KEY=LOW:HIGH with `design` lhs or sobol"


def _founders(key: str, least: int, most: int, label: str) -> Entry:
    return Entry(
        key=key, group="start", kind="integer", value=least, unit="animals", low=None, high=None,
        least=least, most=most, choices=(), basis="", source="", confidence="",
        about=f"{label[0].upper()}{label[1:]}.", label=label,
    )  # fmt: skip


START = {
    "start.breeders": _founders("start.breeders", 1, MOST_BREEDERS, "founder beetles"),
    "start.larvae": _founders("start.larvae", 0, MOST_LARVAE, "founder larvae"),
}
"""Keys of a point that are no parameters."""


@dataclass(frozen=True)
class Factor:
    """A key and the values it takes in a design.

    Attributes
    ----------
    key : str
        Key of a parameter, ``start.breeders`` or ``start.larvae``.
    values : tuple
        Listed values; empty for a range.
    low, high : float or int or None
        Ends of a range, both included, in the unit of the key.
    """

    key: str
    values: tuple[Value, ...] = ()
    low: float | int | None = None
    high: float | int | None = None

    @property
    def ends(self) -> tuple[float, float]:
        """Ends of a range; a list has none."""
        assert self.low is not None and self.high is not None
        return self.low, self.high

    def at(self, share: np.ndarray) -> list[Value]:
        """Values at shares from 0 to below 1 (array of shape (n,)) of the way through."""
        if self.values:
            places = np.minimum((share * len(self.values)).astype(int), len(self.values) - 1)
            return [self.values[place] for place in places]
        low, high = self.ends
        if entry(self.key).kind == "integer":
            steps = np.floor(share * (high - low + 1)).astype(int)
            return [int(min(low + step, high)) for step in steps]
        return [float(value) for value in low + share * (high - low)]


def entry(key: str, where: str = OPTION) -> Entry:
    """Kind, unit and limits of a key of a point; InputError names the nearest keys if unknown."""
    if key in START:
        return START[key]
    if key in ("seed", "experiment.seed", "start.seed"):
        allowed = "a key of the model; for more seeds per point give `replicates`"
        raise InputError(where, "key", key, allowed)
    return find(key, where)


def check_point(point: Mapping[str, Any], where: str) -> dict[str, Value]:
    """The values of a point in their own types; InputError if one is not allowed."""
    return {key: entry(key, where).check(_plain(value), where) for key, value in point.items()}


def parse_vary(spec: str, where: str = OPTION) -> Factor:
    """A factor from text.

    ``KEY=1,2,3`` lists values, ``KEY=LOW:HIGH:STEP`` counts from LOW up to at most HIGH,
    ``KEY=LOW:HIGH`` is a range and ``KEY`` alone the plausible range of ``parameters.toml``.

    Raises
    ------
    InputError
        Unknown key, a value of the wrong type or out of its limits, or text of another form.
    """
    key, equals, text = (part.strip() for part in spec.partition("="))
    if not key:
        raise InputError(where, "key", spec, _SPEC)
    item = entry(key, where)
    if not equals:
        if item.low is None:
            raise InputError(where, key, spec, f"{_SPEC}; {key} has no plausible range")
        return Factor(key, low=item.low, high=item.high)
    if not text:
        raise InputError(where, key, spec, _SPEC)
    if ":" in text:
        return _range(item, text, where)
    values = tuple(item.check(_word(part, item), where) for part in text.split(","))
    if len(set(values)) < len(values):
        raise InputError(where, key, text, "values that differ")
    return Factor(key, values)


def check_factors(factors: Sequence[Factor], design: str, where: str = OPTION) -> None:
    """InputError unless there is a factor, every key is given once and suits the design."""
    if not factors:
        raise InputError(where, "vary", "nothing", f"at least one key: {_SPEC}")
    seen = set()
    for factor in factors:
        if factor.key in seen:
            raise InputError(where, factor.key, "given twice", "every key once")
        seen.add(factor.key)
        if design == "factorial" and not factor.values:
            text = f"{factor.low:g}:{factor.high:g}"
            allowed = "in a factorial design a list or LOW:HIGH:STEP"
            raise InputError(where, factor.key, text, allowed)


def full_factorial(factors: Sequence[Factor]) -> pd.DataFrame:
    """Every combination of the factors' listed values.

    Raises
    ------
    InputError
        A factor that is a range, a key given twice, or more than 100 000 points.
    """
    check_factors(factors, "factorial")
    size = math.prod(len(factor.values) for factor in factors)
    if size > MOST_POINTS:
        raise InputError(OPTION, "points", size, f"at most {MOST_POINTS} combinations")
    return _table(factors, list(zip(*product(*(f.values for f in factors)), strict=True)))


def latin_hypercube(factors: Sequence[Factor], n: int, seed: int = 1) -> pd.DataFrame:
    """A Latin hypercube of `n` points. A larger one shares no point with a smaller one."""
    check_factors(factors, "lhs")
    sampler = scipy.stats.qmc.LatinHypercube(
        len(factors), rng=np.random.default_rng(check_seed(seed))
    )
    return _sampled(factors, sampler.random(check_points(n)))


def sobol(factors: Sequence[Factor], n: int, seed: int = 1) -> pd.DataFrame:
    """The first `n` points, a power of two, of a scrambled Sobol' sequence.

    A larger design of the same seed begins with the points of a smaller one, so it extends it.

    Raises
    ------
    InputError
        `n` is no power of two, or out of its limits.
    """
    check_factors(factors, "sobol")
    if check_points(n) & (n - 1):
        below = 2 ** (n.bit_length() - 1)
        raise InputError(ARGUMENT, "points", n, f"a power of two: {below} or {2 * below}")
    sampler = scipy.stats.qmc.Sobol(len(factors), rng=np.random.default_rng(check_seed(seed)))
    return _sampled(factors, sampler.random(n))


def make_design(
    factors: Sequence[Factor], design: str = "factorial", n: int | None = None, seed: int = 1
) -> pd.DataFrame:
    """The points of a design by name: factorial (without `n`), lhs or sobol (`n` points)."""
    if design not in DESIGNS:
        raise InputError(ARGUMENT, "design", design, f"one of {', '.join(DESIGNS)}")
    if design == "factorial":
        if n is not None:
            allowed = "only with `design` lhs or sobol; a factorial design has all combinations"
            raise InputError(ARGUMENT, "points", n, allowed)
        return full_factorial(factors)
    if n is None:
        allowed = f"with `design` {design} the number of points, 1 to {MOST_POINTS}"
        raise InputError(ARGUMENT, "points", "nothing", allowed)
    return (latin_hypercube if design == "lhs" else sobol)(factors, n, seed)


def point_dicts(points: pd.DataFrame | Sequence[Mapping[str, Any]]) -> list[dict[str, Value]]:
    """The points of a design as dicts of plain Python values."""
    if isinstance(points, pd.DataFrame):
        columns = [points[key].tolist() for key in points.columns]
        rows = zip(*columns, strict=True) if columns else [()] * len(points)
        return [dict(zip(points.columns, row, strict=True)) for row in rows]
    return [{key: _plain(value) for key, value in point.items()} for point in points]


def check_points(n: int) -> int:
    """`n` if it is a number of points, else InputError."""
    if isinstance(n, bool) or not isinstance(n, int) or not 1 <= n <= MOST_POINTS:
        raise InputError(ARGUMENT, "points", n, f"a whole number from 1 to {MOST_POINTS}")
    return n


def check_seed(seed: int) -> int:
    """`seed` if it is one, else InputError."""
    if isinstance(seed, bool) or not isinstance(seed, int) or not 0 <= seed <= LARGEST_SEED:
        allowed = f"a whole number from 0 to {LARGEST_SEED}"
        raise InputError(ARGUMENT, "design_seed", seed, allowed)
    return seed


def _sampled(factors: Sequence[Factor], shares: np.ndarray) -> pd.DataFrame:
    return _table(factors, [factor.at(shares[:, i]) for i, factor in enumerate(factors)])


def _table(factors: Sequence[Factor], columns: Sequence[Sequence[Value]]) -> pd.DataFrame:
    keys = [factor.key for factor in factors]
    data = {key: list(column) for key, column in zip(keys, columns, strict=True)}
    table = pd.DataFrame(data)
    table.index = pd.RangeIndex(1, len(table) + 1, name="point")
    return table


def _range(item: Entry, text: str, where: str) -> Factor:
    if item.kind not in ("number", "integer"):
        raise InputError(where, item.key, text, f"a list of values, each {item.allowed}")
    parts = [_number(part, item, where) for part in text.split(":")]
    if len(parts) not in (2, 3):
        raise InputError(where, item.key, text, _SPEC)
    low, high = (_value(part, item) for part in parts[:2])
    for end in (low, high):
        item.check(end, where)
    if not low < high:
        raise InputError(where, item.key, text, "LOW below HIGH")
    if len(parts) == 2:
        return Factor(item.key, low=low, high=high)
    step = parts[2]
    if step <= 0:
        raise InputError(where, item.key, text, "a step above 0")
    # Counted in decimals, so that 0.1:0.3:0.1 ends at 0.3.
    try:
        count = int((parts[1] - parts[0]) / step) + 1
    except (Overflow, InvalidOperation):
        count = MOST_POINTS + 1
    if count > MOST_POINTS:
        raise InputError(where, item.key, text, f"at most {MOST_POINTS} values")
    steps = (parts[0] + number * step for number in range(count))
    return Factor(item.key, tuple(item.check(_value(part, item), where) for part in steps))


def _number(text: str, item: Entry, where: str) -> Decimal:
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        raise InputError(where, item.key, text, item.allowed) from None
    if not _is_usual(number):
        raise InputError(where, item.key, text, item.allowed)
    return number


def _value(number: Decimal, item: Entry) -> float | int:
    whole = item.kind == "integer" and number == number.to_integral_value()
    return int(number) if whole else float(number)


def _word(text: str, item: Entry) -> Any:
    text = text.strip()
    if item.kind == "boolean":
        return {"true": True, "false": False}.get(text.lower(), text)
    if item.kind == "choice":
        return text.strip("\"'")
    try:
        number = Decimal(text)
    except InvalidOperation:
        return text
    return _value(number, item) if _is_usual(number) else text


def _is_usual(number: Decimal) -> bool:
    """Whether a number is finite and of few digits: 1e99999999 would take hours to write out."""
    return number.is_finite() and number.adjusted() < 300


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.generic) else value
