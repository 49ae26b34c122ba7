"""What a search found, in words."""

from __future__ import annotations

import math
from decimal import ROUND_FLOOR

import pandas as pd

from colony_sim.studies.search.run import Search, needed
from colony_sim.words.estimate import Estimate, number


def headline(result: Search) -> str:
    """The front in one sentence, from the runs with fresh seeds."""
    front = result.front[result.front["on_front"]]
    if front.empty:
        return "No candidate kept to all limits on fresh seeds"
    best = front.sort_values("yield_g_per_day", ascending=False).iloc[0]
    least = front.sort_values("minutes_per_week").iloc[0]
    others = front[front["candidate"] != best["candidate"]]
    # Intervals that overlap tell nothing apart; those that do not are stricter than a paired test.
    ahead = others.empty or best["yield_low"] > others["yield_high"].max()
    word = "yields most" if ahead else "has the highest mean yield"
    one = f"{_called(best)} {word} of the front, {_yield(best)} for {_work(best)}"
    if not ahead:
        close = int((~(others["yield_high"] < best["yield_low"])).sum())
        one += f", not told from {close} other{'s' if close > 1 else ''}"
    others = front[front["candidate"] != least["candidate"]]
    apart = others.empty or least["minutes_high"] < others["minutes_low"].min()
    takes = "takes the least work" if apart else "has the least mean work"
    if least["candidate"] == best["candidate"]:
        return f"{one}, and {takes}"
    return f"{one}; {_called(least)} {takes}, {_work(least)} for {_yield(least)}"


def in_words(result: Search) -> str:
    """How the search was made, what the front is, and what the limits came to."""
    limits = result.limits
    given = [
        f"{limits.bins} bins" if limits.bins is not None else "",
        f"{limits.minutes_per_week:g} minutes a week" if limits.minutes_per_week else "",
        f"{limits.breeders} founder beetles" if limits.breeders is not None else "",
        f"the colony persists in {100 * limits.persist:g} % of runs",
    ]
    feasible = int(result.trials["feasible"].sum())
    lines = [
        f"Limits: {', '.join(word for word in given if word)}. {len(result.trials)} candidates "
        f"tried with {result.search_seeds} seeds, {feasible} within the limits there; those no "
        f"other betters were run again with {result.fresh_seeds} fresh seeds, and what follows is "
        f"from these alone (days {result.span.warm_up + 1} to {result.span.days})."
    ]
    rows = result.front.sort_values("yield_g_per_day", ascending=False)
    lines += [_one(result, row) for _, row in rows.iterrows()]
    again = result.front.dropna(subset=["yield_in_search"])
    if len(again):
        gap = (again["yield_in_search"] - again["yield_g_per_day"]).mean()
        lines.append(
            f"Yields in the search were {number(abs(gap))} g/day {'higher' if gap > 0 else 'lower'}"
            " on average than on fresh seeds: that is the luck of being chosen."
            if gap > 0
            else f"Yields in the search were {number(abs(gap))} g/day lower on average than on "
            "fresh seeds: being chosen did not flatter these."
        )
    least = needed(limits.persist)
    if result.fresh_seeds < least:
        lines.append(
            f"To show {100 * limits.persist:g} % persistence takes {least} runs without a loss or "
            f"more; {result.fresh_seeds} cannot."
        )
    return "\n".join(lines)


def _one(result: Search, row: pd.Series) -> str:
    keys = ", ".join(f"{key} = {_value(row[key])}" for key in result.keys)
    persist = f"persisted in {row['persisted']} of {row['runs']} runs"
    word = {
        "shown": f"at least {number(100 * row['persist_low'], ROUND_FLOOR)} % shown",
        "open": "too few runs to tell",
        "not met": "limit not met",
    }[row["persistence"]]
    over = "" if row["within_minutes"] else "; over the minutes"
    place = "" if row["on_front"] else "; not on the front"
    return (
        f"{row['candidate']}: {keys}: {_yield(row)}{_limits(row, 'yield')}, losses "
        f"{number(row['adult_losses'])} per 100 adults per day{_limits(row, 'losses')}, "
        f"{_work(row)}{_limits(row, 'minutes')}; {persist} ({word}){over}{place}."
    )


def _called(row: pd.Series) -> str:
    name = row["candidate"]
    return name if len(name) > 2 else f"candidate {name}"


def _yield(row: pd.Series) -> str:
    return f"{number(row['yield_g_per_day'])} g/day"


def _work(row: pd.Series) -> str:
    return f"{number(row['minutes_per_week'])} minutes a week"


def _limits(row: pd.Series, name: str) -> str:
    found = Estimate(math.nan, row[f"{name}_low"], row[f"{name}_high"])
    return f" ({found.limits})" if found.bounded else ""


def _value(value: object) -> str:
    if isinstance(value, float) and not value.is_integer():
        return number(value)
    return f"{value:g}" if isinstance(value, float) else str(value)
