"""Where every egg went: an account per 100 eggs laid, one column a policy."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from colony_sim.figures import style
from colony_sim.figures.slide import Slide, says_only
from colony_sim.figures.titles import fitting
from colony_sim.statistics.paired import all_paired_differences, policy_summary, separated
from colony_sim.studies.comparison.egg_ledger import FATES, STOCK, egg_ledgers
from colony_sim.studies.comparison.results import Results, footer, runs_in_words
from colony_sim.words.estimate import dashed, limits, number, signed
from colony_sim.words.finding import difference
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAMES = {
    "egg_eaten_by_beetles": "Egg eaten by beetles",
    "egg_eaten_by_larvae": "Egg eaten by larvae",
    "egg_unhatched": "Egg did not hatch",
    "egg_lost_in_handling": "Egg lost in handling",
    "larva_died": "Larva died",
    "larva_harvested": "Larva harvested",
    "pupa_eaten": "Pupa eaten",
    "pupa_died_or_lost": "Pupa died or lost",
    "beetle_emerged": "Beetle emerged",
    STOCK: "Change of number alive",
}
_ENDS = {
    "egg_eaten_by_beetles": "eaten by beetles",
    "egg_eaten_by_larvae": "eaten by larvae",
    "egg_unhatched": "not hatched",
    "egg_lost_in_handling": "lost in handling",
    "larva_died": "dead as larvae",
    "larva_harvested": "harvested as larvae",
    "pupa_eaten": "eaten as pupae",
    "pupa_died_or_lost": "dead as pupae",
    "beetle_emerged": "grown up to beetles",
}
_KEPT = ("larva_harvested", "beetle_emerged")
EATEN, LOST = "#37424e", "#8793a1"
UNIT = "of 100 eggs laid"


def slide(results: Results, folder: Path) -> Slide:
    """The account of the eggs of all runs, from their stored daily series."""
    table = egg_ledgers(folder, results.manifest, results.runs)
    keys = [*FATES, STOCK]
    summary = policy_summary(table, measures=keys)
    differences = all_paired_differences(table, measures=keys)
    known = [p for p in results.policies if math.isfinite(_row(summary, p, STOCK)["mean"])]
    name, runs = "egg_fates", runs_in_words(results)
    if not known:
        why = "No account of the eggs: in no run that is kept were eggs laid in the days measured"
        return says_only(name, why, lambda figure: footer(figure, results), runs)
    largest = _largest(summary, known)
    title = fitting(lambda most: _title(results, summary, differences, known, largest, most), known)
    return Slide(
        name=name,
        title=title,
        say=f"{title}. {_kept_in_words(summary, known)}",
        caveat="Means over the runs in which eggs were laid in the days measured. Eggs laid "
        "before these days end in them and eggs laid at their end are still alive; the last row "
        "closes the account. How many eggs a beetle eats has never been measured well in this "
        "species.",
        alt=f"One column a policy, one bar an end of an egg, per 100 eggs laid. "
        f"{_all_in_words(summary, known)}",
        data=summary.drop(columns="measure").assign(
            end=summary["measure"], unit="eggs per 100 eggs laid"
        )[["policy", "end", "unit", "n_runs", "n_used", "mean", "low", "high", "level"]],
        paint=lambda: _figure(results, summary, known, title),
        runs=runs,
    )


def _row(summary: pd.DataFrame, policy: str, fate: str) -> pd.Series:
    rows = summary
    return rows[(rows["policy"] == policy) & (rows["measure"] == fate)].iloc[0]


def _largest(summary: pd.DataFrame, known: list[str]) -> str:
    """The end of most eggs under the first policy."""
    rows = summary[(summary["policy"] == known[0]) & summary["measure"].isin(list(FATES))]
    return rows.set_index("measure")["mean"].idxmax()


def _title(
    results: Results,
    summary: pd.DataFrame,
    differences: pd.DataFrame,
    known: list[str],
    fate: str,
    most: int,
) -> str:
    rows = [_row(summary, policy, fate) for policy in known]
    quoted = [f"“{shortened(policy, most)}”" for policy in known]
    end = _ENDS[fate]
    if all(row["low"] > 50 for row in rows):
        start = f"Most eggs laid are {end}"
    elif _ahead(summary, known, fate):
        start = f"More eggs laid are {end} than come to any other end"
    else:
        start = f"Eggs laid that are {end}"
    values = [number(row["mean"]) for row in rows]
    if len(known) > 2:
        order = sorted(rows, key=lambda row: row["mean"])
        low, high = number(order[0]["mean"]), number(order[-1]["mean"])
        return f"{start}: {low} to {high} of 100, by policy"
    parts = [f"{value} of 100 under {name}" for value, name in zip(values, quoted, strict=True)]
    text = f"{start}: {parts[0]}"
    if len(known) == 1:
        return text
    text = f"{text}; {values[1]} under {quoted[1]}"
    row = difference(differences, fate, known[1], known[0])
    if row["n_pairs"] < 2:
        return text
    if separated(row):
        return f"{text} ({signed(row['difference'])}, {dashed(limits(row))})"
    return f"{text}, which the runs do not separate"


def _ahead(summary: pd.DataFrame, known: list[str], fate: str) -> bool:
    """Whether this end's interval lies above those of all others under every policy."""
    others = [other for other in FATES if other != fate]
    return all(
        _row(summary, policy, fate)["low"] > max(_row(summary, policy, o)["high"] for o in others)
        for policy in known
    )


def _kept_in_words(summary: pd.DataFrame, known: list[str]) -> str:
    parts = [
        f"under “{policy}” {number(_row(summary, policy, _KEPT[0])['mean'])} are harvested and "
        f"{number(_row(summary, policy, _KEPT[1])['mean'])} become beetles"
        for policy in known
    ]
    return f"Of 100 eggs laid, {'; '.join(parts)}."


def _all_in_words(summary: pd.DataFrame, known: list[str]) -> str:
    parts = []
    for policy in known:
        values = [
            f"{NAMES[fate].lower()} {dashed(number(_row(summary, policy, fate)['mean']))}"
            for fate in NAMES
        ]
        parts.append(f"Under “{policy}”: {', '.join(values)}.")
    return " ".join(parts)


def _figure(results: Results, summary: pd.DataFrame, known: list[str], title: str) -> Figure:
    figure = style.new_figure()
    top = style.headed(figure, title)
    footer(figure, results)
    names = max(style.text_width(figure, text, style.BODY) for text in NAMES.values())
    left, gap, low = 0.35 + names + 0.25, 0.45, 1.3
    width = (style.WIDTH - 0.45 - left + gap) / len(known) - gap
    characters = int((width - 0.3) / 0.135)
    lines = 1 if max(map(len, known)) <= characters else 2 if len(known) < 4 else 3
    heads = style.labels(known, lines, characters)
    high = top - 0.55 - lines * 0.27
    figure.text(
        0.4 / style.WIDTH,
        (top - 0.15) / style.HEIGHT,
        "Each bar starts where the one above ends.  Dark: eaten.  Grey: other losses.  "
        "Colour: what the keeper has of it.",
        color=style.QUIET,
        va="top",
    )
    ends = {policy: _stairs(summary, policy) for policy in known}
    most = max(max(start, end) for stairs in ends.values() for start, end in stairs.values())
    for i, policy in enumerate(known):
        axes = style.axes(figure, left + i * (width + gap), low, width, high - low)
        axes.set(xlim=(0, max(most, 100) * 1.02), ylim=(len(NAMES) - 0.5, -0.5), xlabel=UNIT)
        axes.set_xticks([0, 50, 100] if most < 150 else [0, 100, 100 * int(most / 100)])
        axes.set_yticks(range(len(NAMES)), labels=list(NAMES.values()) if i == 0 else [""] * 10)
        place = results.index(policy)
        _bars(axes, ends[policy], style.colour(place), width)
        axes.annotate(
            heads[i],
            (0, 1),
            (20, 8),
            xycoords="axes fraction",
            textcoords="offset points",
            weight="bold",
            linespacing=1.05,
        )
        axes.plot(
            6 / 72 / width,
            1 + 14 / 72 / (high - low),
            style.marker(place),
            color=style.colour(place),
            markersize=11,
            transform=axes.transAxes,
            clip_on=False,
        )
    return figure


def _stairs(summary: pd.DataFrame, policy: str) -> dict[str, tuple[float, float]]:
    """Start and end of each bar."""
    found, start = {}, 0.0
    for fate in NAMES:
        end = start + float(_row(summary, policy, fate)["mean"])
        found[fate] = (start, end)
        start = end
    return found


def _bars(axes: Axes, stairs: dict[str, tuple[float, float]], colour: str, width: float) -> None:
    scale = axes.get_xlim()[1]
    for i, (fate, (start, end)) in enumerate(stairs.items()):
        if i:
            axes.plot([start, start], [i - 0.7, i + 0.3], color=style.FAINT, linewidth=1, zorder=0)
        fill = colour if fate in _KEPT else EATEN if "eaten" in fate else LOST
        stock = fate == STOCK
        axes.barh(
            i,
            end - start,
            left=start,
            height=0.6,
            color="white" if stock else fill,
            edgecolor=style.QUIET if stock else fill,
            hatch="////" if stock else None,
            linewidth=1.2,
        )
        text = _value(end - start, stock)
        low, high = sorted((start, end))
        room = 0.72 / width * scale
        if high - low > room and not stock:
            axes.text((low + high) / 2, i, text, color="white", ha="center", va="center")
        elif scale - high > room:
            axes.annotate(text, (high, i), (5, 0), textcoords="offset points", va="center")
        else:
            axes.annotate(text, (low, i), (-5, 0), textcoords="offset points", va="center",
                          ha="right")  # fmt: skip


def _value(value: float, sign: bool) -> str:
    """At most two decimals: a hundredth of an egg in a hundred is enough on a slide."""
    if 0 < abs(value) < 0.005:
        return "−<0.01" if value < 0 else "<0.01"
    text = number(value) if abs(value) >= 1 else f"{value:.2f}" if value else "0"
    return dashed(f"+{text}" if sign and value > 0 else text)
