"""Where every egg went: an account per 100 eggs laid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from colony_sim.statistics.paired import all_paired_differences, policy_summary, separated
from colony_sim.studies.comparison.egg_ledger import FATES, STOCK, egg_ledgers
from colony_sim.studies.comparison.results import Results
from colony_sim.words.estimate import dashed, limits, number, signed
from colony_sim.words.finding import difference
from colony_sim.words.labels import shortened

NAMES = {
    "egg_eaten_by_beetles": "Egg eaten by beetles",
    "egg_eaten_by_larvae": "Egg eaten by larvae",
    "egg_unhatched": "Egg did not hatch",
    "egg_lost_in_handling": "Egg lost in handling",
    "larva_died": "Larva died",
    "larva_harvested": "Larva harvested",
    "pupa_eaten": "Pupa eaten",
    "pupa_died_or_lost": "Pupa died or lost",
    "beetle_emerged": "Beetle emerged",
    STOCK: "Change of number alive",
}
ENDS = {
    "egg_eaten_by_beetles": "eaten by beetles",
    "egg_eaten_by_larvae": "eaten by larvae",
    "egg_unhatched": "not hatched",
    "egg_lost_in_handling": "lost in handling",
    "larva_died": "dead as larvae",
    "larva_harvested": "harvested as larvae",
    "pupa_eaten": "eaten as pupae",
    "pupa_died_or_lost": "dead as pupae",
    "beetle_emerged": "grown up to beetles",
}
_KEPT = ("larva_harvested", "beetle_emerged")


@dataclass(frozen=True)
class Account:
    """Ends of the eggs of all runs.

    Attributes
    ----------
    known : list of str
        Policies with a run in which eggs were laid in the days measured.
    summary : DataFrame
        One row a policy and end: mean and interval, per 100 eggs laid.
    differences : DataFrame
        Paired differences of every two policies.
    """

    known: list[str]
    summary: pd.DataFrame
    differences: pd.DataFrame

    def mean(self, policy: str, fate: str) -> float:
        """Mean of an end (of 100 eggs laid)."""
        return float(_row(self.summary, policy, fate)["mean"])

    @property
    def table(self) -> pd.DataFrame:
        """What a slide keeps."""
        return self.summary.drop(columns="measure").assign(
            end=self.summary["measure"], unit="eggs per 100 eggs laid"
        )[["policy", "end", "unit", "n_runs", "n_used", "mean", "low", "high", "level"]]

    def finding(self, most: int = 60) -> str:
        """What becomes of most eggs, in a sentence no stronger than the intervals."""
        return _title(self, _largest(self), most)

    def in_words(self) -> str:
        """Every end under every policy."""
        return _all_in_words(self)

    def kept(self) -> str:
        """What the keeper has of 100 eggs."""
        return _kept_in_words(self)


def account(results: Results, folder: Path) -> Account:
    """The account of the eggs of all runs, from their stored daily series."""
    table = egg_ledgers(folder, results.manifest, results.runs)
    keys = [*FATES, STOCK]
    summary = policy_summary(table, measures=keys)
    differences = all_paired_differences(table, measures=keys)
    known = [p for p in results.policies if math.isfinite(_row(summary, p, STOCK)["mean"])]
    return Account(known, summary, differences)


def _row(summary: pd.DataFrame, policy: str, fate: str) -> pd.Series:
    rows = summary
    return rows[(rows["policy"] == policy) & (rows["measure"] == fate)].iloc[0]


def _largest(found: Account) -> str:
    """The end of most eggs under the first policy."""
    rows = found.summary
    rows = rows[(rows["policy"] == found.known[0]) & rows["measure"].isin(list(FATES))]
    return rows.set_index("measure")["mean"].idxmax()


def _title(found: Account, fate: str, most: int) -> str:
    summary, known = found.summary, found.known
    rows = [_row(summary, policy, fate) for policy in known]
    quoted = [f"“{shortened(policy, most)}”" for policy in known]
    end = ENDS[fate]
    if all(row["low"] > 50 for row in rows):
        start = f"Most eggs laid are {end}"
    elif _ahead(summary, known, fate):
        start = f"More eggs laid are {end} than come to any other end"
    else:
        start = f"Eggs laid that are {end}"
    values = [number(row["mean"]) for row in rows]
    if len(known) > 2:
        order = sorted(rows, key=lambda row: row["mean"])
        low, high = number(order[0]["mean"]), number(order[-1]["mean"])
        return f"{start}: {low} to {high} of 100, by policy"
    parts = [f"{value} of 100 under {name}" for value, name in zip(values, quoted, strict=True)]
    text = f"{start}: {parts[0]}"
    if len(known) == 1:
        return text
    text = f"{text}; {values[1]} under {quoted[1]}"
    row = difference(found.differences, fate, known[1], known[0])
    if row["n_pairs"] < 2:
        return text
    if separated(row):
        return f"{text} ({signed(row['difference'])}, {dashed(limits(row))})"
    return f"{text}, which the runs do not separate"


def _ahead(summary: pd.DataFrame, known: list[str], fate: str) -> bool:
    """Whether this end's interval lies above those of all others under every policy."""
    others = [other for other in FATES if other != fate]
    return all(
        _row(summary, policy, fate)["low"] > max(_row(summary, policy, o)["high"] for o in others)
        for policy in known
    )


def _kept_in_words(found: Account) -> str:
    summary, known = found.summary, found.known
    parts = [
        f"under “{policy}” {number(_row(summary, policy, _KEPT[0])['mean'])} are harvested and "
        f"{number(_row(summary, policy, _KEPT[1])['mean'])} become beetles"
        for policy in known
    ]
    return f"Of 100 eggs laid, {'; '.join(parts)}."


def _all_in_words(found: Account) -> str:
    summary, known = found.summary, found.known
    parts = []
    for policy in known:
        values = [
            f"{NAMES[fate].lower()} {dashed(number(_row(summary, policy, fate)['mean']))}"
            for fate in NAMES
        ]
        parts.append(f"Under “{policy}”: {', '.join(values)}.")
    return " ".join(parts)
