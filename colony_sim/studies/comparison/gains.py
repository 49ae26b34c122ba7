"""The slide of a comparison over worlds: how its gains are spread, with the share on each side."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.studies.comparison import gains_draw
from colony_sim.studies.comparison.over_words import LIKELY, SURE
from colony_sim.studies.comparison.results import MODEL_ONLY, Results, span
from colony_sim.words.estimate import of_100, short
from colony_sim.words.labels import shortened
from colony_sim.words.units import differs, plain, scaled, symbol

NAME = "gains"
TABLES = ("gains", "over_worlds")
MOST_ROWS = 7
"""Policies set against another on one slide."""
DOES = {
    "g/day": ("gives more larvae", "g a day", "g/d"),
    "g per hour of work": ("gives more for an hour of work", "g", "g"),
    "g/day per bin in use": ("gives more for each bin", "g a day", "g/d"),
    "g per kg of bran": ("gives more for a kilogram of bran", "g", "g/kg"),
    "beetles spared per 100 a day": ("loses fewer beetles", "of 100 beetles a day", ""),
}
"""What a policy that is ahead in a currency does, the unit of its gain in words and for tables."""
_POUND = ("gives more for a pound of bran", "oz")
"""Bran in a US house."""


@dataclass(frozen=True)
class Side:
    """A policy (A) against another (B) in one currency, over worlds.

    Attributes
    ----------
    a, b : str
        Their names.
    gains : pandas.DataFrame
        One row a world: world, replicates, gain of A over B (mean of its pairs of runs).
    shares : tuple of three floats
        Of worlds with A ahead, with a difference within the zone, with B ahead; their sum is 1.
    errors : tuple of two floats
        Standard errors of the shares of A and of B.
    expected, expected_se, low, high : float
        Expected gain, its error, and limits of the central 90 % of gains over worlds.
    zone : float
        Half width of the gains that count as none.
    chance : float
        Standard deviation by chance of the mean that a dot shows; NaN if it is not known.
    single : bool
        One pair of runs in each world, so that chance is in the shares.
    """

    a: str
    b: str
    gains: pd.DataFrame
    shares: tuple[float, float, float]
    errors: tuple[float, float]
    expected: float
    expected_se: float
    low: float
    high: float
    zone: float = 0.0
    chance: float = math.nan
    single: bool = False

    def in_house(self, unit: str) -> Side:
        """The same with gains, of a unit of tables, in that of the house."""
        names = ("expected", "expected_se", "low", "high", "zone", "chance")
        gains = self.gains.assign(gain=scaled(self.gains["gain"], unit))
        return replace(self, gains=gains, **{n: scaled(getattr(self, n), unit) for n in names})

    @property
    def of_100(self) -> tuple[str, str, str]:
        """The shares as counts of 100, that in the middle as what the others leave."""
        first, close, second = self.shares
        left = (100 - round(100 * first) - round(100 * second)) / 100
        return of_100(first), of_100(left if close > 0 else close), of_100(second)

    @property
    def give_or_take(self) -> str:
        """Larger standard error of the shares of A and B, of 100, in whole numbers."""
        return f"{max(round(100 * max(self.errors)), 1)}"

    @property
    def likely(self) -> str:
        """What is probable: "a", "close", "b", or "" for none."""
        found = zip(("a", "close", "b"), self.shares, strict=True)
        return next((name for name, share in found if share >= LIKELY), "")


def read(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame] | None:
    """Tables of gains and verdicts of a results folder; None if it has none."""
    paths = [folder / f"{name}.parquet" for name in TABLES]
    if not all(path.is_file() for path in paths):
        return None
    gains, verdicts = (pd.read_parquet(path) for path in paths)
    return gains, verdicts


def slides(results: Results, folder: Path, currency: str | None = None) -> list[Slide]:
    """The slide of gains; none for a comparison of one world.

    Parameters
    ----------
    results : Results
    folder : Path
        Results folder.
    currency : str, optional
        Default: the first of the table.

    Raises
    ------
    InputError
        If there is no such currency.
    """
    tables = read(folder)
    return [] if tables is None else [slide(results, *tables, currency)]


def slide(
    results: Results, gains: pd.DataFrame, verdicts: pd.DataFrame, currency: str | None = None
) -> Slide:
    """How the gains are spread, and the share on each side.

    Parameters
    ----------
    results : Results
        For the names and the foot.
    gains : pandas.DataFrame
        policy, baseline, currency, world, replicates, gain.
    verdicts : pandas.DataFrame
        One row a pair and currency, see ``statistics.currencies.Currencies``; of `WorldsVerdict`
        also zone, sd_chance and probability_zone, where they are there.
    currency : str, optional
        Default: the first of the verdicts.
    """
    names = list(verdicts["currency"].unique())
    currency = names[0] if currency is None else currency
    if currency not in names:
        raise InputError(ARGUMENT, "currency", currency, f"one of {', '.join(names)}")
    sides = sides_of(gains, verdicts, currency)
    does, of_tables, unit = DOES.get(currency, (f"has more {currency}", currency, ""))
    tables, said_unit = sides, of_tables
    if differs(unit):
        does, said_unit = _POUND if unit == "g/kg" else (does, symbol(unit))
        sides = [side.in_house(unit) for side in sides]
    source = _source(results)
    title = fitting(lambda most: _title(sides, does, most), _names(sides))
    said = ". ".join(_in_words(side, said_unit) for side in sides)
    runs = _runs(sides)
    return Slide(
        name=NAME,
        title=title,
        say=f"{title}. {said}.",
        caveat=_caveat(sides),
        alt=f"A dot for each possible colony that {source} allow, on a scale of gain in "
        f"{said_unit}. {said}.",
        data=_data(tables, of_tables),
        paint=lambda: gains_draw.figure(sides, title, said_unit, source, results, runs),
        runs=runs,
    )


def sides_of(gains: pd.DataFrame, verdicts: pd.DataFrame, currency: str) -> list[Side]:
    """The pairs of a currency that share their second policy, as they are drawn.

    Of several such groups the largest; of more than `MOST_ROWS` those with the highest gains.
    """
    rows = verdicts[verdicts["currency"] == currency]
    common = rows["baseline"].value_counts(sort=False).idxmax()
    rows = rows[rows["baseline"] == common]
    if len(rows) > MOST_ROWS:
        rows = rows.loc[rows["expected_gain"].nlargest(MOST_ROWS).index.sort_values()]
    found = []
    for row in rows.to_dict("records"):
        own = gains[
            (gains["currency"] == currency)
            & (gains["policy"] == row["policy"])
            & (gains["baseline"] == common)
        ].sort_values("world")
        a, b = float(row["probability_a"]), float(row["probability_b"])
        close = max(0.0, 1.0 - a - b)
        repeated = float((1.0 / own["replicates"]).mean()) if len(own) else math.nan
        found.append(
            Side(
                a=str(row["policy"]),
                b=str(common),
                gains=own[["world", "replicates", "gain"]].reset_index(drop=True),
                shares=(a, close, b),
                errors=(float(row["probability_a_se"]), float(row["probability_b_se"])),
                expected=float(row["expected_gain"]),
                expected_se=float(row["expected_gain_se"]),
                low=float(row["low"]),
                high=float(row["high"]),
                zone=float(np.nan_to_num(row.get("zone", 0.0))),
                chance=float(row.get("sd_chance", math.nan)) * math.sqrt(repeated),
                single=bool(row.get("of_single_pairs", False)),
            )
        )
    return found


def _source(results: Results) -> str:
    """What allows the possible colonies."""
    if results.profile in ("", SHIPPED):
        return "the published experiments"
    return f"the notes behind “{shortened(results.profile, 30)}”"


def _names(sides: list[Side]) -> list[str]:
    return list(dict.fromkeys([*(side.a for side in sides), sides[0].b]))


def _title(sides: list[Side], does: str, most: int) -> str:
    def quoted(name: str) -> str:
        return f"“{shortened(name, most)}”"

    if len(sides) == 1:
        side = sides[0]
        a, b = quoted(side.a), quoted(side.b)
        first, close, second = side.of_100
        if side.likely == "close":
            return f"It hardly matters in {close} of 100: {a} or {b}"
        (more, a), (less, b) = ((first, a), (second, b))
        shares = side.shares[0], side.shares[2]
        if shares[1] > shares[0]:
            shares, (more, a), (less, b) = shares[::-1], (less, b), (more, a)
        if not side.likely and shares[1] <= 1.0 - SURE:
            return f"{a} does as well as {b} or better: worse in {less} of 100"
        if not side.likely:
            return f"Nobody knows yet which {does}: {a} or {b}"
        return f"{_probably(shares[0])}{a} {does} than {b}: in {more} of 100"
    other = quoted(sides[0].b)
    better = [side for side in sides if side.likely == "a"]
    worse = [side for side in sides if side.likely == "b"]
    if better:
        best = max(better, key=lambda side: side.shares[0])
        start = f"{_probably(best.shares[0])}{quoted(best.a)}"
        return f"{start} {does} than {other}: in {best.of_100[0]} of 100"
    if len(worse) == len(sides):
        start = _probably(min(side.shares[2] for side in sides))
        return f"{start}{other} {does} than each of {len(sides)} others"
    if worse:
        return f"{len(worse)} of {len(sides)} others fall behind {other}; the rest is open"
    return f"Nobody knows yet whether one {does} than {other}"


def _probably(share: float) -> str:
    return "" if share >= SURE else "Probably "


def _in_words(side: Side, unit: str) -> str:
    a, b = f"“{side.a}”", f"“{side.b}”"
    first, close, second = side.of_100
    middle = (
        f", too close to matter in {close} (within {plain(side.zone)})" if side.zone > 0.0 else ""
    )
    luck = f"; luck moves a dot by {short(side.chance)}" if math.isfinite(side.chance) else ""
    return (
        f"{a} is ahead of {b} in {first} of 100{middle} and behind in {second}, right to about "
        f"{side.give_or_take}; the gain is {gains_draw.gained(side.expected)} {unit} on average "
        f"(error {short(side.expected_se)}), in nine of ten from {gains_draw.gained(side.low)} to "
        f"{gains_draw.gained(side.high)}{luck}"
    )


def _caveat(sides: list[Side]) -> str:
    text = f"This is {MODEL_ONLY}: a possible colony is one set of values of the model."
    if any(side.single for side in sides):
        return f"{text} Each was lived once by every policy, so luck is part of the counts."
    return (
        f"{text} Luck is taken off the counts and the nine of ten, not off the dots, so dots "
        "counted may give another number."
    )


def _runs(sides: list[Side]) -> str:
    """How many possible colonies there are and how often each was lived."""
    sets = span(sorted({len(side.gains) for side in sides}))
    times = span(sorted({int(n) for side in sides for n in side.gains["replicates"]}) or [0])
    return f"{sets} possible colonies, {times} {'run' if times == '1' else 'runs'} a policy in each"


def _data(sides: list[Side], unit: str) -> pd.DataFrame:
    """One row a mark: dots, shares and intervals."""
    parts = []
    for side in sides:
        pair = {"policy": side.a, "against": side.b}
        dots = side.gains.rename(columns={"gain": "value"}).assign(what="gain in a possible colony")
        parts.append(dots.assign(**pair, unit=unit))
        marks = [
            {"what": "expected gain, central 90 %", "value": side.expected, "low": side.low,
             "high": side.high, "unit": unit},
            {"what": "luck of a dot, standard deviation", "value": side.chance, "unit": unit},
            {"what": "too close to matter, half width", "value": side.zone, "unit": unit},
        ]  # fmt: skip
        for what, share, text in zip(
            ("ahead", "too close to matter", "behind"), side.shares, side.of_100, strict=True
        ):
            marks.append({"what": f"share {what}", "value": share, "unit": "share", "shown": text})
        parts.append(pd.DataFrame(marks).assign(**pair))
    columns = ["policy", "against", "what", "world", "replicates", "value", "low", "high", "shown",
               "unit"]  # fmt: skip
    table = pd.concat(parts, ignore_index=True).reindex(columns=columns)
    return table.astype({"world": "Int64", "replicates": "Int64"})
