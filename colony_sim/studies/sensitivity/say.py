"""The answer of a sensitivity analysis in words: what would change the verdict, what to measure."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.studies.sensitivity.run import Sensitivity
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number
from colony_sim.words.units import differs
from colony_sim.words.units import plain as plainly

NAMED, PLAIN = 5, 3
"""Values named in full, and on a screen."""
WIDE = 0.5
"""Width of the interval of a Sobol' index, of at most 1, that tells nothing of its place."""
_HOW = {
    "oneway": "moved alone to both ends of its plausible range",
    "morris": "moved along random trajectories through the plausible ranges (Morris)",
    "sobol": "drawn from the plausible ranges together with all others (Sobol' indices)",
}
_PLAINLY = {
    "oneway": "largest change at an end of its range",
    "morris": "mean change over its range, 95 % interval",
    "sobol": "share of the spread with all it acts through, 95 % interval",
}
_INFLUENCE = {
    "oneway": "largest change",
    "morris": "mean absolute effect over the whole range (mu*)",
    "sobol": "share of the variance, with all it acts through (total index)",
}


def headline(result: Sensitivity) -> str:
    """The answer in one sentence: what would change who is ahead, or what moves the result most."""
    table = result.table
    if not result.is_difference:
        top = table.iloc[0]
        unit = "" if result.method == "sobol" else f" {result.unit}"
        return (
            f"Of {len(table)} values {labels.label(top['key'])} is seen to move "
            f"{result.output.split(',')[0]} most: {number(top['influence'])}{unit}"
        )
    first, second = (f"“{name}”" for name in result.policies)
    found = turning(table)
    if found.empty:
        return (
            f"None of the {len(table)} values, moved alone, changes which is ahead, {first} or "
            f"{second}"
        )
    named = [labels.label(key) for key in found["key"].head(PLAIN)]
    more = f" and {len(found) - PLAIN} more" if len(found) > PLAIN else ""
    text = (
        f"{', '.join(named)}{more}, moved alone, would change which is ahead, {first} or {second}"
    )
    return f"{text[0].upper()}{text[1:]}"


def plain(result: Sensitivity) -> tuple[str, ...]:
    """The screen below that: what to measure at home, and what moves the result how far."""
    turns = turning(result.table) if result.is_difference else result.table
    rows = (turns if len(turns) else result.table).head(PLAIN)
    top = [
        f"{labels.label(row.key)} {number(row.influence)}{_bounds(row)}"
        for row in result.table.head(NAMED).itertuples()
    ]
    mean, _, low, high = result.central
    unit = "" if result.method == "sobol" else f", {result.unit}"
    return (
        "What to measure in your own bins:",
        *(
            f"- {labels.label(row.key)}: {catalogue()[row.key].measure}."
            for row in rows[np.isfinite(rows["influence"])].itertuples()
        ),
        dashed(f"Largest first ({_PLAINLY[result.method]}{unit}): {'; '.join(top)}."),
        dashed(
            f"With nothing moved: {result.output}, {Estimate(mean, low, high, result.unit)}, mean "
            f"of {result.noise.seeds} runs, days {result.span.warm_up + 1} to {result.span.days}."
        ),
    )


def _bounds(row: Any) -> str:
    found = Estimate(row.influence, row.influence_low, row.influence_high)
    if found.bounded:
        return f" ({found.limits})"
    return f" (error {number(row.seed_se)})" if math.isfinite(row.seed_se) else ""


def turning(table: pd.DataFrame) -> pd.DataFrame:
    """Keys that changed who is ahead when moved alone, those that did most often first."""
    found = table[table["sign_changes"] > 0]
    return found.sort_values(["sign_changes", "influence"], ascending=False)


def answer(result: Sensitivity) -> str:
    """What the analysis says: influence, what would change the verdict, what to measure."""
    lines = [_head(result), _noise(result)]
    shown = result.table.head(NAMED)
    unit = "" if result.method == "sobol" else f" {result.unit}"
    lines.append(f"Most influence ({_INFLUENCE[result.method]}):")
    for place, row in enumerate(shown.itertuples(), start=1):
        lines.append(f"{place}. {row.key}: {_influence(row, unit)}{_moves(result, row)}")
    width = (result.table["influence_high"] - result.table["influence_low"]).max()
    if result.method == "sobol" and width > WIDE:
        lines.append(
            f"The widest interval of an index is {number(width)}: with so few points the indices "
            "cannot rank the keys; a larger --size can."
        )
    lines += _verdict(result)
    return "\n".join(lines)


def _head(result: Sensitivity) -> str:
    mean, _, low, high = result.central
    central = Estimate(mean, low, high, result.unit)
    text = (
        f"Result: {result.output}, days {result.span.warm_up + 1} to {result.span.days}, mean of "
        f"{result.noise.seeds} seeds; {central} with nothing moved. Each "
        f"of {len(result.table)} keys was {_HOW[result.method]}; {len(result.sampled)} points."
    )
    if result.drawn_in:
        text += (
            f" {result.drawn_in} of the points were drawn towards the values of the file, to keep "
            "the order of keys that must stay in order."
        )
    return text


def _noise(result: Sensitivity) -> str:
    noise = result.noise
    if not math.isfinite(noise.share):
        return "Noise of the seeds: not known from this (two seeds or more are needed)."
    text = (
        f"Noise of the seeds: after averaging over {noise.seeds} seeds (the same at all points) it "
        f"is {100 * noise.share:.2g} % of the variance of the result over the points"
    )
    if result.method == "sobol":
        text += ", which is in every total index alike"
    elif result.method == "morris":
        text += f"; keys without any influence would show mu* of about {number(floor(result))}"
    return f"{text}."


def floor(result: Sensitivity) -> float:
    """What the noise of the seeds alone gives as mu* (Morris), in the unit of the result.

    An effect is a difference of two noisy means, over ranges over a step of 2/3 of them; the mean
    of the absolute value of a normal variable is sqrt(2 / pi) of its standard deviation.
    """
    deviation = math.sqrt(2 * result.noise.variance / result.noise.seeds)
    if not result.over_worlds:
        deviation /= 2 / 3
    return math.sqrt(2 / math.pi) * deviation


def _influence(row: Any, unit: str) -> str:
    found = Estimate(row.influence, row.influence_low, row.influence_high)
    text = f"{number(row.influence)}{unit}"
    if found.bounded:
        text += f" (95 % bootstrap interval {found.limits})"
    if math.isfinite(row.seed_se):
        text += f", standard error over seeds {number(row.seed_se)}"
    return text


def _moves(result: Sensitivity, row: Any) -> str:
    if not result.is_difference:
        return ""
    return f"; the sign changed in {row.sign_changes} of {row.moves} moves of it alone"


def _verdict(result: Sensitivity) -> list[str]:
    if not result.is_difference:
        return ["What to measure in your own bins to narrow this down:", *_measure(result.table)]
    first, second = result.policies
    means = result.sampled[[c for c in result.sampled if c.startswith("result_")]].mean(axis=1)
    ahead = int((means > 0).sum())
    lines = []
    if result.method != "oneway":
        lines.append(
            f"Over the plausible ranges taken together, {first} is ahead at {ahead} of "
            f"{len(means)} points and {second} at {int((means < 0).sum())}."
        )
    found = turning(result.table)
    if found.empty:
        lines.append(
            "No key changed the sign of the difference when it was moved alone: none of these "
            "unknowns by itself would change which policy is ahead. To know by how much:"
        )
        return [*lines, *_measure(result.table)]
    named = ", ".join(found["key"].head(NAMED))
    more = f" and {len(found) - NAMED} more" if len(found) > NAMED else ""
    lines.append(f"Unknowns that would change which policy is ahead: {named}{more}.")
    lines.append("What to measure in your own bins to settle it:")
    return [*lines, *_measure(found)]


def _measure(table: pd.DataFrame) -> list[str]:
    rows = table[np.isfinite(table["influence"])].head(3)
    return [
        f"- {row.key} ({_about(row.key)}; plausible {_plausible(row)}): "
        f"{catalogue()[row.key].measure}."
        for row in rows.itertuples()
    ]


def _plausible(row: Any) -> str:
    if differs(row.unit):
        ends = [plainly(labels.at(row.key, end)) for end in (row.low_value, row.high_value)]
        return f"{' to '.join(ends)} {labels.unit(row.key)}"
    return f"{row.low_value:g} to {row.high_value:g} {row.unit}"


def _about(key: str) -> str:
    text = catalogue()[key].about.split(". ")[0].rstrip(".")
    return text[0].lower() + text[1:]
