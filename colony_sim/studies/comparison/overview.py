"""The overview of a comparison as a slide of a talk: its words and the numbers drawn."""

from __future__ import annotations

import math

import pandas as pd

from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.core import mean_interval
from colony_sim.studies.comparison import draw as comparison
from colony_sim.studies.comparison.ranking import paired_in_words
from colony_sim.studies.comparison.results import CAUSES, LOSS, Results, runs_in_words
from colony_sim.words.estimate import dashed, limits, number
from colony_sim.words.finding import difference, in_house
from colony_sim.words.units import symbol

UNIT = "g live larvae per day"
LOSS_UNIT = "per 100 adults per day"


def slide(results: Results) -> Slide:
    """What was found on yield, and the runs that show it."""
    title = comparison.slide_title(results)
    return Slide(
        name="comparison",
        title=title,
        say=f"{title}. {_means(results)}",
        caveat="This is a statement about the model under its assumptions, not about a real "
        "colony. Runs that share a seed are compared in pairs. A colony that died out counts "
        "with no harvest from then on, a run that was not steady with the last half of its days.",
        alt=f"Four panels: yield by policy, paired differences, losses of beetles by cause, and "
        f"yield over time. {' '.join(part for part in _said(results) if part)}",
        data=_data(results),
        paint=lambda: comparison.figure(results),
        runs=runs_in_words(results),
    )


def _said(results: Results) -> tuple[str, ...]:
    """Means of yield, paired differences and losses in words; empty where there are none."""
    differences = paired_in_words(results.in_house().differences, YIELD, _unit())
    return _means(results), differences, _losses(results)


def _means(results: Results) -> str:
    parts = []
    for policy in results.policies:
        row = in_house(results.of(policy), "mean", "low", "high")
        count = f"{row['n_used']} of {row['n_runs']} runs"
        interval = f", {dashed(limits(row))}" if math.isfinite(row["low"]) else ""
        parts.append(f"{number(row['mean'])} under “{policy}” ({count}{interval})")
    return f"Mean yield in {_unit()}: {'; '.join(parts)}."


def _unit() -> str:
    return f"{symbol('g')} live larvae per day"


def _losses(results: Results) -> str:
    rows = {policy: results.of(policy, LOSS)["mean"] for policy in results.policies}
    parts = [f"{number(v)} under “{p}”" for p, v in rows.items() if math.isfinite(v)]
    return f"Losses of beetles {LOSS_UNIT}: {'; '.join(parts)}." if parts else ""


def _data(results: Results) -> pd.DataFrame:
    """One row a mark: panel, what it is, policy, seed, day, value, interval, unit."""
    rows = []

    def add(panel: str, what: str, policy: str, value: float, unit: str, **more: object) -> None:
        if math.isfinite(value):
            rows.append({"panel": panel, "what": what, "policy": policy, "value": value,
                         "unit": unit, **more})  # fmt: skip

    reference = comparison.against(results)
    base = results.values(reference)
    for policy in results.policies:
        own = results.values(policy)
        row = results.of(policy)
        for seed, value in own.items():
            add("a", "yield of a run", policy, value, UNIT, seed=seed)
        add("a", "mean yield", policy, row["mean"], UNIT, low=row["low"], high=row["high"])
        if policy != reference:
            for seed, value in (own - base).dropna().items():
                add("b", "difference of a pair", policy, value, UNIT, seed=seed)
            row = difference(results.all_differences, YIELD, policy, reference)
            add("b", f"mean difference from {reference}", policy, row["difference"], UNIT,
                low=row["low"], high=row["high"])  # fmt: skip
        for what, key in {**CAUSES, "all causes": LOSS}.items():
            row = results.of(policy, key)
            add("c", f"adult losses, {what}", policy, row["mean"], LOSS_UNIT, low=row["low"],
                high=row["high"])  # fmt: skip
        monthly, length = comparison.yield_by_months(results, policy)
        for run in monthly.itertuples():
            add("d", f"yield of a run, {length}-day mean", policy, run.harvest_g, UNIT,
                seed=run.seed, day=run.day)  # fmt: skip
        for day, values in monthly[monthly["day"] <= results.days].groupby("day")["harvest_g"]:
            low, high = mean_interval(values.to_numpy()).limits
            add("d", f"mean yield of the runs, {length}-day mean", policy, values.mean(), UNIT,
                day=day, low=low, high=high)  # fmt: skip
    columns = ["panel", "what", "policy", "seed", "day", "value", "low", "high", "unit"]
    found = pd.DataFrame(rows, columns=columns)
    return found.astype({"seed": "Int64"}) if len(found) else found
