"""What a fit found, in words: what was learnt, what was not, and how far to trust it."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.fitting import learnt
from colony_sim.fitting.fit import Fit
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, number
from colony_sim.words.estimate import percent as whole_percent
from colony_sim.words.listing import listed

#: Numbers outside their interval, and values on the screen, that are named one by one.
_NAMED, _SHOWN = 5, 6


def details(fit: Fit) -> str:
    """What was found, but for the headline."""
    parts = [_log(fit), *_values(fit), *_forms(fit), *_together(fit), fits_log(fit)]
    parts += [*_odd(fit), agreement(fit), trust(fit.calibration), *_open(fit), _caveat(fit)]
    return "\n\n".join(part for part in parts if part)


def headline(table: pd.DataFrame) -> str:
    """How many values the log tells, in one sentence."""
    known = [labels.label(row.key) for row in table.itertuples() if row.learnt == learnt.LEARNT]
    total = len(table)
    if not known:
        hardly = int((table["learnt"] == learnt.HARDLY).sum())
        some = f"; {hardly} it narrows a little" if hardly else ""
        return f"The log narrows none of {total} values to half of what is possible{some}"
    named = f": {listed(known)}" if len(known) <= 2 else ""
    return f"The log narrows {len(known)} of {total} values to half of what is possible{named}"


def plain(fit: Fit) -> list[str]:
    """The screen below the headline: what was learnt, and how far to trust it."""
    found = [fits_log(fit)]
    told = fit.learnt[fit.learnt["learnt"] != learnt.NOT]
    for row in told.head(_SHOWN).itertuples():
        found.append(
            f"- {row.learnt}: {labels.label(row.key)} {number(row.median)}{_unit(row)}, 90 % "
            f"interval {interval(row)} (before {_before(row)})"
        )
    if len(told) > _SHOWN:
        found.append(f"- {len(told) - _SHOWN} more are narrowed a little (learnt.parquet).")
    return [*found, *_open(fit), agreement(fit), trust(fit.calibration)]


def agreement(fit: Fit) -> str:
    """Whether colonies of the fit stand as the log alone says that the rack does."""
    table = fit.state
    over = table["apart"] / table["apart_limit"].clip(lower=1e-9)
    far = table.loc[over.idxmax()]
    agree = bool((over <= 1).all())
    rows = [
        f"{row.what} {Estimate(row.told_median, row.told_low, row.told_high).limits} by the log, "
        f"{Estimate(row.fit_median, row.fit_low, row.fit_high).limits} by the fit"
        for row in fit.state.itertuples()
    ]
    text = "; ".join(rows[: 1 if agree else len(rows)])
    word = "They agree" if agree else f"They do not agree on {far.what}"
    return (
        f"In the rack on the last day (90 %): {text}. {word}: medians {percent(far.apart)} of half "
        f"the interval apart, where 19 of 20 logs of known racks stay within "
        f"{percent(far.apart_limit)}; the fit's intervals held {percent(table['fit_90'].mean())} "
        "of those racks."
    )


def _unit(row: Any) -> str:
    return f" {row.unit}" if row.unit not in ("", "number", "share", "ratio") else ""


def _before(row: Any) -> str:
    return Estimate(row.median, row.before_low, row.before_high).limits


def interval(row: Any, level: str = "90") -> str:
    """A row's interval, its unit left out."""
    low, high = getattr(row, f"low_{level}"), getattr(row, f"high_{level}")
    return Estimate(row.median, low, high).limits


def percent(share: float) -> str:
    """A share in percent, two digits where it is small."""
    return whole_percent(share) if share >= 0.095 else f"{100 * share:.2g} %"


def _log(fit: Fit) -> str:
    schedule = fit.schedule
    lines = [
        f"Log {fit.logbook.path.name}: {len(fit.logbook.entries)} rows over {schedule.days} days "
        f"from {schedule.start}, {len(schedule.bins)} bin{'s' * (len(schedule.bins) != 1)}, "
        f"{len(schedule.observed)} number{'s' * (len(schedule.observed) != 1)} to learn from; "
        f"{fit.members} possible colonies lived it, of which as many as "
        f"{fit.posterior.effective:.0f} count."
    ]
    lines += [f"Note: {note}." for note in schedule.notes]
    return "\n".join(lines)


def _values(fit: Fit) -> list[str]:
    lines: dict[str, list[str]] = {learnt.LEARNT: [], learnt.HARDLY: [], learnt.NOT: []}
    for row in fit.learnt.itertuples():
        text = row.key
        if row.learnt != learnt.NOT:
            text = (
                f"  {row.key}: {number(row.median)}{_unit(row)}, 90 % interval {interval(row)} "
                f"(before {_before(row)})"
            )
        if row.learnt == learnt.HARDLY:
            text += f"\n      to measure it: {catalogue()[row.key].measure}"
        lines[row.learnt].append(text)
    parts = [
        f"{word[0].upper()}{word[1:]}:\n" + "\n".join(lines[word])
        for word in (learnt.LEARNT, learnt.HARDLY)
        if lines[word]
    ]
    if lines[learnt.NOT]:
        parts.append(f"Not learnt from this log: {', '.join(lines[learnt.NOT])}.")
    return [*parts, f"Rule: {learnt.RULE}."]


def _forms(fit: Fit) -> list[str]:
    lines = [
        f"  {labels.label(key)}: " + ", ".join(
            f"{row.form} {percent(row.after)} (before {percent(row.before)}, error "
            f"{percent(row.error)})"
            for row in rows.itertuples()
        )
        for key, rows in fit.structures.groupby("key", sort=False)
    ]  # fmt: skip
    return ["Structures, share of the colonies that count:\n" + "\n".join(lines)] if lines else []


def _together(fit: Fit) -> list[str]:
    if not fit.together:
        return []
    pairs = []
    for first, second, r in fit.together[:3]:
        way = (
            "a higher one goes with a higher other" if r > 0 else "a higher one with a lower other"
        )
        pairs.append(f"{first} and {second} ({way}, correlation {number(abs(r))})")
    return ["Known better together than each alone: " + "; ".join(pairs) + "."]


def fits_log(fit: Fit) -> str:
    """Whether a possible colony can have written this log."""
    table = fit.predictive
    inside, total = int(table["inside"].sum()), len(table)
    text = (
        f"The log against colonies of the fit: {inside} of {total} numbers lie within their 90 % "
        f"interval (some {round(0.9 * total)} on average); "
    )
    if fit.misfit is None:
        return f"{text}too little is counted to tell whether a possible colony can have written it."
    if not fit.misfit.doubtful:
        return f"{text}of the logs of possible colonies {percent(fit.p)} are as odd as this one."
    return (
        f"{text}of the logs of possible colonies at most {percent(fit.p)} are as odd as this one: "
        "do not trust the values. Look for a slip of the pen, at temperature and handling in the "
        "experiment file, and at what the model leaves out (disease, mites, other feed)."
    )


def _odd(fit: Fit) -> list[str]:
    if fit.misfit is None or not fit.misfit.doubtful:
        return []
    parts = [
        f"Bin {use.bin} sticks out from {use.since} to {use.until}." for use in fit.misfit.strange
    ]
    table = fit.predictive[~fit.predictive["inside"]].copy()
    if len(table):
        table["far"] = [_far(row) for row in table.itertuples()]
        worst = table.sort_values("far", ascending=False, kind="stable").head(_NAMED)
        lines = [
            f"  row {r.row}, {r.date}, bin {r.bin}, {r.action}{_stage(r)}: {number(r.written)} "
            f"{r.unit}, expected {Estimate(r.written, r.low_90, r.high_90).limits}"
            for r in worst.itertuples()
        ]
        parts.append("Farthest from what was expected:\n" + "\n".join(lines))
    return parts


def _stage(row: Any) -> str:
    """The stage of a row, where its action does not tell it."""
    return "" if "beetles" in row.action or "pupae" in row.action else f" {row.stage}"


def _far(row: Any) -> float:
    edge = row.low_90 if row.written < row.low_90 else row.high_90
    return abs(math.log((row.written + 1) / (edge + 1)))


def trust(table: pd.DataFrame) -> str:
    """What was found where possible colonies' own logs were fitted."""
    logs = int(table["logs"].iloc[0])
    spans = [
        f"{level} % intervals held the true value in {100 * table[f'covered_{level}'].mean():.0f} %"
        for level in ("50", "90")
    ]
    text = f"Put to the test on {logs} logs whose values are known: {listed(spans)}"
    failed = table[~table["passed"]]
    if failed.empty:
        return f"{text}; for each of {len(table)} values as often as chance allows."
    shown = listed((labels.label(key) for key in failed["key"]), 3)
    return (
        f"{text}. Of {len(table)} values beyond what chance allows for {shown}: take their "
        "intervals as rough."
    )


def _open(fit: Fit) -> list[str]:
    if (fit.learnt["learnt"] == learnt.NOT).all():
        return [
            "Nothing was learnt: counts of beetles at moves, weights of harvests, and samples of "
            "50 larvae weighed together tell most."
        ]
    return []


def _caveat(fit: Fit) -> str:
    return (
        "The rack, its rules and its temperature are those of the experiment file or of "
        "parameters.toml: what is wrong there, the fitted values take up. A statement about one "
        "colony and this log."
    )
