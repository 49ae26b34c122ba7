"""Trials in words: which to do, how, and what a result says."""

from __future__ import annotations

import math

import pandas as pd

from colony_sim.trial.back import Answer
from colony_sim.trial.boxes import COUNT_ERROR, Amount, Step, Trial
from colony_sim.trial.question import Question
from colony_sim.trial.side import NAME
from colony_sim.words.estimate import of_100
from colony_sim.words.listing import listed
from colony_sim.words.units import bran, degrees, differs, scaled, show, size, symbol, weight

CAUTION = (
    "Dust of bran, frass and skins causes allergy and asthma: sieve outdoors or with a fitted "
    "mask. Keep trial insects away from food."
)
_SHOWN = 4
_HOURS_FROM = 180.0
"""Minutes."""


def headline(ranking: pd.DataFrame) -> str:
    """Which trial to do first, in one sentence."""
    top = ranking.iloc[0]
    if not top["told_apart"]:
        return (
            "No small experiment at home is shown to help with this choice"
            f"{', nor a year of both ways side by side' if NAME in set(ranking['trial']) else ''}"
        )
    worth = f"{weight(top['worth'])} of larvae a year (error {size(top['worth_se'])})"
    cost = f"{work_time(top['minutes'])} of work and {_eur(top['bran_eur'])} of bran"
    if top["trial"] == NAME:
        return (
            "No small experiment at home is shown to help with this choice; a year of both ways "
            f"side by side would, by {worth}, for {cost}"
        )
    return f"Do this first: {top['label']}. It is worth {worth} for {cost}"


def screen(question: Question, ranking: pd.DataFrame) -> list[str]:
    """What stands below the headline."""
    first, second = question.policies
    lines = [
        f"The choice: “{first}” or “{second}”, in {len(question.gains)} possible colonies. Worth: "
        "what choosing by the result gives on average over choosing now.",
    ]
    for row in ranking.head(_SHOWN).itertuples():
        worth = f"{weight(row.worth)} a year (error {size(row.worth_se)}"
        worth += ")" if row.told_apart else ", not told apart from luck)"
        lines.append(
            f"- {row.label} ({row.trial}): {worth}, {weight(row.worth_per_minute, 1)} a minute"
            f"{_per_eur(row)}; {row.days} days"
        )
    told = ranking[ranking["told_apart"]]
    cheapest = told.sort_values("worth_per_eur", ascending=False).head(1)
    if len(cheapest) and cheapest.index[0] != 0:
        row = cheapest.iloc[0]
        lines.append(f"By the euro of bran: {row['label']}{_per_eur(row)}.")
    if not question.racks:
        lines.append("What both ways side by side in two racks for a year would tell: --racks.")
    lines.append(CAUTION)
    return lines


def full(question: Question, ranking: pd.DataFrame) -> str:
    """All of it, for the results folder."""
    rows = [
        f"{row.trial} ({row.label}): {weight(row.worth, 1)} a year, error "
        f"{size(row.worth_se, 1)}, p {row.p_holm:.3g} by permutation (Holm); its result would turn "
        f"the choice in "
        f"{100 * row.turns:.0f} of 100 possible colonies; {work_time(row.minutes)}, "
        f"{_eur(row.bran_eur)} of bran, {row.days} days; "
        f"{weight(row.worth_per_minute, 2)} for a minute{_per_eur(row)}."
        for row in ranking.itertuples()
    ]
    return "\n\n".join([
        *screen(question, ranking)[:1], *rows,
        f"Counts have an error of {100 * COUNT_ERROR:.0f} %. Minutes, price of bran and errors: "
        "common practice, no source.", CAUTION,
    ])  # fmt: skip


def instructions(trial: Trial, room_c: float) -> str:
    """How to do a trial."""
    steps = "\n".join(f"{i}. {in_house(step)}" for i, step in enumerate(trial.steps, start=1))
    feed = f"{trial.bran_g:.0f} g"
    other = ""
    if differs("g"):
        feed, other = bran(trial.bran_g), " Weights may have their unit, as in 0.4 oz."
    numbers = listed([f"{number.box}: {number.asked}" for number in trial.numbers])
    return (
        f"{trial.label[0].upper()}{trial.label[1:]}\n\n"
        f"Takes {trial.days} days, some {work_time(trial.minutes)} of work and {feed} "
        f"of bran. Keep the boxes in the room of the rack, near {round(scaled(room_c, 'C'))} "
        f"{degrees()}.\n\n{steps}\n\n"
        f"Write down: {numbers}. Where there are too many to count, weigh all, weigh 100 of them, "
        f"and divide.{other}\n\n{CAUTION}\n"
    )


def said(question: Question, found: Answer) -> tuple[str, list[str]]:
    """What a result says: the answer, and what it rests on."""
    first, second = question.policies
    now, then = found.after, found.before
    share = max(now.first, now.second)
    ahead = first if now.first >= now.second else second
    if share < 0.7:
        answer = (
            f"After this result it is still open: of 100 possible colonies “{first}” gives more "
            f"in {of_100(now.first)} and “{second}” in {of_100(now.second)}"
        )
    else:
        answer = (
            f"After this result “{ahead}” gives more: in {of_100(share)} of 100 possible colonies"
        )
    lines = [
        f"Before it: “{first}” in {of_100(then.first)} and “{second}” in {of_100(then.second)} of "
        f"100; the first minus the second was {_gain(then.gain)} {symbol('g/d')} (error "
        f"{_error(then.error)}), now {_gain(now.gain)} (error {_error(now.error)}).".replace(
            "-", "−"
        ),
        f"Some {found.effective:.0f} of {len(question.gains)} possible colonies count.",
    ]
    if found.strange:
        return (
            f"Hardly a possible colony gives such a result ({of_100(found.tail)} of 100 are as far "
            "out): look for a slip of the pen and at how the boxes were kept, before you believe "
            "anything of it"
        ), [f"If it holds: {answer[0].lower()}{answer[1:]}.", *lines]
    return answer, lines


def work_time(minutes: float) -> str:
    """Work in minutes, or in hours where there are many."""
    return f"{minutes:.0f} minutes" if minutes < _HOURS_FROM else f"{minutes / 60:.0f} hours"


def _eur(value: float) -> str:
    return f"{value:.2f} euro"


def _per_eur(row: object) -> str:
    worth = float(row.worth_per_eur)  # type: ignore[attr-defined]
    return "" if math.isnan(worth) else f", {weight(worth)} a euro"


def _gain(grams: float) -> str:
    found = scaled(grams, "g/d")
    return f"{found:+.2g}" if differs("g") else f"{found:+.1f}"


def _error(grams: float) -> str:
    return size(grams, 1)


def _told(amount: Amount) -> str:
    """An amount of a step in the units of the house, beside those of the tool where both help."""
    of, value = amount
    if not differs("g"):
        side = 10 * math.sqrt(value)
        floor = f"{side:g} x {side:g} cm"
        return floor if of == "floor" else f"{value:g} {_UNITS[of]}"
    if of == "bran":
        return bran(value)
    if of in ("hole", "scale"):
        here = show(value / 10, "cm") if of == "hole" else show(value, "g")
        return f"{here} ({value:g} {_UNITS[of]})"
    return show(value, "dm2" if of == "floor" else "mg")


_UNITS = {"bran": "g", "larva": "mg", "hole": "mm", "scale": "g"}


def in_house(step: Step) -> str:
    """A step in the units of the house."""
    # Without an amount there may be names of the user's in it, and braces in these.
    return step.text.format(*map(_told, step.amounts)) if step.amounts else step.text
