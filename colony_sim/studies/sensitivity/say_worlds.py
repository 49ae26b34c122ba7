"""The answer of a sensitivity analysis over worlds in words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from colony_sim.biology.parameters import catalogue
from colony_sim.studies.sensitivity.run import Sensitivity
from colony_sim.studies.sensitivity.say import floor
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number, percent
from colony_sim.words.listing import listed

NAMED = 6
MEASURED = 3


def answer(result: Sensitivity) -> tuple[str, str]:
    """What the analysis says: in one line, and in full."""
    make = _shares if result.method == "sobol" else _steps
    return headline(result), "\n".join(dashed(line) for line in make(result))


def headline(result: Sensitivity) -> str:
    """Which value the result hangs on most, as far as the runs tell."""
    what = subject(result)
    if result.method == "sobol":
        shown = result.table[result.table["shown"]]
        if shown.empty:
            return f"No single value is shown to decide {what}"
        top = shown.iloc[0]
        names = [labels.label(key) for key in leading(result)]
        if len(names) == 1:
            return (
                f"{labels.heading(top['key'])} decides most of {what}: knowing it would remove "
                f"{percent(max(top['S1'], 0.0))} of its spread (variance) over possible colonies"
            )
        said = listed(names, 3)
        return f"{said[0].upper()}{said[1:]} decide most of {what}; the runs do not rank them"
    top = result.table.iloc[0]
    first = result.table["influence_low"].iloc[0] > result.table["influence_high"].iloc[1:].max()
    value = f"{number(top['influence'])} {result.unit}"
    if first:
        return (
            f"{labels.heading(top['key'])}, taken from another possible colony, moves {what} most: "
            f"{value}"
        )
    return (
        f"The intervals do not rank the values: {labels.label(top['key'])}, taken from another "
        f"possible colony, moves {what} most of those seen, {value}"
    )


def plain(result: Sensitivity) -> tuple[str, ...]:
    """The screen below the headline: what to measure at home, and what moves the result how far."""
    shares = result.method == "sobol"
    keys = leading(result) if shares else _above(result)
    worlds = int(result.sampled["world"].nunique())
    mean = Estimate(result.central[0], *result.central[2:], result.unit)
    top = [
        f"{labels.label(row.key)} "
        + (_share(row.S1, row.S1_se) + _shown(row) if shares else _change(row))
        for row in result.table.head(NAMED).itertuples()
    ]
    what = (
        "share of the spread (variance) that knowing it would remove"
        if shares
        else f"mean change, {result.unit}, 95 % interval"
    )
    none = "No measurement at home is shown to tell; more possible colonies (--size) may show one."
    lines = [
        *(_measure(result, keys) if keys else [none]),
        f"Largest first ({what}): {'; '.join(top)}.",
        f"{worlds} possible colonies were lived, days {result.span.warm_up + 1} to "
        f"{result.span.days}: {result.output}, {mean} on average.",
    ]  # fmt: skip
    if shares:
        lines.append(_chance(result))
    return tuple(dashed(line) for line in lines)


def _change(row: Any) -> str:
    found = Estimate(row.influence, row.influence_low, row.influence_high)
    return found.cell


def _above(result: Sensitivity) -> list[str]:
    """Keys whose effect is told from chance."""
    return list(result.table.loc[result.table["influence_low"] > floor(result), "key"])


def leading(result: Sensitivity) -> list[str]:
    """Keys shown to have a share that is not below the largest by more than the errors allow.

    Of two shares the error of the difference is taken as if they were independent, which for shares
    of one sample of worlds is on the wide side.
    """
    shown = result.table[result.table["shown"]]
    if shown.empty:
        return []
    top = shown.iloc[0]
    apart = top["S1"] - shown["S1"] > 1.96 * np.hypot(top["S1_se"], shown["S1_se"])
    return list(shown.loc[~apart, "key"])


def subject(result: Sensitivity) -> str:
    """The result in plain words."""
    measure = result.output.split(",")[0]
    return f"the difference in {measure}" if result.is_difference else measure


def _shares(result: Sensitivity) -> list[str]:
    worlds = int(result.sampled["world"].nunique())
    mean = Estimate(result.central[0], *result.central[2:], result.unit)
    lines = [
        f"{worlds} worlds, {result.noise.seeds} pair of runs in each"
        if result.is_difference and result.noise.seeds == 1
        else f"{worlds} worlds, {result.noise.seeds} seeds in each"
    ]
    lines[0] += (
        f", days {result.span.warm_up + 1} to {result.span.days}: {result.output}, {mean} on "
        f"average. {_chance(result)}"
    )
    lines.append(
        f"Share of the variance that knowing one of {len(result.table)} values would remove:"
    )
    for place, row in enumerate(result.table.head(NAMED).itertuples(), start=1):
        lines.append(f"{place}. {row.key}: {_share(row.S1, row.S1_se)}{_shown(row)}")
    groups = result.groups.dropna().head(3)
    if len(groups):
        told = ", ".join(
            f"{row.group} ({row.keys}) {_share(row.share, row.share_se)}"
            for row in groups.itertuples()
        )
        lines.append(f"All values of a kind together, at least: {told}.")
    if result.table["shown"].any():
        lines += _measure(result, leading(result))
    else:
        lines.append("More worlds (--size) would show smaller shares.")
    return lines


def _share(share: float, error: float) -> str:
    if not math.isfinite(share):
        return "not known"
    return f"{percent(round(max(share, 0.0), 3))} (standard error {number(100 * error)})"


def _shown(row: Any) -> str:
    return "" if row.shown else ", not told apart from nothing"


def _chance(result: Sensitivity) -> str:
    if math.isfinite(result.noise.share):
        return f"{percent(result.noise.share)} of the variance of the results is chance."
    return "The variance holds chance as well, which no measurement removes."


def _steps(result: Sensitivity) -> list[str]:
    worlds = int(result.sampled["world"].nunique())
    mean = Estimate(result.central[0], *result.central[2:], result.unit)
    lines = [
        f"From {worlds} worlds, days {result.span.warm_up + 1} to {result.span.days}, "
        f"{result.noise.seeds} seeds: {result.output}, {mean} on average. Each of "
        f"{len(result.table)} values alone was taken from another world; a value that does nothing "
        f"would show {number(floor(result))} {result.unit} by chance.",
        "Mean absolute change (mu*):",
    ]
    for place, row in enumerate(result.table.head(NAMED).itertuples(), start=1):
        found = Estimate(row.influence, row.influence_low, row.influence_high, result.unit)
        text = f"{place}. {row.key}: {found.value} (95 % bootstrap {found.limits})"
        if result.is_difference:
            text += f"; the sign changed in {row.sign_changes} of {row.moves} moves"
        lines.append(text)
    above = _above(result)
    if not above:
        lines.append("None is told from chance: more worlds (--size) or seeds are needed.")
        return lines
    return [*lines, *_measure(result, above)]


def _measure(result: Sensitivity, keys: list[str]) -> list[str]:
    return [
        "To measure in your own bins:",
        *(f"- {labels.label(key)}: {catalogue()[key].measure}." for key in keys[:MEASURED]),
    ]
