"""What a sweep found on yield, in a few sentences no stronger than its intervals."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.core import holm
from colony_sim.statistics.worlds_pointwise import KNOWN
from colony_sim.studies import precision
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number, of_100, short
from colony_sim.words.finding import a_day
from colony_sim.words.labels import shortened
from colony_sim.words.units import scaled, symbol

if TYPE_CHECKING:
    from colony_sim.studies.sweep.run import SweepPlan


class Finding:
    """Takes the tables of a sweep part by part; keeps a few numbers per point.

    One policy is put above another at a point only where the paired interval leaves out 0 and the
    p value, adjusted by Holm over all comparisons of yield in the sweep, is below 1 - level. Over
    worlds it is the probability that counts: ahead from `KNOWN` on, and who is ahead is not known
    below it.
    """

    def __init__(self, sweep: SweepPlan) -> None:
        self._sweep = sweep
        self._parts: list[pd.DataFrame] = []
        self._means: list[pd.Series] = []
        self._precision: list[pd.DataFrame] = []
        self._worlds: list[pd.DataFrame] = []

    def add(self, chunk: pd.DataFrame, differences: pd.DataFrame) -> None:
        """Take the runs of some points and their paired differences."""
        keep = ["policy", "difference", "low", "high", "p_t", "level"]
        self._parts.append(differences.loc[differences["measure"] == YIELD, keep])
        groups = chunk.groupby(["point", "policy"], sort=False)
        self._means.append(groups[YIELD].mean())

    def add_worlds(self, table: pd.DataFrame) -> None:
        """Take how surely policies are ahead over worlds at some points."""
        self._worlds.append(table)

    def add_precision(self, table: pd.DataFrame) -> None:
        """Take what precision was reached at some points."""
        self._precision.append(table)

    def sentences(self) -> list[str]:
        """The finding, and what precision was reached."""
        plan = self._sweep.plan
        means = pd.concat(self._means)
        lines = [self._range(plan.baseline, means.xs(plan.baseline, level="policy"))]
        if self._worlds:
            lines = [*_over_worlds(pd.concat(self._worlds, ignore_index=True)), *lines]
        elif len(plan.policies) > 1:
            table = pd.concat(self._parts, ignore_index=True)
            clear = separated_anywhere(table)
            family = int(table["p_t"].notna().sum())
            others = [p.name for p in plan.policies if p.name != plan.baseline]
            against = [
                _against(table[here], clear[here], name, plan.baseline)
                for name in others
                for here in [table["policy"] == name]
            ]
            lines = [*against, *lines]
            if family:
                lines.append(
                    "A tie is a 95 % interval of the difference that holds 0, or a p value of 0.05 "
                    f"or more once adjusted for all {family} comparisons of yield in the sweep."
                )
        rule = self._sweep.rule
        if rule is not None and self._precision:
            lines += precision.in_words(pd.concat(self._precision), rule)
        return lines

    def _range(self, policy: str, means: pd.Series) -> str:
        known = means.dropna()
        name = f"“{shortened(policy, 40)}”"
        if known.empty:
            return f"No run of {name} has a value at any of {len(means)} points."
        left = len(means) - len(known)
        none = f"; no value at {left} of {len(means)} points" if left else ""
        low, high = known.idxmin(), known.idxmax()
        if len(known) == 1:
            text = f"gives {a_day(known[low])} where {self._point(low)}"
        else:
            text = (
                f"is seen to give most, {a_day(known[high])}, where {self._point(high)}, "
                f"and least, {number(scaled(known[low], 'g/d'))}, where {self._point(low)} "
                f"(means of runs)"
            )
        return f"{name} {text}{none}."

    def _point(self, point: int) -> str:
        values = self._sweep.points.loc[point]
        keys = [
            f"{labels.label(key)} is {labels.told(key, value, _number)}"
            for key, value in zip(self._sweep.points.columns, values.tolist(), strict=True)
        ]
        return ", ".join(keys[:4]) + (", …" if len(keys) > 4 else "")


def _number(value: object) -> str:
    return number(value) if isinstance(value, float) else str(value)


def _over_worlds(table: pd.DataFrame) -> list[str]:
    """Who is ahead over worlds, at how many points, and how well that is known."""
    lines = [
        _in_most_worlds(here, str(policy), str(baseline))
        for (policy, baseline), here in table.groupby(["policy", "baseline"], sort=False)
    ]
    worlds, error = int(table["worlds"].max()), table["probability_se"].max()
    if not math.isfinite(error):
        return lines
    text = (
        f"Known means: in {of_100(KNOWN)} of 100 possible colonies or more; {worlds} were lived, "
        f"the same at every point (a count of 100 is right to about {short(100 * error)})."
    )
    if table["of_single_pairs"].all():
        text += (
            " Each was lived once, so luck is part of that; more replicates than possible colonies "
            "take it off."
        )
    return [*lines, text]


def _in_most_worlds(table: pd.DataFrame, policy: str, baseline: str) -> str:
    first, second = (f"“{shortened(name, 40)}”" for name in (policy, baseline))
    more, less = (int((table["known"] == name).sum()) for name in (policy, baseline))
    unknown = len(table) - more - less
    text = f"Of {len(table)} points, {first} gives more than {second} at {more} and less at {less}"
    known = table.dropna(subset=["probability"])
    if known.empty:
        return f"{text}; nothing is known at the rest."
    if unknown == len(table):
        text = (
            f"Nobody knows yet at any of {len(table)} points which gives more, {first} or {second}"
        )
    elif unknown:
        text += f"; at {unknown} nobody knows yet"
    low, high = (of_100(known["probability"].agg(how)) for how in ("min", "max"))
    gains = [number(scaled(known["gain"].agg(how), "g/d")) for how in ("min", "max")]
    shares, by = (" to ".join(dict.fromkeys(ends)) for ends in ((low, high), gains))
    return dashed(
        f"{text}. {first} gives more in {shares} of 100 possible colonies; {first} minus {second} "
        f"is {by} {symbol('g/d')} on average."
    )


def separated_anywhere(table: pd.DataFrame) -> pd.Series:
    """Which paired differences of one measure are told from 0, over all points of a sweep.

    The interval must leave out 0 and the p value, adjusted by Holm over all rows of the table, be
    below 1 - level.
    """
    adjusted = pd.Series(holm(table["p_t"].to_numpy()), index=table.index)
    return ((table["low"] > 0) | (table["high"] < 0)) & (adjusted < 1 - table["level"])


def _against(table: pd.DataFrame, clear: pd.Series, policy: str, baseline: str) -> str:
    first, second = (f"“{shortened(name, 40)}”" for name in (policy, baseline))
    points = len(table)
    more = int((clear & (table["difference"] > 0)).sum())
    less = int((clear & (table["difference"] < 0)).sum())
    known = int(table["low"].notna().sum())
    parts = [
        f"yields more than {second} at {more}",
        f"less at {less}",
        f"and ties with it at {known - more - less}",
    ]
    rest = f"; {points - known} could not be compared" if known < points else ""
    return f"Of {points} points, {first} {', '.join(parts)}{rest}."
