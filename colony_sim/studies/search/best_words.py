"""Best against best in words for a club: what to do, how sure, what would change it."""

from __future__ import annotations

import pandas as pd

from colony_sim.experiment.worlds import SHIPPED
from colony_sim.studies.comparison import over_words
from colony_sim.studies.search.best import Best
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number

MOST_NAMED = 4
"""Policies whose handling is written out on the page; the table has all."""


def headline(result: Best) -> str:
    """The finding on yield in one sentence."""
    return over_words.answer(result.over).rstrip(".")


def in_words(result: Best, profile: str | None) -> list[str]:
    """The page."""
    return [
        "What to do, each with the handling that suits it best under the same means:",
        *_what_to_do(result),
        *over_words.how_sure(result.over, profile or SHIPPED)[:2],
        *_risk(result),
        *_what_would_change_it(result),
        _means(result),
    ]


def _what_to_do(result: Best) -> list[str]:
    found = {}
    for name in result.policies:
        rows = result.handling[result.handling["policy"] == name]
        changed = rows[rows["changed"]]
        keys = ", ".join(
            f"{labels.label(row.key)} {_value(row.best)}" for row in changed.itertuples()
        )
        found[name] = keys or "all as in the file"
    if len(set(found.values())) == 1:
        return [f"  the same for all: {found[result.policies[0]]}."]
    return [f"  {name}: {keys}." for name, keys in list(found.items())[:MOST_NAMED]]


def _value(text: str) -> str:
    return {"True": "yes", "False": "no"}.get(text, text.replace("_", " "))


def _risk(result: Best) -> list[str]:
    parts = [
        f"{row.policy} {number(row.yield_g_per_day)} g a day (error {number(row.yield_se)}), "
        f"{number(row.minutes)} minutes a week, fades in {100 * row.fading:.0f} of 100, keeps to "
        f"all limits in {100 * row.kept:.0f}"
        for row in result.judged.itertuples()
    ]
    gap = (result.judged["selected_at"] - result.judged["yield_g_per_day"]).mean()
    return [
        f"In fresh runs: {'; '.join(parts)}.",
        dashed(f"In the runs they were chosen by they came to {number(gap)} g a day more on "
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
    if limits.bran_kg_per_week:
        parts.append(f"{limits.bran_kg_per_week:g} kg of bran a week")
    if limits.grams_per_day:
        parts.append(f"{limits.grams_per_day:g} g a day wanted")
    return (
        f"Means: {', '.join(parts)}. {result.trials_each} ways of handling were tried for each; "
        "more might find better ones."
    )


def gains_of(result: Best) -> pd.DataFrame:
    """Gains of the first pair over worlds, in g/day, rising."""
    a, b = result.over.pair
    table = result.over.gains
    rows = (table["policy"] == a) & (table["baseline"] == b) & (table["currency"] == "g/day")
    return table[rows].sort_values("gain", ignore_index=True)
