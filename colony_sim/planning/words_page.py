"""A plan on one page of the screen: the answer, how sure it is, what to do, what is short."""

from __future__ import annotations

from colony_sim.planning import words_luck
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.phrases import nice
from colony_sim.planning.request import Request
from colony_sim.planning.words import CAUTION, checked, cost, given_up, headline, when
from colony_sim.planning.words_short import limit_in_short, met_of
from colony_sim.words.estimate import number, percent, percents
from colony_sim.words.units import bran, moisture, show

REMEDIES = 2
"""Remedies that the page has."""
ODD = "Hardly a possible colony writes such a log: see colony-sim today, and trust this plan less."


def parts(plan: StoredPlan) -> tuple[str, list[str], str]:
    """The answer, what explains it with the most important first, and the caution."""
    head, *luck = sure(plan).split("\n")
    more = [short(plan), rules(plan), checked(plan), head, dates(plan), given_up(plan), *luck]
    if plan.facts["rack"] and plan.facts["rack"]["odd"]:
        more.insert(1, ODD)
    return f"{headline(plan)}.", [part for part in more if part], CAUTION


def first_answer(forecast: Forecast, request: Request) -> str:
    """What the usual handling came to in the first runs, while the rest is still to come."""
    want, runs = request.want, forecast.runs
    yields = forecast.stretch_yields(want.after_days)
    met = int(forecast.met(want, request.have).sum())
    fed = float((yields >= want.grams_per_day).mean())
    return (
        f"A first answer, from {runs} colonies with the usual handling: "
        f"{show(float(yields.mean()), 'g', number)} of larvae a day in the mean where "
        f"{show(want.grams_per_day, 'g', number)} are wanted, {percent(fed)} of all "
        f"stretches of four weeks "
        f"fed, every one in {met} of {runs}. It gets surer from here."
    )


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
    first = f"{facts['breeders']} beetles into one bin;"
    if facts["rack"] is not None:
        first = f"from {facts['rack']['in_words']};"
    lines = [
        f"{nice(facts['start'])}: {first} use {p['rack.bins']} of {facts['have']['bins']} bins.",
        f"Every {p['rotation.interval_days']} days move the beetles to a fresh bin, at most "
        f"{p['rotation.most_breeders_per_bin']} in one, {surplus}; "
        + (
            f"every {p['pupae.inspection_days']} days set pupae apart."
            if p["pupae.isolate"]
            else "leave pupae where they are."
        ),
        f"Every {p['harvest.interval_days']} days harvest {percent(p['harvest.fraction'])} of the "
        f"larvae from {show(p['harvest.smallest_mg'], 'mg')} on.",
        f"Moist feed: {moisture(p['moisture.breeding_g_per_day'])} a day for a breeding bin, "
        f"{moisture(p['moisture.growing_g_per_day'])} for a growing bin once shed skins show.",
        f"{bran(p['bran.start_g'])} of bran into a fresh bin, filled up as it falls; empty and "
        f"wash a bin {p['rack.clear_after_days']} days after the beetles left it.",
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
        f"{show(whole['bran_kg'].mean(), 'kg/month', number)}.{cost(plan)}"
    )


def short(plan: StoredPlan) -> str:
    """What a keeper does about it, a line a remedy, and what would be enough alone."""
    limits, table = plan.tables.get("shortfalls"), plan.tables.get("remedies")
    lines = []
    if table is not None:
        base, tried = table.iloc[0], table.iloc[1:]
        helping = tried[tried["helps"]].head(REMEDIES)
        lines += [
            f"- {row.remedy}: feeds {percent(row.fed_share)} of them instead of "
            f"{percent(base['fed_share'])}, every one in {met_of(row)}"
            for row in helping.itertuples()
        ]
        if helping.empty:
            lines.append(f"- nothing of {len(tried)} remedies tried helps beyond chance")
    if limits is not None:
        for head, rows in (
            ("enough alone", limits[limits["needed"].notna()]),
            ("not enough alone", limits[limits["needed"].isna()]),
        ):
            if len(rows):
                listed = "; ".join(limit_in_short(row) for row in rows.itertuples())
                lines.append(f"- {head}: {listed}")
    return "\n".join(["What to do about it:", *lines]) if lines else ""
