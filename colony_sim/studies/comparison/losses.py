"""Adult losses by policy: every run, and the paired differences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from colony_sim.figures import policy_rows, style
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison.ranking import Words, fewest, paired_in_words
from colony_sim.studies.comparison.results import CAUSES, LOSS, Results, footer, runs_in_words, span
from colony_sim.words.estimate import dashed, limits, number
from colony_sim.words.finding import difference
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

UNIT = "per 100 beetles a day"
WORDS = Words(LOSS, "losses of beetles", "loses", "beetles", "per 100 a day")


def slide(results: Results) -> Slide:
    """Losses of beetles under each policy, as distributions over runs."""
    title = fitting(lambda most: _title(results, most), results.policies)
    means = _means_in_words(results)
    said = (
        means, _causes_in_words(results), paired_in_words(results.differences, LOSS, UNIT)
    )  # fmt: skip
    return Slide(
        name="losses",
        title=title,
        say=f"{title}. {means} {_causes_in_words(results)}".strip(),
        caveat="Dead of age, of background causes or in handling, over all beetles of the "
        "colony; beetles removed as surplus are not losses. A difference that is separated from 0 "
        "can still be too small to matter. A statement about the model.",
        alt=" ".join(part for part in ("One row a policy, a dot for each run.", *said) if part),
        data=_data(results),
        paint=lambda: _figure(results, title),
        runs=runs_in_words(results),
    )


def _title(results: Results, most: int) -> str:
    text = fewest(WORDS, results.policies, results.summary, results.all_differences, most)
    return f"{text}{_of_age(results)}"


def _of_age(results: Results) -> str:
    """That most of a difference is old age, where it is: longer stays lose more to it, no harm."""
    if len(results.policies) != 2:
        return ""
    table = results.all_differences
    whole, age = (
        difference(table, key, *results.policies) for key in (LOSS, CAUSES["age"])
    )  # fmt: skip
    if not separated(whole) or not age["difference"] / whole["difference"] >= 0.5:
        return ""
    return "; most of the gap is old age"


def _means_in_words(results: Results) -> str:
    parts = []
    for policy in results.policies:
        row = results.of(policy, LOSS)
        if math.isfinite(row["mean"]):
            interval = f" ({dashed(limits(row))})" if math.isfinite(row["low"]) else ""
            parts.append(f"{number(row['mean'])} under “{policy}”{interval}")
        else:
            parts.append(f"no run with beetles under “{policy}”")
    return f"Losses {UNIT}: {'; '.join(parts)}."


def _causes_in_words(results: Results) -> str:
    parts = []
    for policy in results.policies:
        values = {c: results.of(policy, key)["mean"] for c, key in CAUSES.items()}
        if all(math.isfinite(value) for value in values.values()):
            listed = ", ".join(f"{cause} {number(value)}" for cause, value in values.items())
            parts.append(f"under “{policy}” {listed}")
    return f"By cause: {'; '.join(parts)}." if parts else ""


def _data(results: Results) -> pd.DataFrame:
    """Each run's losses by cause, and its difference from the baseline's run of that seed."""
    columns = ["policy", "seed", "status", LOSS, *CAUSES.values()]
    found = results.runs[[name for name in columns if name in results.runs]].copy()
    base = found["seed"].map(results.values(results.policies[0], LOSS))
    found["difference_from_baseline_per_100_per_day"] = found[LOSS] - base
    here = found["policy"] == results.policies[0]
    found.loc[here, "difference_from_baseline_per_100_per_day"] = np.nan
    return found.reset_index(drop=True)


def _figure(results: Results, title: str) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    footer(figure, results)
    labels, widest = policy_rows.names(figure, results.policies)
    left, gap, low = 0.35 + widest + 0.45, 0.7, 1.35
    width = (style.WIDTH - 0.4 - left - gap) / 2
    panels = [
        style.axes(figure, left + i * (width + gap), low, width, top - 0.8 - low) for i in (0, 1)
    ]
    policy_rows.lay(panels, labels)
    _each(panels[0], results)
    _pairs(panels[1], results)
    return figure


def _each(axes: Axes, results: Results) -> None:
    counts = []
    for i, policy in enumerate(results.policies):
        row, values = results.of(policy, LOSS), results.values(policy, LOSS).to_numpy()
        counts.append(len(values))
        if len(values):
            policy_rows.dots(axes, values, row, "mean", i, box=True)
        elif row["n_died_out"] == row["n_runs"]:
            style.note(axes, 0.02, i, f"died out in all {row['n_runs']} runs")
        else:
            style.note(axes, 0.02, i, "no value")
    counts = sorted(set(counts))
    style.heading(
        axes, "a", "Losses of beetles", f"dot = run, {span(counts)} a policy; box = middle half"
    )
    style.finish(axes, UNIT, bool(counts[-1]))
    if counts[-1]:
        style.from_zero(axes)


def _pairs(axes: Axes, results: Results) -> None:
    table = results.differences[results.differences["measure"] == LOSS].set_index("policy")
    base = results.values(results.policies[0], LOSS)
    axes.axvline(0, color=style.QUIET, linewidth=1.6, zorder=1)
    counts = {}
    for i, policy in enumerate(results.policies[1:], start=1):
        values = (results.values(policy, LOSS) - base).dropna().to_numpy()
        counts[i] = len(values)
        if len(values):
            policy_rows.dots(axes, values, table.loc[policy], "difference", i, box=True)
    seen = sorted(set(counts.values())) or [0]
    noun = "pair" if seen == [1] else "pairs"
    text = f"dot = pair, {span(seen)} {noun}; | | = 95 % interval"
    style.heading(axes, "b", f"Minus “{shortened(results.policies[0], 24)}”", text)
    style.finish(axes, UNIT, seen[-1] > 0)
    policy_rows.beside_zero(
        axes, {0: "set against", **{i: "no pairs" for i, n in counts.items() if not n}}
    )
