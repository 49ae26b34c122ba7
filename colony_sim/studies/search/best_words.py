"""Best against best in words for a club: what to do, how sure, what would change it."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from colony_sim.experiment.design import entry
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.studies.comparison import over_words
from colony_sim.studies.search.best import Best
from colony_sim.studies.search.say import means_of
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number
from colony_sim.words.finding import a_day
from colony_sim.words.units import differs, scaled

MOST_NAMED = 4
"""Policies whose handling is written out on the page; the table has all."""


def headline(result: Best) -> str:
    """The finding on yield in one sentence."""
    return over_words.answer(result.over).rstrip(".")


def in_words(result: Best, profile: str | None) -> list[str]:
    """The page."""
    return [
        "What to do, each with the handling that suits it best under the same means:",
        *what_to_do(result.policies, result.handling),
        *over_words.how_sure(result.over, profile or SHIPPED)[:2],
        *_risk(result),
        *_what_would_change_it(result),
        _means(result),
    ]


def what_to_do(policies: Sequence[str], handling: pd.DataFrame) -> list[str]:
    """What is changed for all policies, then for each alone; `handling` as of `EqualMeans`."""
    found = {name: _changed(handling[handling["policy"] == name]) for name in policies}
    shared = [part for part in found[policies[0]]
              if all(part in parts for parts in found.values())]  # fmt: skip
    lines = [f"  all: {', '.join(shared)}."] if shared else []
    for name, parts in list(found.items())[:MOST_NAMED]:
        own = [part for part in parts if part not in shared]
        if own or not shared:
            lines.append(f"  {name}: {', '.join(own) or 'all as in the file'}.")
    return lines


def _changed(rows: pd.DataFrame) -> list[str]:
    now = dict(zip(rows["key"], rows["best"], strict=True))
    return [
        f"{labels.label(row.key)} {_value(row.key, row.best)}"
        for row in rows[rows["changed"]].itertuples()
        # A date by which nothing is emptied is no advice.
        if not (row.key == "rack.clear_after_days" and now.get("rack.clear_when") == "little_left")
    ]


def _value(key: str, text: str) -> str:
    if differs(entry(key).unit):
        return labels.with_unit(key, float(text))
    return {"True": "yes", "False": "no"}.get(text, text.replace("_", " "))


def _risk(result: Best) -> list[str]:
    parts = [
        f"{row.policy} {a_day(row.yield_g_per_day)} "
        f"(error {number(scaled(row.yield_se, 'g/d'))}), {number(row.minutes)} minutes a week, "
        f"fades in {100 * row.fading:.0f} of 100, keeps to "
        f"all limits in {100 * row.kept:.0f}"
        for row in result.judged.itertuples()
    ]
    gap = (result.judged["selected_at"] - result.judged["yield_g_per_day"]).mean()
    return [
        f"In fresh runs: {'; '.join(parts)}.",
        dashed(f"In the runs they were chosen by they came to {a_day(gap)} more on "
               "average: luck of the choice and other colonies, left out here."),
    ] if gap > 0 else [f"In fresh runs: {'; '.join(parts)}."]  # fmt: skip


def _what_would_change_it(result: Best) -> list[str]:
    """The shortage for which another policy is better."""
    a, b = result.over.pair
    lines = []
    for currency, verdict in result.over.verdicts[result.over.pair].items():
        ahead, share = (
            (a, verdict.probability_a)
            if verdict.probability_a >= verdict.probability_b
            else (b, verdict.probability_b)
        )
        lines.append(f"{over_words.LACKED[currency]}: {ahead} ({100 * share:.0f} of 100)")
    return [f"Better for a keeper short of {'; '.join(lines)}."]


def _means(result: Best) -> str:
    limits = result.limits
    parts = [f"{limits.bins} bins" if limits.bins else "bins as in the file"]
    parts.append(f"{limits.breeders} founder beetles" if limits.breeders else "founders as there")
    whose = "" if result.given_minutes else " (what the busier takes as in the file)"
    parts.append(f"at most {number(limits.minutes_per_week or 0)} minutes a week{whose}")
    parts += means_of(limits, " wanted")
    return (
        f"Means: {', '.join(parts)}. {result.candidates_each} ways of handling were tried for "
        "each; "
        "more might find better ones."
    )


def gains_of(result: Best) -> pd.DataFrame:
    """Gains of the first pair over worlds, in g/day, rising."""
    a, b = result.over.pair
    table = result.over.gains
    rows = (table["policy"] == a) & (table["baseline"] == b) & (table["currency"] == "g/day")
    return table[rows].sort_values("gain", ignore_index=True)
