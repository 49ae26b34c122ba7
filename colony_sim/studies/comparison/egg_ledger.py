"""Where the eggs of a run went: an account of every egg laid, per 100."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.measuring.series import unpack
from colony_sim.running.store import Damaged, OutcomeStore, read_store

FATES = {
    "egg_eaten_by_beetles": ("eggs_eaten_adults",),
    "egg_eaten_by_larvae": ("eggs_eaten_larvae",),
    "egg_unhatched": ("eggs_unhatched",),
    "egg_lost_in_handling": ("eggs_lost_handling",),
    "larva_died": ("larvae_died", "larvae_lost_handling"),
    "larva_harvested": ("harvest_larvae",),
    "pupa_eaten": ("pupae_eaten_adults", "pupae_eaten_larvae"),
    "pupa_died_or_lost": ("pupae_died", "pupae_lost_handling"),
    "beetle_emerged": ("adults_emerged", "pupae_injured"),
}
"""Ends of an egg's way to a beetle, in the order of life, and the daily columns that count them.
"""
STOCK = "change_of_stock"
"""More (or, negative, fewer) eggs, larvae and pupae alive at the end of the days counted."""
_LAID, _STAGES = "eggs_laid", ("eggs", "larvae", "pupae")


def egg_ledger(daily: pd.DataFrame, warm_up_days: int) -> dict[str, float] | None:
    """Account of the eggs laid in a run after its warm-up, per 100 of them.

    Parameters
    ----------
    daily : DataFrame
        All columns of `RunRecord.daily`, one row a day from day 1.
    warm_up_days : int
        Days left out.

    Returns
    -------
    dict or None
        Each of `FATES`, and `STOCK`; they sum to 100. None if no egg was laid.

    Notes
    -----
    What ends in these days was not all laid in them: an egg laid shortly before may hatch in
    them, one laid at their end is still alive. Every insect enters a stage once and leaves it
    once, so over the days  laid = sum of all fates + (alive at the end - alive at the start),
    which is why the change of stock closes the account exactly.
    """
    used = daily.iloc[warm_up_days:]
    laid = int(used[_LAID].sum())
    if laid == 0:
        return None
    found = {
        fate: 100.0 * sum(int(used[column].sum()) for column in columns) / laid
        for fate, columns in FATES.items()
    }
    more = _alive(used.iloc[-1]) - _alive_before(daily, warm_up_days)
    return {**found, STOCK: 100.0 * more / laid}


def _alive(day: pd.Series) -> int:
    return int(day[list(_STAGES)].sum())


def _alive_before(daily: pd.DataFrame, warm_up_days: int) -> int:
    """Eggs, larvae and pupae when the days counted begin."""
    if warm_up_days:
        return _alive(daily.iloc[warm_up_days - 1])
    # Before day 1 nothing is recorded: what ended on it was there, what was laid on it was not.
    first = daily.iloc[0]
    ended = sum(int(first[column]) for columns in FATES.values() for column in columns)
    return _alive(first) + ended - int(first[_LAID])


def egg_ledgers(folder: Path, facts: dict[str, Any], runs: pd.DataFrame) -> pd.DataFrame:
    """Account of every run of a comparison.

    Parameters
    ----------
    folder : Path
        Results folder.
    facts : dict
        Its manifest.
    runs : DataFrame
        Its table ``runs``.

    Returns
    -------
    DataFrame
        One row a run: policy, seed, status, eggs_laid, each of `FATES` and `STOCK` (per 100
        eggs laid); NaN where it laid nothing in the days measured or is not kept.
    """
    keys = {(entry["policy"], entry["seed"]): entry["key"] for entry in facts.get("runs", [])}
    columns = [_LAID, *_STAGES, *(name for names in FATES.values() for name in names)]
    rows = []
    with read_store(folder) as store:
        for run in runs.itertuples():
            row = {"policy": run.policy, "seed": run.seed, "status": run.status}
            key = keys.get((run.policy, run.seed))
            daily = _kept(store, key, columns)
            if daily is not None:
                row[_LAID] = int(daily[_LAID].iloc[int(run.warm_up_days) :].sum())
                row |= egg_ledger(daily, int(run.warm_up_days)) or {}
            rows.append(row)
    return pd.DataFrame(rows, columns=["policy", "seed", "status", _LAID, *FATES, STOCK])


def _kept(store: OutcomeStore | None, key: str | None, columns: list[str]) -> pd.DataFrame | None:
    """Columns of a stored run, None if it is not kept."""
    try:
        packed = store.get(key) if store is not None and key is not None else None
    except Damaged:
        return None
    return None if packed is None else unpack(packed, columns).daily
