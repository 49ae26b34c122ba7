"""The finding of a comparison in one sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.paired import separated
from colony_sim.words.estimate import Estimate, dashed, limits, number, signed
from colony_sim.words.labels import shortened
from colony_sim.words.units import differs, here, scaled, symbol

_OF_MEASURE = {"mean", "sd", "low", "high", "difference", "policy_mean", "baseline_mean"}
"""Columns in the unit of the measure."""
LARVAE, HOURS = "yield_larvae_per_day", "work_hours_per_week"
"""Measures that are told beside the yield."""
FADES = 0.1
"""Share of runs that died out from which a policy is said to run the colony down."""
NOTICED = 0.1
"""Share of the work by which two policies must differ to be told apart by it."""


def finding(
    policies: Sequence[str],
    summary: pd.DataFrame,
    all_differences: pd.DataFrame,
    most: int = 60,
) -> str:
    """The finding on yield in one sentence, no stronger than the paired intervals allow.

    One policy is put above another only where the interval of the paired difference leaves out
    0 and the Holm-adjusted p value is below 1 - level. With more than two policies the best is
    chosen after the fact, so the adjustment is over all pairs. Policy names are cut to `most`
    characters.

    Parameters
    ----------
    policies : sequence of str
        Baseline first.
    summary : from `policy_summary`
    all_differences : from `all_paired_differences`
    most : int
    """
    yields = summary[summary["measure"] == YIELD].set_index("policy")
    rows = {policy: yields.loc[policy] for policy in policies}
    quoted = {policy: f"“{shortened(policy, most)}”" for policy in rows}
    gone = [p for p, row in rows.items() if row["n_died_out"] == row["n_runs"]]
    known = [policy for policy in rows if policy not in gone]
    if len(gone) == len(rows):
        where = f"under {quoted[gone[0]]}" if len(rows) == 1 else "under every policy"
        return f"The colony died out in every run {where}"
    start = _run_down(rows, quoted)
    if len(known) == 1:
        return f"{start}{quoted[known[0]]} yields {_mean_text(rows[known[0]])}"
    ranked = sorted(known, key=lambda p: -rows[p]["mean"])
    the = "the" if start else "The"
    if len(known) == 2:
        return start + _two(all_differences, ranked, quoted, the)
    return start + _many(all_differences, ranked, quoted, the)


def _run_down(rows: Mapping[str, pd.Series], quoted: Mapping[str, str]) -> str:
    """The policies that run the colony down, which is said before all else."""
    died = {p: int(row["n_died_out"]) for p, row in rows.items()}
    parts = [
        f"in {'all ' if died[p] == row['n_runs'] else f'{died[p]} of '}{row['n_runs']} runs"
        for p, row in rows.items()
        if died[p] >= FADES * row["n_runs"]
    ]
    names = [quoted[p] for p, row in rows.items() if died[p] >= FADES * row["n_runs"]]
    if not names:
        return ""
    text = f"{names[0]} runs the colony down {parts[0]}"
    more = [f"{name} {part}" for name, part in zip(names[1:], parts[1:], strict=True)]
    return f"{', '.join([text, *more])}; "


def first_of_two(table: pd.DataFrame, policies: Sequence[str], summary: pd.DataFrame) -> str:
    """The one of two policies whose difference from the other the finding states."""
    means = summary[summary["measure"] == YIELD].set_index("policy")["mean"]
    ranked = sorted(policies, key=lambda policy: -means[policy])
    return str(_lead(table, ranked)["policy"])


def _lead(table: pd.DataFrame, ranked: Sequence[str]) -> pd.Series:
    # The means are over all runs; the pairs alone decide who is ahead.
    ahead = [
        row
        for row in (_row(table, *ranked), _row(table, *ranked[::-1]))
        if separated(row) and row["difference"] > 0
    ]
    return ahead[0] if ahead else _row(table, *ranked)


def _two(table: pd.DataFrame, ranked: list[str], quoted: dict[str, str], the: str) -> str:
    row = _lead(table, ranked)
    first, second = quoted[row["policy"]], quoted[row["baseline"]]
    if separated(row) and row["difference"] > 0:
        return f"{first} yields more than {second}: {_change(row)}"
    if row["n_pairs"] < 2:
        return f"{the} pairs are too few to compare {first} with {second}"
    return f"{the} runs do not separate {first} from {second}: {_change(row)}"


def _many(table: pd.DataFrame, ranked: list[str], quoted: dict[str, str], the: str) -> str:
    best, others = ranked[0], ranked[1:]
    against = {other: _row(table, best, other) for other in others}
    level = [o for o, row in against.items() if not (separated(row) and row["difference"] > 0)]
    first = quoted[best]
    if not level:
        change = _change(against[others[0]])
        return f"{first} yields most, ahead of {quoted[others[0]]}, the next: {change}"
    if len(level) < len(others):
        behind = len(others) - len(level)
        rest = quoted[level[0]] if len(level) == 1 else f"the other {len(level)}"
        count = f"{behind} of {len(others)} others"
        return f"{first} yields more than {count}; the runs do not tell it from {rest}"
    among = table[
        (table["measure"] == YIELD) & table["policy"].isin(ranked) & table["baseline"].isin(ranked)
    ]
    if not any(separated(row) for _, row in among.iterrows()):
        return f"{the} runs do not separate the {len(ranked)} policies in yield"
    return f"{first} has the highest mean yield; the runs do not tell it from the others"


def beside(policies: Sequence[str], all_differences: pd.DataFrame, work: bool | None) -> str:
    """What goes with the yield of two policies, in a sentence: larvae, and hours of work.

    Parameters
    ----------
    policies : two names
        In the order in which they are told.
    all_differences : from `all_paired_differences`
    work : bool or None
        Whether to name the hours; None: where they differ so that a keeper notices.
    """
    larvae = difference(all_differences, LARVAE, *policies)
    if larvae["difference"] < 0:
        larvae = difference(all_differences, LARVAE, *policies[::-1])
    parts = []
    if math.isfinite(larvae["difference"]):
        parts.append(
            f"“{larvae['policy']}” minus “{larvae['baseline']}” is "
            f"{change(larvae, 'larvae per day')}"
        )
    row = difference(all_differences, HOURS, *policies)
    hours = row[["policy_mean", "baseline_mean"]]
    notices = separated(row) and abs(row["difference"]) >= NOTICED * hours.min()
    if notices if work is None else work and math.isfinite(row["difference"]):
        parts.append(
            f"“{policies[0]}” takes {number(hours.iloc[0])} hours of work a week, "
            f"“{policies[1]}” {number(hours.iloc[1])}"
        )
    return f"{'; '.join(parts)}." if parts else ""


def difference(
    all_differences: pd.DataFrame, measure: str, policy: str, baseline: str
) -> pd.Series:
    """The row of a paired difference."""
    rows = all_differences
    return rows[
        (rows["measure"] == measure) & (rows["policy"] == policy) & (rows["baseline"] == baseline)
    ].iloc[0]


def change(row: pd.Series, unit: str) -> str:
    """A paired difference with its interval and, if some were dropped, its pairs."""
    pairs = f", {row['n_pairs']} of {row['n_pairs'] + row['n_dropped']} pairs"
    return (
        f"{signed(row['difference'])} {unit} "
        f"({dashed(limits(row))}{pairs if row['n_dropped'] else ''})"
    )


def _row(table: pd.DataFrame, policy: str, baseline: str) -> pd.Series:
    return difference(table, YIELD, policy, baseline)


def _change(row: pd.Series) -> str:
    return change(in_house(row, "difference", "low", "high"), f"{symbol('g')} per day")


def _mean_text(row: pd.Series) -> str:
    shown = in_house(row, "mean", "low", "high")
    return dashed(str(Estimate.of(shown, unit=f"{symbol('g')} per day")))


def measures_in_house(table: pd.DataFrame, units: Mapping[str, str]) -> pd.DataFrame:
    """A table of measures in the units of the house.

    Parameters
    ----------
    table : DataFrame
        A row a measure, named in ``measure``; of its columns those of `_OF_MEASURE` are changed.
    units : mapping of str to str
        Units of the measures that are changed, by key.
    """
    changed = {key: unit for key, unit in units.items() if differs(unit)}
    table = table.copy() if changed else table
    for key, unit in changed.items():
        rows = table["measure"] == key
        for column in _OF_MEASURE.intersection(table):
            table[column] = table[column].where(~rows, here(table[column], unit))
    return table


def a_day(grams: float) -> str:
    """A yield (g a day) in the unit of the house."""
    return f"{number(scaled(grams, 'g/d'))} {symbol('g/d')}"


def in_house(row: pd.Series, *columns: str) -> pd.Series:
    """A row with some of its grams in the unit of the house."""
    row = row.copy()
    for column in columns:
        row[column] = scaled(row[column], "g")
    return row
