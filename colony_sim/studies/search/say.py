"""What a search found, in words for a keeper."""

from __future__ import annotations

import math
from decimal import ROUND_FLOOR

import pandas as pd

from colony_sim.studies.search.limits import Limits
from colony_sim.studies.search.run import Search, needed
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, number, of_100
from colony_sim.words.units import differs, here, named, scaled, symbol
from colony_sim.words.units import plain as plainly

WORTH = 0.5
"""Share of the best yield from which little work is worth naming."""
ROWS = 4
"""Candidates that a screen has before all else."""


def headline(result: Search) -> str:
    """The best of those worth choosing in one sentence, from the fresh runs."""
    front = result.front[result.front["on_front"]]
    if front.empty:
        return "No candidate kept to all limits in fresh runs"
    best = front.sort_values("yield_g_per_day", ascending=False).iloc[0]
    # What hardly yields is no choice, however little work it is.
    rich = front[front["yield_g_per_day"] >= WORTH * best["yield_g_per_day"]]
    least = rich.sort_values("minutes_per_week").iloc[0]
    others = front[front["candidate"] != best["candidate"]]
    # Intervals that overlap tell nothing apart; those that do not are stricter than a paired test.
    ahead = others.empty or best["yield_low"] > others["yield_high"].max()
    word = "yields most" if ahead else "has the highest mean yield"
    one = f"{_called(best)} {word}, {_yield(best)} for {_work(best)}"
    if not ahead:
        close = int((~(others["yield_high"] < best["yield_low"])).sum())
        one += f", not told from {close} other{'s' if close > 1 else ''}"
    others = rich[rich["candidate"] != least["candidate"]]
    apart = others.empty or least["minutes_high"] < others["minutes_low"].min()
    takes = "takes the least work" if apart else "has the least mean work"
    takes += " of those that give half as much or more" if len(rich) < len(front) else ""
    if least["candidate"] == best["candidate"]:
        return f"{one}, and {takes}"
    return f"{one}; {_called(least)} {takes}, {_work(least)} for {_yield(least)}"


def in_words(result: Search) -> str:
    """A page: what to do, how sure that is, what would change it."""
    return "\n".join(
        [
            *_what_to_do(result),
            *_how_sure(result),
            *_what_would_change_it(result),
            _limits_in_words(result),
        ]
    )


def plain(result: Search) -> tuple[str, ...]:
    """The screen below the headline: what to do, how sure that is, what would change it."""
    sure, *rows = _how_sure(result)
    doing, changing = _what_to_do(result), _what_would_change_it(result)
    return (*doing, sure, *rows[:ROWS], *changing, *rows[ROWS:], _limits_in_words(result))


def _what_to_do(result: Search) -> list[str]:
    front = result.front[result.front["on_front"]]
    if front.empty:
        closest = result.front.sort_values(["kept", "yield_g_per_day"], ascending=False).iloc[0]
        return [
            f"What to do: nothing tried keeps to the limits. {_called(closest).capitalize()} comes "
            f"nearest ({_keys(result, closest)}): it keeps to all of them in "
            f"{of_100(closest['kept'])} of 100 runs."
        ]
    best = front.sort_values("yield_g_per_day", ascending=False).iloc[0]
    if best["candidate"] == OWN:
        return [f"What to do: go on as in the file ({_keys(result, best)})."]
    return [f"What to do: {_keys(result, best)} (candidate {best['candidate']})."]


def _how_sure(result: Search) -> list[str]:
    rows = result.front.sort_values("yield_g_per_day", ascending=False)
    lines = [
        f"How sure: from {result.fresh_seeds} runs of each that the search had not seen (days "
        f"{result.span.warm_up + 1} to {result.span.days}):"
    ]
    return lines + [f"  {_one(row)}" for _, row in rows.iterrows()]


def _one(row: pd.Series) -> str:
    against = ""
    if row["candidate"] != OWN:
        against = f", ahead of the file in {of_100(row['ahead'])} of 100"
    word = {
        "shown": f"lives on in at least {number(100 * row['persist_low'], ROUND_FLOOR)} % (shown)",
        "open": f"fades in {of_100(row['fading'])} of 100 (too few runs to tell)",
        "not met": f"fades in {of_100(row['fading'])} of 100 (limit not met)",
    }[row["persistence"]]
    over = "" if row["within_limits"] else "; beyond a limit too often"
    place = "" if row["on_front"] else "; another does better"
    return (
        f"{row['candidate']}: {_yield(row)}{_limits(row, 'yield')}{against}; {_work(row)}; {word}; "
        f"all limits kept in {of_100(row['kept'])}{over}{place}."
    )


def _what_would_change_it(result: Search) -> list[str]:
    front = result.front[result.front["on_front"]]
    lines = []
    if len(front) > 1:
        best = front.sort_values("yield_g_per_day", ascending=False).iloc[0]
        for column, short in (("minutes_per_week", "time"), ("fading", "a safe colony")):
            other = front.sort_values([column, "yield_g_per_day"], ascending=[True, False]).iloc[0]
            if other["candidate"] == best["candidate"] or other[column] >= best[column]:
                continue
            lines.append(
                f"What would change it: if you lack {short}, {_called(other)} "
                f"({_keys(result, other)})."
            )
    again = result.front.dropna(subset=["yield_in_search"])
    if len(again):
        gap = (again["yield_in_search"] - again["yield_g_per_day"]).mean()
        lines.append(
            f"Yields in the search were {a_day(abs(gap))} higher on average than in fresh "
            "runs: that is the luck of being chosen, and left out above."
            if gap > 0
            else f"Yields in the search were {a_day(abs(gap))} lower on average than in "
            "fresh runs: being chosen did not flatter these."
        )
    least = needed(result.limits.persist)
    if result.fresh_seeds < least:
        lines.append(
            f"To show that a colony lives on in {100 * result.limits.persist:g} % of runs takes "
            f"{least} runs without a loss or more; {result.fresh_seeds} cannot."
        )
    return lines


def _limits_in_words(result: Search) -> str:
    feasible = int(result.candidates["feasible"].sum())
    return (
        f"Limits: {limits_of(result)}. {len(result.candidates)} candidates tried in "
        f"{result.search_seeds} runs each, {feasible} within the limits there."
    )


def limits_of(result: Search) -> str:
    """What was given, listed."""
    limits = result.limits
    often = f" in {100 * limits.sure:g} % of runs"
    given = [
        f"{limits.bins} bins" if limits.bins is not None else "",
        f"{limits.breeders} founder beetles" if limits.breeders is not None else "",
        f"{limits.minutes_per_week:g} minutes a week{often}" if limits.minutes_per_week else "",
        *(f"{given}{often}" for given in means_of(limits)),
        f"the colony lives on in {100 * limits.persist:g} % of runs",
    ]
    return ", ".join(word for word in given if word)


def means_of(limits: Limits, more: str = " or more") -> list[str]:
    """Bran and larvae a keeper was given or wants, in the units of the house."""
    given = (limits.bran_kg_per_week, "kg", " of bran a week"), (limits.grams_per_day, "g/d", more)
    form = plainly if differs("g") else "{:g}".format
    return [
        f"{form(scaled(value, unit))} {symbol(unit)}{words}"
        for value, unit, words in given
        if value
    ]


def a_day(grams: float) -> str:
    """A yield (g/day) in the unit of the house."""
    return f"{number(here(grams, 'g/day'))} {named('g/day')}"


OWN = "as in the file"


def _keys(result: Search, row: pd.Series) -> str:
    return ", ".join(
        f"{labels.label(key)} {labels.told(key, row[key], _value)}" for key in result.keys
    )


def _called(row: pd.Series) -> str:
    name = row["candidate"]
    return name if len(name) > 2 else f"candidate {name}"


def _yield(row: pd.Series) -> str:
    return a_day(row["yield_g_per_day"])


def _work(row: pd.Series) -> str:
    return f"{number(row['minutes_per_week'])} minutes a week"


def _limits(row: pd.Series, name: str) -> str:
    found = Estimate(math.nan, *(here(row[f"{name}_{end}"], "g/day") for end in ("low", "high")))
    return f" ({found.limits})" if found.bounded else ""


def _value(value: object) -> str:
    return number(value) if isinstance(value, float) else labels.shown(value).replace("_", " ")
