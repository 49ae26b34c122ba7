"""What a fit found, in words: what was learnt, what was not, and how far to trust it."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.fitting import calibration, learnt, predictive
from colony_sim.fitting.fit import Fit
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, number
from colony_sim.words.estimate import percent as whole_percent

#: Numbers outside their interval that are named one by one.
_NAMED = 5


def details(fit: Fit) -> str:
    """What was found, but for the headline."""
    parts = [_log(fit), *_values(fit), *_together(fit), fits_log(fit)]
    parts += [*_odd(fit), trust(fit.calibration), *_open(fit), _caveat(fit)]
    return "\n\n".join(part for part in parts if part)


def headline(table: pd.DataFrame) -> str:
    """How many values the log tells, in one sentence."""
    known = [row.key for row in table.itertuples() if row.learnt == learnt.LEARNT]
    total = len(table)
    if not known:
        return f"The log narrows none of {total} values of the biology to half its plausible range"
    known = [labels.label(key) for key in known]
    named = f": {listed(known)}" if len(known) <= 2 else ""
    return f"The log narrows {len(known)} of {total} values to half their plausible range{named}"


def plain(fit: Fit) -> list[str]:
    """The screen below the headline: what was learnt, how far to trust it, what to measure."""
    found = [f"{fits_log(fit)}"]
    for row in fit.learnt.itertuples():
        if row.learnt == learnt.NOT:
            continue
        unit = f" {row.unit}" if row.unit not in ("", "number", "share", "ratio") else ""
        before = Estimate(row.median, row.before_low, row.before_high).limits
        found.append(
            f"- {row.learnt}: {labels.label(row.key)} {number(row.median)}{unit}, 90 % interval "
            f"{interval(row)} (before {before})"
        )
    found += _open(fit)
    for row in fit.learnt[fit.learnt["learnt"] != learnt.LEARNT].itertuples():
        found.append(f"- to measure {labels.label(row.key)}: {catalogue()[row.key].measure}.")
    return [*found, trust(fit.calibration)]


def listed(names: list[str]) -> str:
    """Names with commas and an "and"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def interval(row: Any, level: str = "90") -> str:
    """A row's interval, its unit left out."""
    low, high = getattr(row, f"low_{level}"), getattr(row, f"high_{level}")
    return Estimate(row.median, low, high).limits


def percent(share: float) -> str:
    """A share in percent, two digits where it is small."""
    return whole_percent(share) if share >= 0.095 else f"{100 * share:.2g} %"


def _span(values: pd.Series) -> str:
    low, high = f"{values.min():.0f}", f"{values.max():.0f}"
    return low if low == high else f"{low} to {high}"


def _log(fit: Fit) -> str:
    schedule = fit.schedule
    first = schedule.start
    lines = [
        f"Log {fit.logbook.path.name}: {len(fit.logbook.entries)} rows over {schedule.days} days "
        f"from {first}, {len(schedule.bins)} bin{'s' * (len(schedule.bins) != 1)}, "
        f"{len(schedule.observed)} number{'s' * (len(schedule.observed) != 1)} to learn from; "
        f"{fit.simulations} simulated logs under the same schedule."
    ]
    lines += [f"Note: {note}." for note in schedule.notes]
    return "\n".join(lines)


def _values(fit: Fit) -> list[str]:
    lines: dict[str, list[str]] = {learnt.LEARNT: [], learnt.HARDLY: [], learnt.NOT: []}
    for row in fit.learnt.itertuples():
        unit = f" {row.unit}" if row.unit not in ("", "number", "share", "ratio") else ""
        text = (
            f"  {row.key}: {number(row.median)}{unit}, 90 % interval {interval(row)} "
            f"(before {Estimate(row.median, row.before_low, row.before_high).limits})"
        )
        if row.learnt != learnt.LEARNT:
            text += f"\n      to measure it: {catalogue()[row.key].measure}"
        lines[row.learnt].append(text)
    heads = {
        learnt.LEARNT: "Learnt",
        learnt.HARDLY: "Hardly learnt",
        learnt.NOT: "Not learnt from this log (the values are those from before)",
    }
    parts = [f"{heads[w]}:\n" + "\n".join(found) for w, found in lines.items() if found]
    return [*parts, f"Rule: {learnt.RULE}."]


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
    """Whether the fitted model can have given this log."""
    table = fit.predictive
    inside, total = int(table["inside"].sum()), len(table)
    text = (
        f"The log against the fitted model: {inside} of {total} numbers lie within their 90 % "
        f"interval (some {round(0.9 * total)} on average); "
    )
    share = percent(fit.plausible_after)
    if fit.plausible_after >= predictive.DOUBT:
        text += f"of the logs that the fitted model gives, {share} lie at least as far out."
        return text
    return (
        f"{text}of the logs that the fitted model gives, at most {share} lie as far out as this "
        "one. The model does not reproduce this log: do not trust the values. Look at the numbers "
        "below for a slip of the pen, at temperature and handling in the experiment file, and at "
        "what the model leaves out (disease, mites, other feed)."
    )


def _odd(fit: Fit) -> list[str]:
    parts = []
    if fit.plausible_before < predictive.DOUBT:
        parts.append(
            "Before any fit: no plausible values of the biology give logs like this one (at most "
            f"{percent(fit.plausible_before)} of those simulated lie as far out); the fit "
            "is an extrapolation."
        )
    table = fit.predictive[~fit.predictive["inside"]].copy()
    if fit.plausible_after < predictive.DOUBT and len(table):
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
    """What simulation-based calibration found."""
    logs = int(table["logs"].iloc[0])
    spans = [
        f"{level} % intervals held the true value in {_span(100 * table[f'covered_{level}'])} %"
        for level in ("50", "90")
    ]
    text = f"Put to the test on {logs} simulated logs whose values are known: {listed(spans)}, "
    failed = table[~table["passed"]]
    if failed.empty:
        return (
            f"{text}over {len(table)} values; all within what chance allows, and ranks flat "
            f"(false-alarm rate {100 * calibration.FALSE_ALARM:g} % for all checks together)."
        )
    return (
        f"{text}over {len(table)} values. Beyond what chance allows for "
        f"{listed([labels.label(key) for key in failed['key']])}: take their intervals as rough, "
        "or fit with more --simulations."
    )


def _open(fit: Fit) -> list[str]:
    known = fit.learnt[fit.learnt["learnt"] != learnt.NOT]
    if known.empty:
        return [
            "Nothing was learnt: counts of beetles at moves, weights of harvests, and samples of "
            "50 larvae weighed together tell most."
        ]
    return []


def _caveat(fit: Fit) -> str:
    return (
        "All other values of the biology, and the handling, are those of "
        "the experiment file or of parameters.toml: what is wrong there, the fitted values take "
        "up. A statement about one colony and this log."
    )
