"""A plan in plain words; every number is one of its tables or facts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from colony_sim.planning import words_luck
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.measuring import day_date
from colony_sim.planning.phrases import months, nice, range_text, reach_limits
from colony_sim.planning.words_short import cold, remedies, short
from colony_sim.words.estimate import Estimate, number, percent, percents
from colony_sim.words.units import bran, differs, moisture, plain, scaled, show, symbol

CAUTION = (
    "Check your local feed law before you feed insects to animals, and ask a vet or a feed adviser "
    "how many are right for your birds."
)
DUST = (
    "Dust of bran and frass causes allergy and asthma: ventilate, wear a fitted mask when sieving, "
    "and see a doctor if you wheeze."
)
MODEL = (
    "A statement about the model under its assumptions, not a promise for your bins; several "
    "values that matter have never been measured well."
)

WORST_MONTHS = 3
NOTHING = 0.01
"""Share of what is wanted below which a harvest is next to nothing."""


def headline(plan: StoredPlan) -> str:
    """Whether the want is met, in one sentence, no stronger than the runs allow."""
    facts = plan.facts
    want, share = facts["want"], plan.met
    wanted = show(want["grams_per_day"], "g", number)
    grams = f"{wanted} of larvae a day"
    runs = words_luck.runs(facts)
    counted = f"in {share.met} of {share.runs} {runs}"
    weeks = facts["stretch_days"] // 7
    if plan.is_met:
        text = f"The plan gives {grams} in every {weeks} weeks from {due(facts)} on, {counted}"
        if facts["met"]["says"] != "shown":
            text += f", too few to be sure of {percent(want['probability'])}"
        return text
    sure = facts["reach"]["grams"]
    asked = percent(want["probability"])
    if sure >= want["grams_per_day"]:
        # Grams would do: the minutes do not.
        return (
            f"The plan gives {grams}, but within {facts['have']['minutes_per_week']:g} minutes a "
            f"week only {counted}; {asked} are asked for"
        )
    mean = facts["mean_g_per_day"]
    if mean < NOTHING * want["grams_per_day"]:
        nothing = f"{'next to ' if mean > 0 else ''}nothing"
        return f"This rack gives {nothing} where {grams} are wanted"
    enough = "too little" if mean < want["grams_per_day"] else "but not all the time"
    text = (
        f"This rack gives {show(mean, 'g', number)} of larvae a day in the mean where {wanted} are "
        f"wanted, "
        f"{enough}: {percent(facts['fed_share'])} of all stretches of four weeks are fed"
    )
    poor = troughs(plan)
    return f"{text}, least in {months(poor)}" if poor else text


def troughs(plan: StoredPlan) -> list[int]:
    """Months of the year (from 1) that are fed in fewer runs than asked for, three at most."""
    weeks = plan.tables["weeks"]
    due = weeks[weeks["week"] * 7 >= plan.facts["want"]["after_days"]]
    month = pd.to_datetime(due["date"]).dt.month
    fed = due.groupby(month.to_numpy())["met_share"].mean()
    poor = fed[fed < plan.facts["want"]["probability"] - 1e-12]
    return [int(number) for number in poor.sort_values(kind="stable").index[:WORST_MONTHS]]


def in_words(plan: StoredPlan) -> str:
    """The whole plan in words, paragraph by paragraph."""
    parts = [
        asked_for(plan), chances(plan), what_is_uncertain(plan), handling(plan), bins(plan),
        startup(plan), purchases(plan), cold(plan), short(plan), remedies(plan), checked(plan),
        given_up(plan), cautions(plan),
    ]  # fmt: skip
    return "\n\n".join(part for part in parts if part)


def asked_for(plan: StoredPlan) -> str:
    """What was wanted and what is there."""
    facts = plan.facts
    want, have = facts["want"], facts["have"]
    text = (
        f"Wanted: {want['in_words']}, from {due(facts)} on, in {percent(want['probability'])} of "
        f"runs at least. There: {have['bins']} bins of {show(have['bin_area_dm2'], 'dm2')}, "
        f"{begins_with(facts)} on {nice(facts['start'])}, "
        f"{facts['room']['in_words']}, {_minutes(have)}."
    )
    if want["animals"]:
        text += (
            " The allowances are common practice, no source, from memory: give your own with "
            "--grams-per-day, and ask a vet or a feed adviser."
        )
    elif want["assumed"]:
        text += (
            f" {want['larvae_each']:g} larvae a bird a day is a cautious default (common practice, "
            "no source): give your own with --larvae-each."
        )
    mass = facts["larva_mg_harvested"]
    if want["birds"] is not None and mass is not None:
        text += f" Larvae harvested weigh {show(mass, 'mg', number)} in the mean."
    if facts["room"]["notes"]:
        text += f" The log of temperatures: {' '.join(facts['room']['notes'])}"
    return text


def chances(plan: StoredPlan) -> str:
    """How sure the plan is."""
    facts = plan.facts
    want, share, reach = facts["want"], plan.met, facts["reach"]
    weeks = facts["stretch_days"] // 7
    fresh = "on fresh seeds" if facts["luck"] is None else "in fresh colonies with fresh luck"
    text = (
        f"Counted {fresh}, not those the handling was chosen on: {share.met} of {share.runs} "
        f"{words_luck.runs(facts)}, 95 % interval {percents(share.low, share.high)}; a run "
        f"counts where every stretch of {weeks} weeks from {due(facts)} on gives what is wanted"
    )
    if facts["have"]["minutes_per_week"] is not None:
        text += " and the work stays within the minutes, in the mean"
    text += (
        f". Of the stretches of all runs {percent(facts['fed_share'])} are fed. In "
        f"{percent(want['probability'])} of runs the poorest {weeks} weeks give "
        f"{show(reach['grams'], 'g/d', number)} or more ({reach_limits(reach)}); the mean is "
        f"{show(facts['mean_g_per_day'], 'g/d', number)}, the work "
        f"{number(facts['minutes_per_week'])} minutes a week."
    )
    if len(facts["attempts"]) > 1:
        others = [f"{a['met']} of {a['runs']}" for a in facts["attempts"] if not a["counts"]]
        text += (
            f" It is the best of {len(facts['attempts'])} that were tried on fresh seeds; "
            f"the others met it in {' and in '.join(others)}."
        )
    last = facts["reach_last_year"]
    if not plan.is_met and last["grams"] > 1.1 * max(reach["grams"], 1e-9):
        text += (
            f" In the last year alone, with the waves of the start-up behind, it is "
            f"{show(last['grams'], 'g/d', number)} ({reach_limits(last)})"
        )
        enough = last["grams"] >= want["grams_per_day"]
        text += ", which is enough: it is the start-up that is short." if enough else "."
    if facts["died_out"]:
        text += f" The colony died out in {facts['died_out']} of {share.runs} runs."
    return text


def what_is_uncertain(plan: StoredPlan) -> str:
    """What the share of runs is over, and how much of it is luck."""
    said = (words_luck.what_it_is_over, words_luck.parts, words_luck.lived_again)
    return " ".join(filter(None, (say(plan.facts) for say in said)))


def handling(plan: StoredPlan) -> str:
    """The rules to follow."""
    facts = plan.facts
    p = facts["policy"]
    lines = [
        f"{begin(facts)} Use {p['rack.bins']} of {facts['have']['bins']} bins.",
        f"Move the beetles to a fresh bin every {p['rotation.interval_days']} days; at most "
        f"{p['rotation.most_breeders_per_bin']} beetles in a breeding bin, "
        + ("more than that go into further bins." if p["rotation.surplus"] == "split"
           else "more than that are taken out."),
        (f"Look for pupae every {p['pupae.inspection_days']} days and set them apart."
         if p["pupae.isolate"] else "Leave pupae where they are."),
        f"Every {p['harvest.interval_days']} days harvest {percent(p['harvest.fraction'])} of the "
        f"larvae from {show(p['harvest.smallest_mg'], 'mg')} on; those kept back are the next "
        "breeders.",
        f"Once shed skins show, give each growing bin moist feed: "
        f"{moisture(p['moisture.growing_g_per_day'])} a day.",
        f"Each breeding bin always has a piece of vegetable: "
        f"{moisture(p['moisture.breeding_g_per_day'])} a day.",
        f"{bran(p['bran.start_g'])} of bran into a fresh bin. "
        + (f"Every {p['bran.round_days']} days see how far the bran fell, and fill up what the "
           f"bin will eat in {p['bran.round_days'] + p['bran.reserve_days']:g} days."
           if p["bran.supply"] == "as_eaten" else
           f"{bran(p['bran.top_up_g'])} more when less than {bran(p['bran.top_up_below_g'])} are "
           "left."),
        f"Empty and wash a bin {p['rack.clear_after_days']} days after the beetles left it.",
    ]  # fmt: skip
    head = "The handling" if plan.is_met else "The handling that comes closest"
    if facts["quick"]:
        head = f"A quick first look with few candidates and runs. {head}"
    return f"{head} (of {facts['candidates']} tried):\n" + "\n".join(f"- {x}" for x in lines)


def bins(plan: StoredPlan) -> str:
    """Bins needed and why, arithmetic beside runs."""
    b = plan.facts["bins"]
    if b["growth"] is None or b["little"] is None:
        return (
            f"Bins: {number(b['used'])} in use in the mean, {b['most']} at most; too few bins were "
            "harvested and emptied to tell a time of growth."
        )
    every = 1 / b["fillings_per_day"] if b["fillings_per_day"] else math.inf
    used = plan.facts["policy"]["rack.bins"]
    text = (
        f"Bins needed and why: where no bin is emptied early, it takes {b['growth']:.0f} days "
        f"(80 % range {b['growth_low']:.0f} to {b['growth_high']:.0f}) from beetles in to the "
        f"harvest of nine tenths of a bin; a bin is filled every {number(every)} days; so "
        f"{b['growth']:.0f} / {number(every)} = {number(b['needed'])} bins "
        f"({Estimate.of(b, 'needed', 'needed_{}').limits}). In the plan a bin is emptied "
        f"after {number(b['stay_mean'])} days in the mean, which makes {number(b['little'])} in "
        f"use by Little's law (a filling more or less at the ends of the time counted makes "
        f"{number(b['edge'])}); the runs used {number(b['used'])} "
        f"({range_text(b['used_low'], b['used_high'])}), {b['most']} at most of {used}."
    )
    if b["stay_mean"] < b["growth"]:
        text += (
            " Bins are emptied before nine tenths of their harvest are grown; the larvae move on "
            "to the next bin."
        )
    return text


def startup(plan: StoredPlan) -> str:
    """Dates of the way to steady running."""
    table = plan.tables["startup"]
    lines = [f"- {row.label}: {when(row, plan.facts)}" for row in table.itertuples()]
    return "The way there (median and 80 % range over runs):\n" + "\n".join(lines)


def when(row: Any, facts: Mapping[str, Any]) -> str:
    """Date of an event with its range; says where it did not come within the run."""
    end = nice(day_date(date.fromisoformat(facts["start"]), facts["days"]).isoformat())
    if not row.came:
        return f"in none of {row.runs} runs by {end}"

    def shown(value: Any) -> str:
        return nice(value) if isinstance(value, str) else f"not by {end}"

    low, high = shown(row.date_low), shown(row.date_high)
    if low == high:
        same = f"{shown(row.date)} (8 of 10 runs on that day)"
        return same if row.came == row.runs else f"{same}; came in {row.came} of {row.runs} runs"
    if low.rpartition(" ")[2] == high.rpartition(" ")[2] and "not" not in high:
        # Both ends in one year: it is said once.
        low = low.rpartition(" ")[0]
        if isinstance(row.date, str) and row.date[:4] == row.date_high[:4]:
            high = high.rpartition(" ")[0]
    text = f"{shown(row.date)} ({low} to {high})"
    return text if row.came == row.runs else f"{text}; came in {row.came} of {row.runs} runs"


def purchases(plan: StoredPlan) -> str:
    """What to buy per month."""
    table = plan.tables["purchases"]
    whole = table[table["days"] >= 28]
    first, later = whole.iloc[:12], whole.iloc[12:]
    if later.empty:
        later = first
    parts = []
    for name, rows in (("first year", first), ("later", later)):
        most = rows.loc[rows["bran_kg"].idxmax()]
        ends = scaled(most[["bran_kg", "bran_kg_low", "bran_kg_high"]].astype(float), "kg")
        parts.append(
            f"{name} {show(rows['bran_kg'].mean(), 'kg', number)} of bran a month in the mean "
            f"(most in {most['month']}: {number(ends['bran_kg'])} {symbol('kg')}, 80 % range "
            f"{Estimate.of(ends, 'bran_kg', 'bran_kg_{}').limits}) and moist feed with "
            f"{show(rows['moisture_kg'].mean(), 'kg', number)} of water (about "
            f"{show(rows['roots_kg'].mean(), 'kg', number)} of carrot; its water from memory)"
        )
    return f"To buy: {'; '.join(parts)}. The table purchases has every month.{cost(plan)}"


def cost(plan: StoredPlan) -> str:
    """What the bran costs a month; empty where no price was given."""
    price = plan.facts["have"]["bran_price_per_kg"]
    if price is None:
        return ""
    table = plan.tables["purchases"]
    kilograms = table[table["days"] >= 28]["bran_kg"].mean()
    grams = plan.facts["mean_g_per_day"] * 365 / 12
    unit, a_kg = symbol("kg"), scaled(1.0, "kg")
    told = plain(price / a_kg) if differs("kg") else f"{price:g}"
    text = f" At {told} a {unit} it costs {number(price * kilograms)} a month"
    if grams > 0:
        text += f", {number(1000 * price * kilograms / grams / a_kg)} for a {unit} of larvae"
    return f"{text}."


def begins_with(facts: Mapping[str, Any]) -> str:
    """What the plan begins with, in a phrase."""
    if facts["rack"] is not None:
        return _rack(facts["rack"])
    return f"up to {facts['have']['breeders']} beetles to start with"


def begin(facts: Mapping[str, Any]) -> str:
    """How to begin."""
    if facts["rack"] is not None:
        return f"Go on from {_rack(facts['rack'])}."
    return f"Start with {facts['breeders']} beetles in one bin."


def _rack(rack: Mapping[str, Any]) -> str:
    """The bins that are there, with their names where these are not the numbers of the plan."""
    names = rack["bins"]
    if names == [str(number) for number in range(1, len(names) + 1)]:
        return str(rack["in_words"])
    return f"{rack['in_words']}; bins 1 to {len(names)} here are your {', '.join(names)}"


def given_up(plan: StoredPlan) -> str:
    """What was left out so that the plan takes minutes."""
    facts = plan.facts
    effort = facts["effort"]
    years = min(effort["years"], facts["years"])
    return (
        f"Given up for speed: only {facts['candidates']} ways of handling were tried, most in "
        f"{effort['first_seeds']} colonies over {years} years."
    )


def checked(plan: StoredPlan) -> str:
    """The advice, lived again; empty where it was not."""
    found = plan.facts["checked"]
    if found is None:
        return ""
    what = f"“{found['advice']}”" if found["advice"] else "the plan"
    agree = "as said" if found["low"] <= 0 <= found["high"] else "which is not as said"
    return (
        f"Checked: {what} lived again in {found['runs']} further {words_luck.runs(plan.facts)} "
        f"feeds {percent(found['fed'])} of all stretches of four weeks "
        f"({percent(found['said_fed'])} before: {agree}), and every one in {found['met']} of "
        f"{found['runs']}."
    )


def cautions(plan: StoredPlan) -> str:
    """Cautions, and what the plan is not."""
    return f"{CAUTION} {DUST} {MODEL}"


def due(facts: Mapping[str, Any]) -> str:
    """Date from which the want has to be met."""
    start = date.fromisoformat(facts["start"])
    return nice(day_date(start, facts["want"]["after_days"] + 1).isoformat())


def _minutes(have: Mapping[str, Any]) -> str:
    minutes = have["minutes_per_week"]
    return "no limit of work" if minutes is None else f"{minutes:g} minutes of work a week"
