"""What a comparison found on any measure, in one sentence no stronger than the intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from colony_sim.statistics.paired import separated
from colony_sim.words.estimate import dashed, limits, number
from colony_sim.words.finding import change, difference
from colony_sim.words.labels import shortened


@dataclass(frozen=True)
class Words:
    """How a measure of which less is better is spoken of.

    Attributes
    ----------
    measure : str
        Its key in the tables.
    things : str
        What is compared, such as "losses of beetles".
    does : str
        Of one policy, before "fewer ..."; such as "loses".
    what : str
        What there is less of, such as "beetles".
    unit : str
    """

    measure: str
    things: str
    does: str
    what: str
    unit: str


def fewest(
    words: Words,
    policies: Sequence[str],
    summary: pd.DataFrame,
    all_differences: pd.DataFrame,
    most: int = 60,
) -> str:
    """Which policy has less of it, if the runs separate them.

    One policy is put below another only where the interval of the paired difference leaves out 0
    and the Holm-adjusted p value is below 1 - level. With more than two policies the best is
    chosen after the fact, so the adjustment is over all pairs.
    """
    table = summary[summary["measure"] == words.measure].set_index("policy")
    known = [p for p in policies if math.isfinite(table.loc[p, "mean"])]
    quoted = {policy: f"“{shortened(policy, most)}”" for policy in policies}
    if not known:
        return f"No run has a value, so there are no {words.things} to compare"
    if len(known) == 1:
        row = table.loc[known[0]]
        interval = f" ({dashed(limits(row))})" if math.isfinite(row["low"]) else ""
        value = f"{number(row['mean'])} {words.what} {words.unit}{interval}"
        return f"{quoted[known[0]]} {words.does} {value}"
    ranked = sorted(known, key=lambda policy: table.loc[policy, "mean"])
    if len(known) == 2:
        return _two(words, ranked, quoted, all_differences)
    return _many(words, ranked, quoted, all_differences, len(known) == len(policies))


def paired_in_words(differences: pd.DataFrame, measure: str, unit: str) -> str:
    """Every paired difference from the baseline that has an interval; empty if none has."""
    parts = [
        f"“{row['policy']}” minus “{row['baseline']}” {change(row, unit)}"
        for _, row in differences[differences["measure"] == measure].iterrows()
        if math.isfinite(row["low"])
    ]
    return f"Paired differences: {'; '.join(parts)}." if parts else ""


def _below(row: pd.Series) -> bool:
    return separated(row) and row["difference"] < 0


def _two(words: Words, ranked: list[str], quoted: dict[str, str], table: pd.DataFrame) -> str:
    # The means are over all runs; the pairs alone decide who is ahead.
    both = [difference(table, words.measure, *order) for order in (ranked, ranked[::-1])]
    row = next((row for row in both if _below(row)), both[0])
    first, second = quoted[row["policy"]], quoted[row["baseline"]]
    if _below(row):
        share = row["relative_percent"]
        by = f"{number(-share)} % " if math.isfinite(share) else ""
        how = f"{words.does} {by}fewer {words.what}"
        return f"{first} {how} than {second}: {change(row, words.unit)}"
    if row["n_pairs"] < 2:
        return f"The pairs are too few to compare {first} with {second}"
    tail = f"in {words.things}: {change(row, words.unit)}"
    return f"The runs do not separate {first} from {second} {tail}"


def _many(
    words: Words, ranked: list[str], quoted: dict[str, str], table: pd.DataFrame, whole: bool
) -> str:
    best, others = ranked[0], ranked[1:]
    against = {other: difference(table, words.measure, best, other) for other in others}
    level = [other for other, row in against.items() if not _below(row)]
    first = quoted[best]
    if not level:
        among = "" if whole else f" of the {len(ranked)} policies with a value"
        return (
            f"{first} {words.does} fewest {words.what}{among}; against {quoted[others[0]]}, "
            f"the next: {change(against[others[0]], words.unit)}"
        )
    if len(level) < len(others):
        behind = len(others) - len(level)
        rest = quoted[level[0]] if len(level) == 1 else f"the other {len(level)}"
        count = f"{behind} of {len(others)} others{'' if whole else ' with a value'}"
        return (
            f"{first} {words.does} fewer {words.what} than {count}; "
            f"the runs do not put it below {rest}"
        )
    rows = table[
        (table["measure"] == words.measure)
        & table["policy"].isin(ranked)
        & table["baseline"].isin(ranked)
    ]
    if not any(separated(row) for _, row in rows.iterrows()):
        return f"The runs do not separate the {len(ranked)} policies in {words.things}"
    return f"{first} has the lowest mean of {words.things}, but is not put below any other"
