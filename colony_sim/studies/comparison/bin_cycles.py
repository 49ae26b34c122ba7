"""Lives of bins in a run lived again: from the beetles going in to the clearing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from colony_sim.colony.binlog import Action
from colony_sim.studies.comparison.relive import Traces

COUNTED = ("eggs", "larvae", "pupae", "adults", "larvae_g", "skins_per_day")
"""What is counted in a bin each day."""
LOW, HIGH = 0.1, 0.9
"""Quantiles of the band over bins: the middle 80 % of them."""


@dataclass(frozen=True)
class Cycles:
    """Lives of the bins filled in the days used of one run.

    Attributes
    ----------
    days : DataFrame
        One row a bin and day in use: bin, date_in, date_out, age (days since the beetles left,
        negative before), the columns of `COUNTED`.
    ends : DataFrame
        One row a life: bin, date_in, date_out, most_age (the last age the run could have shown),
        cleared_age (NaN if not cleared by the end), why, moist_age (NaN if never).
    harvests : DataFrame
        One row a harvest: bin, date_in, age, grams.
    """

    days: pd.DataFrame
    ends: pd.DataFrame
    harvests: pd.DataFrame


def cycles(traces: Traces, policy: str) -> Cycles | None:
    """Lives of the bins filled after the warm-up of a run; None if it never settled.

    A life counts from the day the beetles left the bin; those still breeding at the end of the
    run are left out.
    """
    warm_up = traces.warm_up.get(policy)
    if warm_up is None:
        return None
    record = traces.records[policy]
    last = int(record.daily["day"].iloc[-1])
    used = record.bins_daily[record.bins_daily["phase"] != "free"].copy()
    used = used[used["date_in"] > warm_up]
    out = used.groupby(["bin", "date_in"])["date_out"].transform("max")
    used = used.assign(date_out=out).dropna(subset=["date_out"])
    used["age"] = (used["day"] - used["date_out"]).astype(int)
    used = used.sort_values(["bin", "date_in", "day"])
    skins = used.groupby(["bin", "date_in"])["skins"].diff()
    used["skins_per_day"] = skins.fillna(used["skins"])
    log = record.bin_log
    lives = ["bin", "date_in"]
    ends = used.groupby(lives).agg(date_out=("date_out", "first")).reset_index()
    ends["most_age"] = last - ends["date_out"]
    cleared = log[log["action"] == Action.CLEARED][[*lives, "day", "reason"]]
    ends = ends.merge(cleared.rename(columns={"reason": "why"}), "left", on=lives)
    ends["cleared_age"] = ends["day"].astype(float) - ends["date_out"]
    moist = log[log["action"] == Action.MOISTURE_STARTED].groupby(lives)["day"].min().reset_index()
    ends = ends.drop(columns="day").merge(moist, "left", on=lives)
    ends["moist_age"] = ends["day"].astype(float) - ends["date_out"]
    ends = ends.drop(columns="day")
    harvests = log[log["action"] == Action.HARVEST].merge(ends[[*lives, "most_age"]], on=lives)
    harvests["age"] = (harvests["day"] - harvests["date_out"]).astype(int)
    columns = [*lives, "date_out", "age", *COUNTED]
    return Cycles(
        days=used[columns].reset_index(drop=True),
        ends=ends,
        harvests=harvests[[*lives, "age", "grams"]].reset_index(drop=True),
    )


def cleared(lives: Cycles) -> pd.DataFrame:
    """Lives that were cleared, of those that could have reached the greatest age at clearing.

    The lives begun late, of which only the short ones would have ended, are left out.
    """
    oldest = lives.ends["cleared_age"].max()
    whole = lives.ends[lives.ends["most_age"] >= oldest]
    return whole.dropna(subset=["cleared_age"])


def band(lives: Cycles, what: str, least_share: float = 0.5) -> pd.DataFrame:
    """Median and middle 80 % over bins, by days since the beetles left.

    Parameters
    ----------
    lives : Cycles
    what : str
        One of `COUNTED`.
    least_share : float
        Ages at which fewer of the bins that could have reached them are still in use are left
        out.

    Returns
    -------
    DataFrame
        age, bins (in use at that age), watched (that could have reached it), low, median, high.

    Notes
    -----
    Only bins that could have reached an age before the run ended count there, whether cleared or
    not, so that no age is seen through bins chosen for their long life alone.
    """
    table = lives.days.groupby("age")[what]
    found = table.quantile([LOW, 0.5, HIGH]).unstack()
    found.columns = ["low", "median", "high"]
    found = found.assign(bins=table.size()).reset_index()
    most = np.sort(lives.ends["most_age"].to_numpy(float))
    found["watched"] = len(most) - np.searchsorted(most, found["age"].to_numpy(float), "left")
    begun = (lives.days["age"].groupby([lives.days["bin"], lives.days["date_in"]]).min()).to_numpy()
    before = found["age"] < 0
    found.loc[before, "watched"] = [int((begun <= age).sum()) for age in found["age"][before]]
    kept = (found["bins"] >= least_share * found["watched"]) & (found["bins"] >= 3)
    return found.loc[kept, ["age", "bins", "watched", "low", "median", "high"]].reset_index(
        drop=True
    )


def harvest_by_week(lives: Cycles) -> pd.DataFrame:
    """Mean harvest of a bin by week since the beetles left (g a bin and week).

    Returns
    -------
    DataFrame
        week (0: the first 7 days), bins (that could have reached its end), grams.
    """
    if lives.harvests.empty:
        return pd.DataFrame({"week": [], "bins": [], "grams": []})
    week = lives.harvests["age"] // 7
    rows = []
    keys = ["bin", "date_in"]
    ends = lives.ends.set_index(keys)["most_age"]
    reach = ends.loc[pd.MultiIndex.from_frame(lives.harvests[keys])].to_numpy()
    for k in range(int(week.min()), int(week.max()) + 1):
        watched = int((lives.ends["most_age"] >= 7 * k + 6).sum())
        if watched >= 3:
            mine = lives.harvests[(week == k).to_numpy() & (reach >= 7 * k + 6)]
            rows.append({"week": k, "bins": watched, "grams": mine["grams"].sum() / watched})
    return pd.DataFrame(rows, columns=["week", "bins", "grams"])
