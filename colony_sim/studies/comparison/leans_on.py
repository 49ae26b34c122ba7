"""What the answer of a comparison over worlds leans on: the value of knowing each unknown.

Every value, structure and uncertain handling of the worlds is ranked by its expected value of
partial perfect information (EVPPI): what a keeper who knew it, and chose the better policy in its
light, would gain on average over one who chooses by what is known now. It is estimated from the
runs of the comparison alone, by regression (Strong, Oakley & Brennan 2014, Med. Decis. Making
34:311-326, see `statistics.information`), chance within a world averaged out.

What knowing everything would be worth is the regret of the better choice (EVPI); no single value
can be worth more. Values below one that permuted gains reach are not told apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.experiment.worlds import Worlds
from colony_sim.statistics.information import Narrowing, runs_needed
from colony_sim.studies.comparison.this_colony import narrowed
from colony_sim.words.estimate import dashed
from colony_sim.words.units import size, weight

DAYS_A_YEAR = 365.25
_NAMED, _WORTH_NAMING = 2, 1.0
"""Unknowns named at most, and what they are worth at least (g a year)."""


@dataclass(frozen=True)
class LeansOn:
    """What would change the answer.

    Attributes
    ----------
    pair : two names
        The policies of the answer.
    worlds : int
        Worlds with a gain.
    evpi : float
        Expected value of knowing everything (g/day).
    table : pandas.DataFrame
        One row a key of the worlds, the most worth first: key, label, kind (value, structure or
        handling), value_g_per_day, value_g_per_day_se, value_g_per_year, value_g_per_year_se,
        p_holm (that permuted gains come to as much), told_apart, turns (share of the worlds in
        which knowing it would turn the choice), share, share_se (of the variance of the gain),
        measurement (how a keeper can measure it).
    """

    pair: tuple[str, str]
    worlds: int
    evpi: float
    table: pd.DataFrame


def leans_on(runs: pd.DataFrame, worlds: Worlds, pair: tuple[str, str], evpi: float) -> LeansOn:
    """Rank the unknowns of the worlds by what knowing them is worth.

    Parameters
    ----------
    runs : pandas.DataFrame
        One row a policy and replicate: policy, replicate, seed, world, yield.
    worlds : Worlds
        Those of the plan.
    pair : two names
    evpi : float
        Expected value of knowing everything (g/day).
    """
    return from_narrowing(narrowed(worlds, pair, runs), pair, evpi)


def from_narrowing(found: Narrowing, pair: tuple[str, str], evpi: float) -> LeansOn:
    """The same from shares and values that are there already."""
    rows = found.table
    entries = [catalogue()[key] for key in rows["key"]]
    table = pd.DataFrame({
        "key": rows["key"],
        "label": [entry.label for entry in entries],
        "kind": [
            "handling" if entry.group == "handling" else "value" if entry.is_number else "structure"
            for entry in entries
        ],
        "value_g_per_day": rows["value"], "value_g_per_day_se": rows["value_se"],
        "value_g_per_year": DAYS_A_YEAR * rows["value"],
        "value_g_per_year_se": DAYS_A_YEAR * rows["value_se"],
        "p_holm": rows["value_p_holm"], "told_apart": rows["told_apart"], "turns": rows["turns"],
        "share": rows["share"], "share_se": rows["share_se"],
        "measurement": [entry.measure for entry in entries],
    })  # fmt: skip
    table = table.sort_values(
        ["told_apart", "value_g_per_day"], ascending=False, kind="stable", ignore_index=True
    )
    return LeansOn(pair, found.runs, evpi, table)


def what_would_tell(found: LeansOn) -> str:
    """The one measurement at home that would tell most, for an answer that nobody knows."""
    told = worth_naming(found.table)
    if told.empty:
        return (
            "No single measurement at home is shown to tell; what an experiment is worth, and both "
            "ways side by side: colony-sim trial FOLDER."
        )
    top = told.iloc[0]
    return (
        f"To find out at home ({top['label']}): {top['measurement']}. That is worth "
        f"{weight(top['value_g_per_year'])} a year (error {size(top['value_g_per_year_se'])}); "
        "which small experiment is worth its minutes: colony-sim trial FOLDER."
    )


def leaning_in_words(found: LeansOn) -> str:
    """What would change the answer, what that is worth in a year, and how to measure it."""
    whole = f"Knowing everything would be worth {weight(DAYS_A_YEAR * found.evpi)} a year"
    told = worth_naming(found.table).head(_NAMED)
    if told.empty:
        enough = runs_needed(len(found.table))
        more = (
            f"; some {enough} colonies would show one that decides a quarter of it"
            if found.worlds < enough
            else ""
        )
        return (
            f"What would change it: no single value is told apart from luck in {found.worlds} "
            f"colonies{more}. {whole}."
        )
    parts = [
        f"{row.label} (worth {weight(row.value_g_per_year)} a year, error "
        f"{size(row.value_g_per_year_se)}; {row.measurement})"
        for row in told.itertuples()
    ]
    return dashed(f"What would change it: {'; '.join(parts)}. {whole}.")


def worth_naming(table: pd.DataFrame) -> pd.DataFrame:
    """Unknowns told apart from luck that are worth naming, the most worth first."""
    return table[table["told_apart"] & (table["value_g_per_year"] >= _WORTH_NAMING)]
