"""A plan in plain words; every number is one of its tables or facts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_CEILING, ROUND_FLOOR
from typing import Any

import pandas as pd

from colony_sim.experiment.wording import number
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.measuring import day_date

_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
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


def headline(plan: StoredPlan) -> str:
    """Whether the want is met, in one sentence, no stronger than the runs allow."""
    facts = plan.facts
    want, share = facts["want"], plan.met
    grams = f"{number(want['grams_per_day'])} g of larvae a day"
    counted = f"in {share.met} of {share.runs} runs"
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
    if sure <= 0:
        return (
            f"No plan was found: in the poorest {weeks} weeks there is no harvest, {grams} wanted"
        )
    lack = number(facts["reach"]["lack"])
    return (
        f"No plan was found that gives {grams}: the best reaches {number(sure)} g in {asked} of "
        f"runs, {lack} g short"
    )


def in_words(plan: StoredPlan) -> str:
    """The whole plan in words, paragraph by paragraph."""
    parts = [
        asked_for(plan), chances(plan), handling(plan), bins(plan), startup(plan),
        purchases(plan), cold(plan), short(plan), remedies(plan), cautions(plan),
    ]  # fmt: skip
    return "\n\n".join(part for part in parts if part)


def asked_for(plan: StoredPlan) -> str:
    """What was wanted and what is there."""
    facts = plan.facts
    want, have = facts["want"], facts["have"]
    text = (
        f"Wanted: {want['in_words']}, from {due(facts)} on, in {percent(want['probability'])} of "
        f"runs at least. There: {have['bins']} bins of {have['bin_area_dm2']:g} dm2, up to "
        f"{have['breeders']} beetles to start with on {nice(facts['start'])}, "
        f"{facts['room']['in_words']}, {_minutes(have)}."
    )
    if want["assumed"]:
        text += (
            f" {want['larvae_each']:g} larvae a bird a day is a cautious default (common practice, "
            "no source): give your own with --larvae-each."
        )
    mass = facts["larva_mg_harvested"]
    if want["birds"] is not None and mass is not None:
        text += f" Larvae harvested weigh {number(mass)} mg in the mean."
    if facts["room"]["notes"]:
        text += f" The log of temperatures: {' '.join(facts['room']['notes'])}"
    if facts["profile"]:
        text += f" With profile {facts['profile']}."
    return text


def chances(plan: StoredPlan) -> str:
    """How sure the plan is."""
    facts = plan.facts
    want, share, reach = facts["want"], plan.met, facts["reach"]
    weeks = facts["stretch_days"] // 7
    text = (
        f"Counted on fresh seeds, not those the handling was chosen on: "
        f"{share.met} of {share.runs} runs, 95 % interval {interval(share.low, share.high)}; a run "
        f"counts where every stretch of {weeks} weeks from {due(facts)} on gives what is wanted"
    )
    if facts["have"]["minutes_per_week"] is not None:
        text += " and the work stays within the minutes, in the mean"
    text += (
        f". In {percent(want['probability'])} of runs the poorest {weeks} weeks give "
        f"{number(reach['grams'])} g a day or more ({_reach_limits(reach)}); the mean is "
        f"{number(facts['mean_g_per_day'])} g a day, the work "
        f"{number(facts['minutes_per_week'])} minutes a week."
    )
    if len(facts["attempts"]) > 1:
        first = facts["attempts"][0]
        text += (
            f" It is the second that was tried on fresh seeds: the first, with less work, met it "
            f"in {first['met']} of {first['runs']}."
        )
    last = facts["reach_last_year"]
    if not plan.is_met and last["grams"] > 1.1 * max(reach["grams"], 1e-9):
        text += (
            f" In the last year alone, with the waves of the start-up behind, it is "
            f"{number(last['grams'])} g a day ({_reach_limits(last)})."
        )
    if facts["died_out"]:
        text += f" The colony died out in {facts['died_out']} of {share.runs} runs."
    return text


def handling(plan: StoredPlan) -> str:
    """The rules to follow."""
    facts = plan.facts
    p = facts["policy"]
    lines = [
        f"Start with {facts['breeders']} beetles in one bin; use {p['rack.bins']} of "
        f"{facts['have']['bins']} bins.",
        f"Move the beetles to a fresh bin every {p['rotation.interval_days']} days; at most "
        f"{p['rotation.most_breeders_per_bin']} beetles in a breeding bin, "
        + ("more than that go into further bins." if p["rotation.surplus"] == "split"
           else "more than that are taken out."),
        (f"Look for pupae every {p['pupae.inspection_days']} days and set them apart."
         if p["pupae.isolate"] else "Leave pupae where they are."),
        f"Every {p['harvest.interval_days']} days harvest {percent(p['harvest.fraction'])} of the "
        f"larvae from {p['harvest.smallest_mg']:g} mg on; those kept back are the next breeders.",
        f"Once shed skins show, give each growing bin moist feed with "
        f"{p['moisture.growing_g_per_day']:g} g of water a day.",
        f"{p['bran.start_g']:g} g of bran into a fresh bin, {p['bran.top_up_g']:g} g more when "
        f"less than {p['bran.top_up_below_g']:g} g are left.",
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
        f"Bins needed and why: from beetles in to the harvest of nine tenths of a bin takes "
        f"{b['growth']:.0f} days (80 % range {b['growth_low']:.0f} to {b['growth_high']:.0f}); a "
        f"bin is filled every {number(every)} days; so {number(b['growth'])} / {number(every)} = "
        f"{number(b['needed'])} bins are growing or breeding ({number(b['needed_low'])} to "
        f"{number(b['needed_high'])}). A bin is kept until it is emptied, {number(b['stay_mean'])} "
        f"days in the mean, which makes {number(b['little'])} by Little's law (a filling more or "
        f"less at the ends of the time counted makes {number(b['edge'])}); the runs used "
        f"{number(b['used'])} ({range_text(b['used_low'], b['used_high'])}), {b['most']} at most "
        f"of {used}."
    )
    if b["full_weeks"] > 0.5:
        text += (
            f" In {percent(b['full_weeks'])} of weeks no bin of the {used} was free on some day: "
            "the rack, not growth, then decides when a bin is emptied."
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
        parts.append(
            f"{name} {number(rows['bran_kg'].mean())} kg of bran a month in the mean (most in "
            f"{most['month']}: {number(most['bran_kg'])} kg, 80 % range "
            f"{number(most['bran_kg_low'])} to {number(most['bran_kg_high'])}) and moist feed with "
            f"{number(rows['moisture_kg'].mean())} kg of water (about "
            f"{number(rows['roots_kg'].mean())} kg of carrot; its water from memory)"
        )
    return f"To buy: {'; '.join(parts)}. The table purchases has every month."


def cold(plan: StoredPlan) -> str:
    """Weeks that a cold spell starves."""
    found = plan.facts["spells"]
    room = plan.facts["room"]
    asked = percent(plan.facts["want"]["probability"])
    short = int(plan.tables["weeks"]["short"].sum())
    if not found:
        if room["warmest_c"] - room["coldest_c"] < 1.0:
            return "Cold spells: none, the room is the same all year."
        if not short:
            return "Cold spells: no week from the day the want is due is starved."
        return (
            f"Cold spells: none can be told apart. {short} weeks are short, and the same room kept "
            "at 25 C or more does not feed them either: the rack, the handling or the start-up is "
            "what is short."
        )
    lines = [
        f"- {nice(s['begins'])} to {nice(_week_end(s['ends']))}: in the worst week the want is met "
        f"in {percent(s['least_share'])} of runs, {number(s['lack'])} g a day lacking in the "
        f"median run; the growth before was at {number(s['growth_c'])} C"
        for s in found
    ]
    other = short - int(plan.tables["weeks"]["cold"].sum())
    text = (
        f"Weeks that the cold starves (the four weeks up to them give what is wanted in fewer than "
        f"{asked} of runs, and in the same room at 25 C or more they do not):\n" + "\n".join(lines)
    )
    if other:
        text += f"\n{other} further weeks are short in the warm room as well."
    return text


def short(plan: StoredPlan) -> str:
    """What is short and by how much."""
    table = plan.tables.get("shortfalls")
    if table is None:
        return ""
    lines = [f"- {limit_text(row)}" for row in table.itertuples()]
    return (
        "What would be enough, each alone (with the best handling tried for it; another might need "
        "less):\n" + "\n".join(lines)
    )


def limit_text(row: Any) -> str:
    """One loosened limit."""
    share = (
        f"met in {percent(row.met)} of {row.runs} runs (95 % interval "
        f"{interval(row.met_low, row.met_high)})"
    )
    there, tried = number(row.there), number(row.tried)
    if pd.isna(row.needed):
        if row.limit == "minutes":
            return (
                f"minutes: more alone do not do it in any handling tried; the best gives "
                f"{number(row.sure_g_per_day)} g a day, {share}"
            )
        return (
            f"{row.limit}: not even {tried} {row.unit} ({there} there) alone: "
            f"{number(row.sure_g_per_day)} g a day, {share}"
        )
    text = f"{row.limit}: {number(row.needed)} {row.unit} ({there} there): {share}"
    return f"{text}; with {row.handling}" if row.handling else text


def remedies(plan: StoredPlan) -> str:
    """What helps, ranked."""
    table = plan.tables.get("remedies")
    if table is None:
        return ""
    base, rest = table.iloc[0], table.iloc[1:]
    helping = rest[rest["helps"]]
    head = (
        f"What to do, each run on {base['runs']} seeds of the plan (of the stretches of four "
        f"weeks, the plan as it is feeds {percent(base['fed_share'])}):"
    )
    if helping.empty:
        return f"{head} nothing of {len(rest)} remedies tried helps beyond chance."
    lines = []
    for row in helping.itertuples():
        note = f" ({row.note})" if row.note else ""
        lines.append(
            f"- {row.remedy}{note}: {points(row.gain, row.gain_low, row.gain_high)} of stretches "
            f"fed; the want met in {percent(row.met)} of runs "
            f"({interval(row.met_low, row.met_high)})"
        )
    others = rest[~rest["helps"]]["remedy"].tolist()
    if others:
        lines.append(f"- no help that the runs show: {'; '.join(others)}")
    return head + "\n" + "\n".join(lines)


def cautions(plan: StoredPlan) -> str:
    """Cautions, and what the plan is not."""
    return f"{CAUTION} {DUST} {MODEL}"


def due(facts: Mapping[str, Any]) -> str:
    """Date from which the want has to be met."""
    start = date.fromisoformat(facts["start"])
    return nice(day_date(start, facts["want"]["after_days"] + 1).isoformat())


def nice(iso: str) -> str:
    """A date in words: 1 March 2030."""
    day = date.fromisoformat(iso)
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def percent(share: float) -> str:
    """A share as a whole percentage."""
    return f"{100 * share:.0f} %"


def interval(low: float, high: float) -> str:
    """An interval of shares in percent, rounded outward."""
    return f"{math.floor(100 * low + 1e-9)} to {math.ceil(100 * high - 1e-9)} %"


def points(gain: float, low: float, high: float) -> str:
    """A gain in percentage points with its interval, rounded outward."""
    ends = f"{math.floor(100 * low + 1e-9)} to {math.ceil(100 * high - 1e-9)}"
    return f"{100 * gain:.0f} percentage points more (95 % interval {ends})"


def range_text(low: float, high: float) -> str:
    """A 95 % interval, rounded outward."""
    if low is None or high is None:
        return "too few runs for an interval"
    bottom, top = number(low, ROUND_FLOOR), number(high, ROUND_CEILING)
    return f"95 % interval {bottom} to {top}"


def _reach_limits(reach: Mapping[str, Any]) -> str:
    low = number(reach["low"], ROUND_FLOOR) if reach["low"] else "0"
    if reach["high"] is None:
        return f"95 % interval from {low} up, too few runs for an upper limit"
    return f"95 % interval {low} to {number(reach['high'], ROUND_CEILING)}"


def _minutes(have: Mapping[str, Any]) -> str:
    minutes = have["minutes_per_week"]
    return "no limit of work" if minutes is None else f"{minutes:g} minutes of work a week"


def _week_end(first_day: str) -> str:
    return day_date(date.fromisoformat(first_day), 7).isoformat()
