"""What a plan is short of, its cold weeks and what helps, in words."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.measuring import day_date
from colony_sim.planning.phrases import nice, points
from colony_sim.words.estimate import number, percent, percents
from colony_sim.words.units import moisture, show

_RULES = {
    ("pupae.isolate", "True"): "pupae set apart",
    ("pupae.isolate", "False"): "pupae left where they are",
    ("rotation.surplus", "split"): "surplus beetles put into further bins",
    ("rotation.surplus", "remove"): "surplus beetles taken out",
    "rotation.interval_days": "beetles moved every {} days",
    "rotation.most_breeders_per_bin": "at most {} beetles in a breeding bin",
    "harvest.fraction": "a share of {} harvested",
    "pupae.inspection_days": "pupae looked for every {} days",
    "moisture.growing_g_per_day": "{} a day in a growing bin",
    "rack.clear_after_days": "bins emptied {} days after the beetles left",
    "rack.bins": "{} bins used",
    "start.breeders": "{} beetles to start with",
}
"""Rules of a handling in words, by key, or by key and value."""


def cold(plan: StoredPlan) -> str:
    """Cold weeks: those that the same room kept warm would feed."""
    found = plan.facts["spells"]
    room = plan.facts["room"]
    asked = percent(plan.facts["want"]["probability"])
    short = int(plan.tables["weeks"]["short"].sum())
    if not found:
        if room["warmest_c"] - room["coldest_c"] < 1.0:
            return "Cold weeks: none, the room is the same all year."
        if not short:
            return "Cold weeks: none, no week from the day the want is due is short."
        text = f"Cold weeks: none can be told apart. {short} weeks are short, and "
        warm = plan.facts["warm_c"]
        warmer = (
            "the room is warm all year"
            if warm is None
            else (f"the same room kept at {show(warm, 'C')} or more does not feed them either")
        )
        return f"{text}{warmer}: the rack, the handling or the start-up is what is short."
    lines = [
        f"- {nice(s['begins'])} to {nice(_week_end(s['ends']))}: in the worst week the want is met "
        f"in {percent(s['least_share'])} of runs, {show(s['lack'], 'g/d', number)} lacking in "
        f"the median run; the growth before was at {show(s['growth_c'], 'C')}"
        for s in found
    ]
    other = short - int(plan.tables["weeks"]["cold"].sum())
    text = (
        f"Cold weeks (the four weeks up to them give what is wanted in fewer than {asked} of runs, "
        f"and in the same room at {show(plan.facts['warm_c'], 'C')} or more they do not):\n"
        + "\n".join(lines)
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


def over_time(row: Any) -> str:
    """Says so where more than half of the runs take more work than there is time for."""
    if row.in_time >= 0.5:
        return ""
    return f"; the work is then {number(row.minutes_per_week)} minutes a week, beyond the limit"


def _amount(value: float) -> str:
    """A limit: whole bins, beetles and minutes without a decimal point."""
    return f"{value:.0f}" if value == int(value) else number(value)


def limit_text(row: Any) -> str:
    """One loosened limit."""
    share = (
        f"met in {percent(row.met)} of {row.runs} runs (95 % interval "
        f"{percents(row.met_low, row.met_high)})"
    )
    there, tried = _amount(row.there), _amount(row.tried)
    if pd.isna(row.needed):
        if row.limit == "minutes":
            return (
                f"minutes: more alone do not do it in any handling tried; the best gives "
                f"{show(row.sure_g_per_day, 'g/d', number)}, {share}"
            )
        return (
            f"{row.limit}: not even {tried} {row.unit} ({there} there) alone: "
            f"{show(row.sure_g_per_day, 'g/d', number)}, {share}{over_time(row)}"
        )
    text = f"{row.limit}: {_amount(row.needed)} {row.unit} ({there} there): {share}"
    rules = other_rules(row.handling)
    return f"{text}; with {rules}" if rules else text


def limit_in_short(row: Any) -> str:
    """How far a limit was loosened, and what came of it, in a few words."""
    if not pd.isna(row.needed):
        amount = f"{_amount(row.needed)} {row.unit}"
    elif row.limit == "minutes":
        amount = "more minutes"
    else:
        amount = f"{_amount(row.tried)} {row.unit}"
    return f"{amount} (met in {met_of(row)})"


def met_of(row: Any) -> str:
    """In how many runs of how many a row of a table is met."""
    return f"{round(row.met * row.runs)} of {row.runs}"


def other_rules(handling: str) -> str:
    """Rules in which a handling differs from the plan's, in words."""
    found = []
    for part in filter(None, handling.split(", ")):
        key, _, value = part.partition(" ")
        rule = _RULES.get((key, value), _RULES.get(key))
        told = moisture(float(value)) if key == "moisture.growing_g_per_day" else value
        found.append(part if rule is None else rule.format(told))
    return ", ".join(found)


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
            f"({percents(row.met_low, row.met_high)}){over_time(row)}"
        )
    others = rest[~rest["helps"]]["remedy"].tolist()
    if others:
        lines.append(f"- no help that the runs show: {'; '.join(others)}")
    return head + "\n" + "\n".join(lines)


def _week_end(first_day: str) -> str:
    return day_date(date.fromisoformat(first_day), 7).isoformat()
