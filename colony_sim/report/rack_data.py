"""The rack to watch: one seed lived again under two policies, day by day, as it is drawn."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Phase
from colony_sim.colony.simulate import RunRecord
from colony_sim.drawing import live, lived
from colony_sim.drawing.content import RackContent, Scale
from colony_sim.studies.comparison.relive import Traces
from colony_sim.words.units import scaled, symbol

MOST_DAYS = 730
MOST_BINS = 120
BOWL_DAYS = 28
"""The bowl holds what was harvested in so many days."""
STAGES = ("eggs", "larvae", "pupae", "adults")
PHASES = (Phase.FREE, Phase.BREEDING, Phase.GROWING)
MARKS = {
    Action.BEETLES_IN: "beetles in",
    Action.BEETLES_OUT: "beetles out",
    Action.HARVEST: "harvest",
    Action.MOISTURE_STARTED: "moisture",
    Action.PUPAE_TO_TRAY: "pupae to the tray",
    Action.CLEARED: "cleared",
}
"""Actions of the bin log that are told on the page, and their words."""
WORDS = tuple(dict.fromkeys(MARKS.values()))
_AMOUNT = {Action.HARVEST: "larvae", Action.PUPAE_TO_TRAY: "pupae"}
_SUBSTRATE = ("bran_g", "frass_g", "visible_skins", "moisture_g")
_MG = 1000.0


@dataclass(frozen=True)
class Side:
    """One rack: a policy and what its bins held at the end of each day.

    Attributes
    ----------
    policy : str
    bins : DataFrame
        One row a day and bin, sorted by both: `STAGES`, ``larvae_g``, ``bran_g``, ``frass_g``,
        ``visible_skins``, ``moisture_g``, ``phase``, ``in_for`` and ``out_for`` (days since the
        beetles went in and out; 0 in a bin where that has not been).
    tray : DataFrame
        Index day: ``pupae`` and ``adults`` on the tray, which are in no bin.
    totals : DataFrame
        Index day: ``harvest_g`` and ``harvest_larvae`` of the day, ``harvested_g``,
        ``harvested_larvae`` and ``work_minutes`` since the first day shown, ``bowl_larvae`` (of
        the last `BOWL_DAYS` days), ``larvae_g`` and ``breeders`` alive.
    marks : DataFrame
        ``day``, ``bin``, ``word`` of `WORDS`, ``amount`` (larvae harvested, pupae moved; else 0),
        ``grams`` (of a harvest, else 0).
    died_out_day : int or None
    """

    policy: str
    bins: pd.DataFrame
    tray: pd.DataFrame
    totals: pd.DataFrame
    marks: pd.DataFrame
    died_out_day: int | None

    @cached_property
    def contents(self) -> list[RackContent]:
        """The rack at the end of each day, to be drawn."""
        found = list(lived.contents(self.bins))
        across = len(found) // len(self.totals)
        apart = bool(self.tray.to_numpy().any())
        bowls = self.totals["bowl_larvae"].astype(int)
        rows = enumerate(zip(bowls, self.tray.itertuples(index=False), strict=True))
        return [
            RackContent(
                found[k * across : (k + 1) * across],
                {"pupae": int(tray.pupae), "adults": int(tray.adults)} if apart else None,
                int(bowl),
            )
            for k, (bowl, tray) in rows
        ]


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
    scale : Scale
        What a sign stands for, the same in all bins of both.
    sides : tuple of Side
    """

    seed: int
    first: int
    last: int
    settled: bool
    bin_count: int
    scale: Scale
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
    return Rack(
        seed=traces.seed,
        first=first,
        last=last,
        settled=settled,
        bin_count=int(sides[0].bins["bin"].nunique()),
        scale=Scale.of(rack for side in sides for rack in side.contents),
        sides=sides,
    )


def _side(policy: str, record: RunRecord, first: int, last: int) -> Side:
    days = range(first, last + 1)
    table = record.bins_daily
    here = table["day"].between(first, last)
    since = lived.since(table)
    bins = table.assign(**since)[here]
    bins = bins[["day", "bin", "phase", *since, *STAGES, "larvae_g", *_SUBSTRATE]]
    bins = _lengthened(bins, sorted(table["bin"].unique()), days)
    daily = record.daily.set_index("day")[["pupae", "adults", "harvest_g", "harvest_larvae",
                                           "work_minutes", "larvae_g", "breeders"]]  # fmt: skip
    bowl = daily["harvest_larvae"].rolling(BOWL_DAYS, min_periods=1).sum()
    # A colony that has died out has no rows any more: nothing lives, nothing is done.
    daily = daily.assign(bowl_larvae=bowl).reindex(days, fill_value=0)
    held = bins.groupby("day")[["pupae", "adults"]].sum()
    totals = daily.drop(columns=["pupae", "adults"])
    totals["harvested_g"] = totals["harvest_g"].cumsum()
    totals["harvested_larvae"] = totals["harvest_larvae"].cumsum()
    totals["work_minutes"] = totals["work_minutes"].cumsum()
    log = record.bin_log
    log = log[log["action"].isin(list(MARKS)) & log["day"].between(first, last)]
    amount = pd.Series(0, index=log.index)
    for action, column in _AMOUNT.items():
        amount = amount.where(log["action"] != action, log[column].fillna(0).astype(int))
    marks = pd.DataFrame({
        "day": log["day"].astype(int),
        "bin": log["bin"].astype(int),
        "word": log["action"].map(MARKS),
        "amount": amount,
        "grams": log["grams"].where(log["action"] == Action.HARVEST, 0.0).fillna(0.0),
    })  # fmt: skip
    # To look for pupae and find none is no move.
    marks = marks[(marks["word"] != MARKS[Action.PUPAE_TO_TRAY]) | (marks["amount"] > 0)]
    tray = daily[["pupae", "adults"]] - held
    return Side(policy, bins, tray, totals, marks.reset_index(drop=True), record.died_out_day)


def _lengthened(bins: pd.DataFrame, labels: list[int], days: Iterable[int]) -> pd.DataFrame:
    """A row for every day and bin: after the last day of the run, empty bins out of use."""
    index = pd.MultiIndex.from_product([days, labels], names=["day", "bin"])
    bins = bins.set_index(["day", "bin"]).reindex(index)
    bins["phase"] = bins["phase"].astype(object).fillna(Phase.FREE.value)
    bins = bins.fillna(0)
    whole = ["in_for", "out_for", *STAGES]
    bins[whole] = bins[whole].astype(int)
    return bins.reset_index()


def as_json(rack: Rack) -> str:
    """The rack for the script of the page; no character of it can end a script element."""
    data = {
        "first": rack.first,
        "days": rack.last - rack.first + 1,
        "bins": rack.bin_count,
        "phases": [phase.value for phase in PHASES],
        "words": list(WORDS),
        "weight": {"unit": symbol("g"), "mg": _MG / scaled(1.0, "g")},
        "sides": [
            _plain(side, rack) | {"places": live.places(side.contents[0], prefix=prefix(k))}
            for k, side in enumerate(rack.sides)
        ],
    }
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.replace("<", "\\u003c")


def prefix(k: int) -> str:
    """Before the names of signs in the drawing of a side."""
    return f"rack-{k}-"


def _plain(side: Side, rack: Rack) -> dict[str, Any]:
    bins, totals, marks = side.bins, side.totals, side.marks
    phase = bins["phase"].map({phase.value: i for i, phase in enumerate(PHASES)})
    states = [live.state(content, rack.scale) for content in side.contents]
    return {
        "policy": side.policy,
        "diedOut": side.died_out_day,
        "drawn": packed(np.array([state["bins"] for state in states])),
        "tray": packed(np.array([state["tray"] for state in states])),
        "bowl": packed(np.array([state["bowl"] for state in states])),
        **{stage: packed(bins[stage]) for stage in STAGES},
        "larvaeMg": packed(bins["larvae_g"] * _MG),
        "phase": packed(phase),
        "inFor": packed(bins["in_for"]),
        "outFor": packed(bins["out_for"]),
        "trayPupae": packed(side.tray["pupae"]),
        "trayAdults": packed(side.tray["adults"]),
        "bowlLarvae": packed(totals["bowl_larvae"]),
        "harvestMg": packed(totals["harvest_g"] * _MG),
        "harvestedMg": packed(totals["harvested_g"] * _MG),
        "harvestedLarvae": packed(totals["harvested_larvae"]),
        "standingMg": packed(totals["larvae_g"] * _MG),
        "breeders": packed(totals["breeders"]),
        "minutes": packed(totals["work_minutes"]),
        "marks": {
            "day": packed(marks["day"] - rack.first),
            "bin": packed(marks["bin"] - 1),
            "word": packed(marks["word"].map({word: i for i, word in enumerate(WORDS)})),
            "amount": packed(marks["amount"]),
            "mg": packed(marks["grams"] * _MG),
        },
    }


def packed(values: pd.Series | np.ndarray) -> dict[str, str]:
    """Whole numbers from 0 as little-endian bytes in base64, in the least width that holds them.

    Raises
    ------
    ValueError
        If a value is negative, not finite, or too large for 32 bits.
    """
    numbers = np.rint(np.asarray(values, dtype=float))
    most = numbers.max(initial=0)
    if not np.isfinite(numbers).all() or numbers.min(initial=0) < 0 or most >= 2**32:
        raise ValueError("numbers that cannot be packed")
    width = next(width for width in (1, 2, 4) if most < 2 ** (8 * width))
    data = numbers.astype(f"<u{width}").tobytes()
    return {"type": f"u{width}", "text": base64.b64encode(data).decode("ascii")}
