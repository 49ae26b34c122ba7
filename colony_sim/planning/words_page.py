"""A plan on one page of the screen: the answer, how sure it is, what to do, what is short."""

from __future__ import annotations

import pandas as pd

from colony_sim.planning import words_luck
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.phrases import nice
from colony_sim.planning.words import CAUTION, headline, when
from colony_sim.planning.words_short import limit_in_short, met_of
from colony_sim.words.estimate import number, percent, percents

REMEDIES = 2
"""Remedies that the page has."""


def page(plan: StoredPlan) -> str:
    """The plan on a screen of 100 characters; the rest is in the folder."""
    first, more, last = parts(plan)
    return "\n".join([first, *more, last])


def parts(plan: StoredPlan) -> tuple[str, list[str], str]:
    """The answer, what explains it with the most important first, and the caution."""
    head, *luck = sure(plan).split("\n")
    more = [rules(plan), dates(plan), head, *short(plan).split("\n"), *luck]
    return f"{headline(plan)}.", [part for part in more if part], CAUTION


def sure(plan: StoredPlan) -> str:
    """How sure it is, over what, and how much of it is luck."""
    share = plan.met
    counted = f"{share.met} of {share.runs} {words_luck.runs(plan.facts)}"
    text = (
        f"How sure: {counted}, 95 % interval {percents(share.low, share.high)}. "
        f"{words_luck.what_it_is_over(plan.facts)}"
    )
    return "\n".join(filter(None, (text, words_luck.parts(plan.facts))))


def rules(plan: StoredPlan) -> str:
    """What to do, a line a task."""
    facts = plan.facts
    p = facts["policy"]
    surplus = "more into further bins" if p["rotation.surplus"] == "split" else "take out more"
    lines = [
        f"{nice(facts['start'])}: {facts['breeders']} beetles into one bin; use {p['rack.bins']} "
        f"of {facts['have']['bins']} bins.",
        f"Every {p['rotation.interval_days']} days move the beetles to a fresh bin, at most "
        f"{p['rotation.most_breeders_per_bin']} in one, {surplus}; "
        + (
            f"every {p['pupae.inspection_days']} days set pupae apart."
            if p["pupae.isolate"]
            else "leave pupae where they are."
        ),
        f"Every {p['harvest.interval_days']} days harvest {percent(p['harvest.fraction'])} of the "
        f"larvae from {p['harvest.smallest_mg']:g} mg on.",
        f"Moist feed: {p['moisture.breeding_g_per_day']:g} g of water a day for a breeding bin, "
        f"{p['moisture.growing_g_per_day']:g} g for a growing bin once shed skins show.",
        f"{p['bran.start_g']:g} g of bran into a fresh bin, filled up as it falls; empty and wash "
        f"a bin {p['rack.clear_after_days']} days after the beetles left it.",
    ]
    head = "What to do" if plan.is_met else "What comes closest"
    quick = " (a quick first look)" if facts["quick"] else ""
    return "\n".join([f"{head}{quick}:", *(f"- {line}" for line in lines)])


def dates(plan: StoredPlan) -> str:
    """First harvest, work and bran."""
    first = plan.tables["startup"].set_index("event").loc["first_harvest"]
    months = plan.tables["purchases"]
    whole = months[months["days"] >= 28]
    return (
        f"First harvest: {when(first, plan.facts)}. Work: "
        f"{number(plan.facts['minutes_per_week'])} minutes a week. Bran: "
        f"{number(whole['bran_kg'].mean())} kg a month."
    )


def short(plan: StoredPlan) -> str:
    """What would be enough, and what helps most."""
    limits, table = plan.tables.get("shortfalls"), plan.tables.get("remedies")
    lines = []
    if limits is not None:
        for head, rows in (
            ("Enough alone", limits[limits["needed"].notna()]),
            ("Not enough alone", limits[limits["needed"].isna()]),
        ):
            if len(rows):
                listed = "; ".join(limit_in_short(row) for row in rows.itertuples())
                lines.append(f"{head}: {listed}.")
    if table is not None:
        lines.append(f"What helps: {_remedies(table.iloc[1:])}.")
    return "\n".join(lines)


def _remedies(tried: pd.DataFrame) -> str:
    helping = tried[tried["helps"]].head(REMEDIES)
    if helping.empty:
        return f"nothing of {len(tried)} remedies tried, beyond chance"
    return "; ".join(f"{row.remedy} (met in {met_of(row)})" for row in helping.itertuples())
