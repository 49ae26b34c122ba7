"""The rack to watch: one seed lived again under two policies, day by day, as compact arrays."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Phase
from colony_sim.colony.simulate import RunRecord
from colony_sim.studies.comparison.relive import Traces

MOST_DAYS = 730
MOST_BINS = 120
STAGES = ("eggs", "larvae", "pupae", "adults")
PHASES = (Phase.FREE, Phase.BREEDING, Phase.GROWING)
MARKS = {
    Action.BEETLES_IN: "beetles in",
    Action.BEETLES_OUT: "beetles out",
    Action.HARVEST: "harvest",
    Action.MOISTURE_STARTED: "moisture",
    Action.CLEARED: "cleared",
}
"""Actions of the bin log that are marked on the rack, and the word on the mark."""
WORDS = tuple(dict.fromkeys(MARKS.values()))
_MG = 1000.0


@dataclass(frozen=True)
class Side:
    """One rack: a policy and what its bins held at the end of each day.

    Attributes
    ----------
    policy : str
    bins : DataFrame
        One row a day and bin, sorted by both: `STAGES`, ``larvae_g``, ``phase``, ``since`` (days
        since the beetles went in or, in a growing bin, out; 0 in a free one).
    tray : DataFrame
        Index day: ``pupae`` and ``adults`` on the tray, which are in no bin.
    totals : DataFrame
        Index day: ``harvest_g`` of the day, ``harvested_g`` and ``work_minutes`` since the first
        day shown, ``larvae_g`` and ``breeders`` alive.
    marks : DataFrame
        ``day``, ``bin``, ``word`` of `WORDS`, ``grams`` (of a harvest, else 0).
    died_out_day : int or None
    """

    policy: str
    bins: pd.DataFrame
    tray: pd.DataFrame
    totals: pd.DataFrame
    marks: pd.DataFrame
    died_out_day: int | None


@dataclass(frozen=True)
class Rack:
    """Two policies with the same seed over the same days.

    Attributes
    ----------
    seed : int
    first, last : int
        First and last day shown.
    settled : bool
        Whether the span begins where both runs count as settled; else it begins on day 1.
    bin_count : int
    full_insects, full_g : float
        What fills a column (insects) and a gauge (g of larvae), the same in all bins.
    sides : tuple of Side
    """

    seed: int
    first: int
    last: int
    settled: bool
    bin_count: int
    full_insects: float
    full_g: float
    sides: tuple[Side, ...]


def build(traces: Traces, policies: tuple[str, str], days: int = MOST_DAYS) -> Rack:
    """Cut the span to be watched out of two runs.

    It begins after the longer of the two warm-ups, as the measures do; where one of the runs did
    not settle, on day 1. It has `days` days, or as many as the runs have left.
    """
    ends = [end for policy in policies if (end := traces.warm_up[policy]) is not None]
    settled = len(ends) == len(policies)
    first = max(ends) + 1 if settled else 1
    last = min(first + days - 1, traces.plan.days)
    sides = tuple(_side(policy, traces.records[policy], first, last) for policy in policies)
    insects = max(side.bins[list(STAGES)].sum(axis=1).max() for side in sides)
    grams = max(side.bins["larvae_g"].max() for side in sides)
    return Rack(
        seed=traces.seed,
        first=first,
        last=last,
        settled=settled,
        bin_count=int(sides[0].bins["bin"].nunique()),
        full_insects=round_up(float(insects)),
        full_g=round_up(float(grams)),
        sides=sides,
    )


def _side(policy: str, record: RunRecord, first: int, last: int) -> Side:
    days = range(first, last + 1)
    table = record.bins_daily
    here = table["day"].between(first, last)
    growing = (table["phase"] == Phase.GROWING.value).to_numpy()
    dates = np.where(growing, table["date_out"].to_numpy(float), table["date_in"].to_numpy(float))
    since = np.nan_to_num(table["day"].to_numpy(float) - dates).astype(int)
    bins = table.assign(since=since)[here]
    bins = bins[["day", "bin", "phase", "since", *STAGES, "larvae_g"]]
    bins = _lengthened(bins, sorted(table["bin"].unique()), days)
    daily = record.daily.set_index("day")[["pupae", "adults", "harvest_g", "work_minutes",
                                           "larvae_g", "breeders"]]  # fmt: skip
    # A colony that has died out has no rows any more: nothing lives, nothing is done.
    daily = daily.reindex(days, fill_value=0)
    held = bins.groupby("day")[["pupae", "adults"]].sum()
    totals = daily.drop(columns=["pupae", "adults"])
    totals["harvested_g"] = totals["harvest_g"].cumsum()
    totals["work_minutes"] = totals["work_minutes"].cumsum()
    log = record.bin_log
    log = log[log["action"].isin(list(MARKS)) & log["day"].between(first, last)]
    marks = pd.DataFrame({
        "day": log["day"].astype(int),
        "bin": log["bin"].astype(int),
        "word": log["action"].map(MARKS),
        "grams": log["grams"].where(log["action"] == Action.HARVEST, 0.0).fillna(0.0),
    })  # fmt: skip
    tray = daily[["pupae", "adults"]] - held
    return Side(policy, bins, tray, totals, marks.reset_index(drop=True), record.died_out_day)


def _lengthened(bins: pd.DataFrame, labels: list[int], days: Iterable[int]) -> pd.DataFrame:
    """A row for every day and bin: after the last day of the run, empty bins out of use."""
    index = pd.MultiIndex.from_product([days, labels], names=["day", "bin"])
    bins = bins.set_index(["day", "bin"]).reindex(index)
    bins["phase"] = bins["phase"].astype(object).fillna(Phase.FREE.value)
    bins = bins.fillna(0)
    whole = ["since", *STAGES]
    bins[whole] = bins[whole].astype(int)
    return bins.reset_index()


def round_up(value: float) -> float:
    """The next number from here up that reads well, such as 1.2, 350 or 4000."""
    if value <= 0:
        return 1.0
    size = 10.0 ** np.floor(np.log10(value))
    steps = (1, 1.2, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 10)
    step = next(step for step in steps if step * size >= value * (1 - 1e-12))
    return float(f"{step * size:.3g}")


def as_json(rack: Rack) -> str:
    """The rack for the script of the page; no character of it can end a script element."""
    data = {
        "seed": rack.seed,
        "first": rack.first,
        "days": rack.last - rack.first + 1,
        "bins": rack.bin_count,
        "fullInsects": rack.full_insects,
        "fullGrams": rack.full_g,
        "phases": [phase.value for phase in PHASES],
        "words": list(WORDS),
        "sides": [_plain(side, rack.first) for side in rack.sides],
    }
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.replace("<", "\\u003c")


def _plain(side: Side, first: int) -> dict[str, Any]:
    bins, totals, marks = side.bins, side.totals, side.marks
    phase = bins["phase"].map({phase.value: i for i, phase in enumerate(PHASES)})
    return {
        "policy": side.policy,
        "diedOut": side.died_out_day,
        **{stage: packed(bins[stage]) for stage in STAGES},
        "larvaeMg": packed(bins["larvae_g"] * _MG),
        "phase": packed(phase),
        "since": packed(bins["since"]),
        "trayPupae": packed(side.tray["pupae"]),
        "trayAdults": packed(side.tray["adults"]),
        "harvestMg": packed(totals["harvest_g"] * _MG),
        "harvestedMg": packed(totals["harvested_g"] * _MG),
        "standingMg": packed(totals["larvae_g"] * _MG),
        "breeders": packed(totals["breeders"]),
        "minutes": packed(totals["work_minutes"]),
        "marks": {
            "day": packed(marks["day"] - first),
            "bin": packed(marks["bin"] - 1),
            "word": packed(marks["word"].map({word: i for i, word in enumerate(WORDS)})),
            "mg": packed(marks["grams"] * _MG),
        },
    }


def packed(values: pd.Series) -> dict[str, str]:
    """Whole numbers from 0 as little-endian bytes in base64, in the least width that holds them.

    Raises
    ------
    ValueError
        If a value is negative, not finite, or too large for 32 bits.
    """
    numbers = np.rint(values.to_numpy(float))
    most = numbers.max(initial=0)
    if not np.isfinite(numbers).all() or numbers.min(initial=0) < 0 or most >= 2**32:
        raise ValueError(f"{values.name} cannot be packed")
    width = next(width for width in (1, 2, 4) if most < 2 ** (8 * width))
    data = numbers.astype(f"<u{width}").tobytes()
    return {"type": f"u{width}", "text": base64.b64encode(data).decode("ascii")}
