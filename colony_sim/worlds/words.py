"""What the worlds say, on one screen."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.evidence.numbers import Standing
from colony_sim.words.estimate import percent
from colony_sim.words.labels import shortened
from colony_sim.worlds.agreement import NARROWED
from colony_sim.worlds.predictions import SEEN
from colony_sim.worlds.reliability import ALL, NONE
from colony_sim.worlds.remake import Remade
from colony_sim.worlds.shipped import current

#: Values and pairs named one by one.
_VALUES, _PAIRS = 2, 2
#: Characters of a label.
_LABEL = 38
#: Groups of the calibration on its first line.
_FIRST = 3
#: A value that narrowed by less is as open as before.
_OPEN = 0.05


def headline(remade: Remade) -> str:
    """The answer, in one sentence."""
    judged = _of(remade.tables["numbers"], Standing.JUDGED)
    inside = int(judged["inside"].sum())
    return (
        f"{len(remade.worlds.draws):,} possible colonies fit the published experiments; {inside} "
        f"of {len(judged)} numbers held back ({percent(inside / len(judged))}) lie in their 90 % "
        "ranges."
    )


def lines(remade: Remade) -> list[str]:
    """What the worlds agree on, what not, and how far to trust them."""
    tables = remade.tables
    used = _of(tables["numbers"], Standing.USED)
    found = [
        headline(remade),
        f"Fitted to {len(used)} numbers, of which {int(used['inside'].sum())} lie in theirs.",
        "",
        *_values(tables["values"]),
        *_structures(tables["structures"]),
        *_ties(tables["ties"]),
        "",
        "What a keeper sees in 90 % of the possible colonies, each with a strain of its own:",
        *(f"  {_seen(row)}" for row in tables["seen"].to_dict("records")),
    ]
    if "held" in tables:
        found += _calibration(tables)
    if "reliability" in tables:
        found += _reliability(tables["reliability"])
    found += _facts(remade)
    if not current(remade):
        found.append("Out of date: formulas or values have changed; colony-sim worlds --remake.")
    return found


def plain(remade: Remade) -> list[str]:
    """The screen below the headline: what a keeper sees, then what is known and what is open."""
    tables = remade.tables
    found = [
        "What a keeper sees in 90 % of them, each with a strain of its own:",
        *(f"  {_seen(row)}" for row in tables["seen"].to_dict("records")),
    ]
    if not current(remade):
        found.append("Out of date: formulas or values have changed; colony-sim worlds --remake.")
    if "verdicts" in tables:
        found.append(f"{reliable(tables)}.")
    return [
        *found, *_values(tables["values"]), *_structures(tables["structures"]),
        *_ties(tables["ties"]),
    ]  # fmt: skip


def _of(numbers: pd.DataFrame, standing: Standing) -> pd.DataFrame:
    return numbers[numbers["standing"] == str(standing)]


def _values(values: pd.DataFrame) -> list[str]:
    own = values[~values["key"].str.startswith("spread.")]
    narrowed = own[own["narrowed"] >= NARROWED]
    return [
        f"Of {len(own)} values {len(narrowed)} narrowed by {percent(NARROWED)} or more, "
        f"{int((own['narrowed'] < _OPEN).sum())} are as open as before. Most narrowed:",
        *(
            f"  {_label(row['key'])}: {row['low']:.3g} to {row['high']:.3g} {row['unit']} "
            f"(range {row['range_low']:.3g} to {row['range_high']:.3g})"
            for row in narrowed.head(_VALUES).to_dict("records")
        ),
    ]


def _label(key: str) -> str:
    label = catalogue()[key].label if key in catalogue() else key.replace("spread.", "spread of ")
    return shortened(label, _LABEL)


def _structures(structures: pd.DataFrame) -> list[str]:
    """A line a structure: each option with its weight and error in percent."""
    found = []
    for key, rows in structures.groupby("key", sort=False):
        options = rows.sort_values("weight", ascending=False).to_dict("records")
        weights = ", ".join(
            f"{str(row['option']).lower().replace('_', ' ')} {100 * row['weight']:.0f} ± "
            f"{100 * row['weight_error']:.0f}"
            for row in options
        )
        found.append(f"{_label(str(key)).capitalize()}, %: {weights}.")
    return found


def _ties(ties: pd.DataFrame) -> list[str]:
    if not len(ties):
        return ["No two values are tied."]
    named = "; ".join(
        f"{_label(row['first'])} with {_label(row['second'])} ({row['correlation']:+.2f})"
        for row in ties.head(_PAIRS).to_dict("records")
    )
    return [f"Tied pairs of values: {len(ties)}. {named}."]


def _seen(row: dict[str, Any]) -> str:
    text = f"{SEEN[row['what']][0]}: {row['low']:.3g} to {row['high']:.3g} {row['unit']}"
    text += f", middle {row['middle']:.3g}"
    if row["low"] < 0.0:
        text += f"; above 0 in {percent(row['above'])} of {row['worlds']}"
    return text


def _calibration(tables: dict[str, pd.DataFrame]) -> list[str]:
    held = tables["held"]
    parts = []
    for group, rows in held.groupby("group", sort=False):
        share = dict(zip(rows["level"], rows["held"], strict=True))
        name = str(group).replace("_", " ")
        parts.append(f"{name} {100 * share[0.5]:.0f} and {100 * share[0.9]:.0f}")
    count = int(held["literatures"].max())
    found = [f"Truths that 50 and 90 % ranges from {count} made-up literatures hold, %:"]
    found += [f"  {'; '.join(some)}" for some in (parts[:_FIRST], parts[_FIRST:]) if some]
    parts = []
    for key, rows in tables["power"].groupby("key", sort=False):
        shares = (100.0 * rows["noticed"]).round().astype(int)
        ends = map(str, sorted({shares.min(), shares.max()}))
        parts.append(f"{str(key).replace('.', ' ')} {' to '.join(ends)}")
    found.append(f"Noticed, %, if left out: {', '.join(parts)}.")
    return found


def reliable(tables: dict[str, pd.DataFrame]) -> str:
    """Whether verdicts come true as often as they say, in one sentence."""
    scores = tables["verdicts"]
    own = scores[(scores["without"] == NONE) & (scores["decision"] == ALL)].iloc[0]
    said, came = percent(float(own["p"])), percent(float(own["came"]))
    low, high = own["slope"] - 2.0 * own["slope_error"], own["slope"] + 2.0 * own["slope_error"]
    if high < 1.0:
        judged = "Verdicts after made-up literatures are too sure"
    elif low > 1.0:
        judged = "Verdicts after made-up literatures could be surer than they are"
    else:
        judged = "Verdicts after made-up literatures come true about as often as they say"
    return f"{judged}: {said} said and {came} come true over {int(own['verdicts'])} of them"


def _reliability(bins: pd.DataFrame) -> list[str]:
    """Said and came true, by bins: fits with all structures, and those that lack the truth's."""
    every = bins[bins["decision"] == ALL]
    found = []
    for name, rows in (
        ("Verdicts given a probability, % said and come true", every[every["without"] == NONE]),
        ("  made by a structure that the fit lacks", every[every["without"] != NONE]),
    ):
        parts = []
        for _, some in rows.groupby("low"):
            said, came = (
                np.average(some[what], weights=some["verdicts"]) for what in ("p", "came")
            )
            parts.append(f"{100 * said:.0f} and {100 * came:.0f}")
        if parts:
            found.append(f"{name}: {'; '.join(parts)}.")
    return found


def _facts(remade: Remade) -> list[str]:
    facts = remade.worlds.facts
    cost = ""
    if "core_minutes" in facts:
        cost = f" ({facts['core_minutes']} core minutes, {facts['memory_mb']} MB)"
    found = [
        f"Made of {facts['rows']} + {facts['wave']} lived draws, seed {facts['seed']}"
        f"{cost}; worth {facts['effective_size']} independent ones."
    ]
    if "repeat" in remade.tables:
        apart = remade.tables["repeat"]["apart"]
        found.append(
            f"Made again with another seed, {percent(float((apart.abs() <= 2.0).mean()))} of "
            "quantiles agree within two standard errors."
        )
    if "less_probable_made_up" in facts:
        share = float(facts["less_probable_made_up"])
        found.append(f"{percent(share)} of made-up literatures are less probable than the real.")
    return found
