"""What the worlds say, on one screen."""

from __future__ import annotations

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.evidence.numbers import Standing
from colony_sim.worlds.agreement import NARROWED
from colony_sim.worlds.remake import Remade
from colony_sim.worlds.shipped import current

#: Values, pairs and numbers named one by one.
_NAMED = 5


def headline(remade: Remade) -> str:
    """The answer, in one sentence."""
    judged = _of(remade.tables["numbers"], Standing.JUDGED)
    inside = int(judged["inside"].sum())
    return (
        f"{len(remade.worlds.draws):,} worlds agree with the published experiments: {inside} of "
        f"{len(judged)} numbers that they were not fitted to ({_percent(inside / len(judged))}) "
        "lie where 90 % of them should."
    )


def lines(remade: Remade) -> list[str]:
    """At most 25 lines: what the worlds agree on, what not, and how far to trust them."""
    tables = remade.tables
    found = [headline(remade), ""]
    used = _of(tables["numbers"], Standing.USED)
    inside = int(used["inside"].sum())
    found.append(f"Fitted to: {inside} of {len(used)} numbers lie within their 90 % range.")
    found += [*_values(tables["values"]), *_structures(tables["structures"])]
    if len(tables["ties"]):
        found.append(f"Tied: {_ties(tables['ties'])}")
    found += ["", "What a keeper sees in 90 % of the worlds (each a strain of its own)"]
    found += [f"  {_seen(row)}" for row in tables["seen"].to_dict("records")]
    if "held" in tables:
        found += ["", *_calibration(tables)]
    found += ["", *_facts(remade)]
    if not current(remade):
        found.append(
            "Out of date: formulas, values or replications have changed since; make them again "
            "with colony-sim worlds --remake."
        )
    return found


def _of(numbers: pd.DataFrame, standing: Standing) -> pd.DataFrame:
    return numbers[numbers["standing"] == str(standing)]


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _values(values: pd.DataFrame) -> list[str]:
    own = values[~values["key"].str.startswith("spread.")]
    narrowed = own[own["narrowed"] >= NARROWED]
    named = "; ".join(
        f"{_label(row['key'])} {row['low']:.3g} to {row['high']:.3g} of "
        f"{row['range_low']:.3g} to {row['range_high']:.3g} {row['unit']}".rstrip()
        for row in narrowed.head(_NAMED).to_dict("records")
    )
    return [
        f"Narrowed by {_percent(NARROWED)} or more: {len(narrowed)} of {len(own)} values. "
        f"Most: {named}.",
        f"As open as before (by less than 5 %): {int((own['narrowed'] < 0.05).sum())} values.",
    ]


def _label(key: str) -> str:
    return catalogue()[key].label if key in catalogue() else key.replace("spread.", "spread of ")


def _structures(structures: pd.DataFrame) -> list[str]:
    found = []
    for key, rows in structures.groupby("key", sort=False):
        weights = ", ".join(
            f"{row['option'].replace('_', ' ')} {100 * row['weight']:.0f} "
            f"({100 * row['weight_error']:.0f})"
            for row in rows.sort_values("weight", ascending=False).to_dict("records")
        )
        found.append(f"{_label(str(key)).capitalize()}, % (error): {weights}.")
    return found


def _ties(ties: pd.DataFrame) -> str:
    named = "; ".join(
        f"{_label(row['first'])} with {_label(row['second'])} {row['correlation']:+.2f}"
        for row in ties.head(3).to_dict("records")
    )
    more = len(ties) - 3
    return f"{named}{f'; {more} pairs more' if more > 0 else ''}."


def _seen(row: dict[str, object]) -> str:
    text = f"{row['what']}: {row['low']:.3g} to {row['high']:.3g} {row['unit']}"
    text += f", middle {row['middle']:.3g}"
    if float(str(row["low"])) < 0.0:
        text += f"; above nought in {_percent(float(str(row['above'])))} of {row['worlds']} worlds"
    return text


def _calibration(tables: dict[str, pd.DataFrame]) -> list[str]:
    held = tables["held"]
    parts = []
    for group, rows in held.groupby("group", sort=False):
        by_level = {row["level"]: row for row in rows.to_dict("records")}
        half, most = (by_level[level] for level in (0.5, 0.9))
        parts.append(f"{group} {100 * half['held']:.0f} and {100 * most['held']:.0f}")
    count = int(held["literatures"].max())
    told = "; ".join(
        f"{row['option'].replace('_', ' ')} {_percent(row['noticed'])}"
        for row in tables["power"].to_dict("records")
    )
    return [
        f"Truths of {count} made-up literatures that 50 and 90 % ranges hold, %: "
        f"{'; '.join(parts)}.",
        f"A growth law that the fit lacks is noticed (5 % false alarms): {told}.",
    ]


def _facts(remade: Remade) -> list[str]:
    facts = remade.worlds.facts
    cost = "core_minutes" in facts and (
        f" ({facts['core_minutes']} minutes of one core, {facts['memory_mb']} MB)"
    )
    found = [
        f"{facts['rows']} and {facts['wave']} sets of values lived through all experiments, seed "
        f"{facts['seed']}{cost or ''}; worth {facts['effective_size']} independent worlds."
    ]
    if "repeat" in remade.tables:
        apart = remade.tables["repeat"]["apart"]
        found.append(
            f"Made again with another seed, {_percent(float((apart.abs() <= 2.0).mean()))} of "
            "quantiles agree within two standard errors of their difference."
        )
    if "less_probable_made_up" in facts:
        found.append(
            f"{_percent(float(facts['less_probable_made_up']))} of made-up literatures are less "
            "probable than the real one."
        )
    return found
