"""Response curves of a sweep over one key: each policy, and its difference to the baseline."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.lines import Line2D

from colony_sim.figures import policy_legend, style
from colony_sim.figures.placing import cut
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.studies.origin import Origin
from colony_sim.studies.sweep import titles as sweep_words
from colony_sim.studies.sweep.findings import separated_anywhere
from colony_sim.studies.sweep.scale import Scale
from colony_sim.studies.sweep.stored import APART, StoredSweep
from colony_sim.studies.sweep.titles import Aim
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, limits, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BAND, FAINT = 0.2, 0.35
ROW = 0.31
"""Height of a row of the strip of runs that are told apart (in)."""
SIGNS = {"died_out": "×", "unsettled": "○", "failed": "!"}
_MEANING = {"died_out": "died out", "unsettled": "not steady", "failed": "failed"}


def slide(sweep: StoredSweep, aim: Aim, origin: Origin, tables: StoredSweep) -> Slide:
    """The curves of a measure with what to say of them.

    `sweep` is in the units of the house, `tables` as its folder has it.
    """
    title = _title(sweep, aim)
    return Slide(
        name=f"sweep-{aim.noun.split()[-1]}",
        title=title,
        say=_say(sweep, aim, title),
        caveat=_caveat(sweep, aim),
        alt=_alt(sweep, aim),
        data=data(tables, aim),
        paint=lambda: figure(sweep, aim, title, origin),
        runs=sweep_words.runs(sweep),
    )


def _title(sweep: StoredSweep, aim: Aim) -> str:
    if len(sweep.policies) == 1:
        return sweep_words.level_title(sweep, aim, sweep.policies[0])
    return fitting(lambda most: sweep_words.against(sweep, aim, most), sweep.policies)


def figure(sweep: StoredSweep, aim: Aim, title: str, origin: Origin) -> Figure:
    """Means of runs with bands, runs as dots, and below those not steady, dead or failed."""
    page = style.new_figure()
    top = style.headed(page, title)
    several = len(sweep.policies) > 1
    hollow = Line2D([], [], marker="o", markersize=10, linestyle="", markerfacecolor="white",
                    markeredgecolor=style.INK, markeredgewidth=1.8)  # fmt: skip
    more = [(hollow, "not separated from 0")] if several else []
    names = sweep.policies if several else ()
    top = policy_legend.draw(page, names, top - 0.1, more) - 0.55
    scale = Scale.of(sweep, sweep.keys[0])
    how = "95 % intervals of the means at the values run"
    how = f"Bands: {how}, joined by straight lines" if scale.numeric else f"Bars: {how}"
    foot = origin.foot(
        page,
        f"{how}; the same {sweep_words.per_point(sweep)} seeds at every value. {sweep.keys[0]}.",
        sweep_words.runs(sweep),
        f"{sweep.manifest['experiment']['days']} days",
    )
    rows = _rows_apart(sweep)
    low = foot + 0.75
    strip = ROW * (len(rows) + 1) if rows else 0.0
    left, gap = 1.15, 1.25
    whole = style.WIDTH - 0.45 - left
    width = (whole - gap) / 2 if several else whole
    main = style.axes(page, left, low + strip, width, top - low - strip)
    _responses(main, sweep, aim, scale)
    _head(main, "a", aim.measure.label, "dot = run")
    panels = [main]
    if several:
        pairs = style.axes(page, left + width + gap, low, width, top - low)
        _differences(pairs, sweep, aim, scale)
        base = cut(page, f"Minus “{sweep.policies[0]}”", width - 1.4, style.HEAD)
        _head(pairs, "b", base, "paired")
        panels.append(pairs)
    for panel in panels:
        scale.ticks(panel)
        panel.grid(axis="y", color=style.SHADE, linewidth=1)
        panel.locator_params(axis="y", nbins=6)
        panel.set_xlabel(labels.axis(scale.key))
        panel.set_ylabel(aim.unit)
    style.mark_break(main)
    known = [sweep.summary.loc[sweep.summary["measure"] == aim.key, "mean"]]
    known += [sweep.paired(aim.key)["difference"]] if several else []
    for panel, values in zip(panels, known, strict=True):
        if not values.notna().any():
            panel.set_yticks([])
            panel.text(0.5, 0.5, "no value", transform=panel.transAxes, ha="center",
                       va="bottom", color=style.QUIET)  # fmt: skip
    if rows:
        _strip(style.axes(page, left, low, width, strip), sweep, scale, rows)
        main.tick_params(axis="x", labelbottom=False, length=0)
        main.spines["bottom"].set_visible(False)
        main.set_xlabel("")
    return page


def _head(panel: Axes, letter: str, text: str, below: str) -> None:
    wide = style.text_width(panel.figure, f"{letter}  {text}", style.HEAD, "bold")
    style.heading(panel, letter, text, below, across=wide + 0.2)


def _responses(axes: Axes, sweep: StoredSweep, aim: Aim, scale: Scale) -> None:
    import seaborn as sns

    for i, policy in enumerate(sweep.policies):
        runs = sweep.runs[sweep.runs["policy"] == policy].dropna(subset=[aim.key])
        at = scale.at(sweep.points.loc[runs["point"], scale.key]) + _aside(sweep, scale, i)
        sns.scatterplot(x=at, y=runs[aim.key].to_numpy(), ax=axes, s=34, alpha=FAINT,
                        color=style.POLICY, marker=style.marker(i), linewidth=0,
                        legend=False)  # fmt: skip
        means = sweep.means(aim.key, policy)
        _curve(axes, sweep, scale, means["mean"], means, i)


def _differences(axes: Axes, sweep: StoredSweep, aim: Aim, scale: Scale) -> None:
    table = sweep.paired(aim.key)
    clear = separated_anywhere(table)
    axes.axhline(0, color=style.QUIET, linewidth=1.6, zorder=1)
    for i, policy in enumerate(sweep.policies[1:], start=1):
        here = table["policy"] == policy
        rows = table[here].set_index("point").reindex(sweep.points.index)
        told = clear[here].set_axis(table.loc[here, "point"]).reindex(sweep.points.index)
        _curve(axes, sweep, scale, rows["difference"], rows, i,
               hollow=~told.fillna(False).astype(bool))  # fmt: skip


def _curve(
    axes: Axes, sweep: StoredSweep, scale: Scale, means: pd.Series, rows: pd.DataFrame, i: int,
    hollow: pd.Series | None = None,
) -> None:  # fmt: skip
    """Means with their intervals: a band over numbers, bars over words."""
    import seaborn as sns

    at = scale.at(sweep.points[scale.key]) + _aside(sweep, scale, i)
    table = rows[["low", "high"]].assign(x=at, y=means)
    table["hollow"] = False if hollow is None else hollow.to_numpy()
    table = table.sort_values("x", kind="stable")
    shape = {"color": style.POLICY, "marker": style.marker(i), "markersize": 10}
    known = table.dropna(subset=["y"])
    if scale.numeric:
        axes.fill_between(table["x"], table["low"], table["high"], color=style.POLICY,
                          alpha=BAND, linewidth=0)  # fmt: skip
        # A value without runs is a gap, not a bridge.
        axes.plot(table["x"], table["y"], color=style.POLICY, linestyle=style.dash(i),
                  linewidth=2.5, zorder=3)  # fmt: skip
    half = (known["high"] - known["low"]) / 2
    axes.errorbar(known["x"], known["y"], yerr=half.fillna(0), fmt="none",
                  ecolor=style.POLICY, elinewidth=2, capsize=5, zorder=3)  # fmt: skip
    for pale, part in known.groupby("hollow"):
        sns.lineplot(x=part["x"], y=part["y"], ax=axes, linestyle="", zorder=4, errorbar=None,
                     markerfacecolor="white" if pale else style.POLICY,
                     markeredgecolor=style.POLICY if pale else "white",
                     markeredgewidth=2.2 if pale else 1, legend=False, **shape)  # fmt: skip
    axes.set(xlabel="", ylabel="")


def _aside(sweep: StoredSweep, scale: Scale, i: int) -> float:
    """How far the marks of a policy stand beside a value that is a word."""
    return 0.0 if scale.numeric else 0.12 * (i - (len(sweep.policies) - 1) / 2)


def _rows_apart(sweep: StoredSweep) -> list[str]:
    """Policies with runs that were not steady, died out or failed."""
    bad = sweep.runs[sweep.runs["status"].isin(APART)]
    return [policy for policy in sweep.policies if (bad["policy"] == policy).any()]


def _strip(axes: Axes, sweep: StoredSweep, scale: Scale, rows: list[str]) -> None:
    """Below the curves: at each value how many runs are told apart, and why."""
    scale.ticks(axes)
    axes.set_ylim(len(rows) - 0.5, -1.5)
    axes.set_yticks([])
    axes.set_facecolor("#f4f4f4")
    few = len(scale.values) <= 9
    seen = set()
    for place, policy in enumerate(rows):
        here = sweep.runs[sweep.runs["policy"] == policy]
        counts = here.groupby(["point", "status"]).size().unstack(fill_value=0)
        for point, row in counts.iterrows():
            words = {s: int(row[s]) for s in SIGNS if row.get(s, 0)}
            seen |= set(words)
            text = " ".join(f"{SIGNS[s]}{n}" if few else SIGNS[s] for s, n in words.items())
            x = scale.at([sweep.points.loc[point, scale.key]])[0]
            axes.text(x, place, text, color=style.POLICY,
                      ha="center", va="center_baseline", weight="bold")  # fmt: skip
    meaning = ", ".join(f"{SIGNS[s]} {_MEANING[s]}" for s in SIGNS if s in seen)
    axes.set_xlabel(labels.axis(scale.key))
    axes.annotate(f"runs among them: {meaning}", (0, 1), (4, -4), xycoords="axes fraction",
                  textcoords="offset points", color=style.QUIET, va="top")  # fmt: skip


def _say(sweep: StoredSweep, aim: Aim, title: str) -> str:
    parts = [f"{title}."]
    if len(sweep.policies) == 2:
        for policy in sweep.policies:
            text = sweep_words.level_title(sweep, aim, policy)
            parts.append(f"Under “{policy}”, {text[0].lower()}{text[1:]}.")
    else:
        means = sweep.summary[sweep.summary["measure"] == aim.key].dropna(subset=["mean"])
        if len(means) > 1:
            low, high = (means.loc[means["mean"].agg(how)] for how in ("idxmin", "idxmax"))
            parts.append(f"The means go from {_at(sweep, aim, low)} to {_at(sweep, aim, high)}.")
    return " ".join(parts)


def _at(sweep: StoredSweep, aim: Aim, row: pd.Series) -> str:
    value = sweep.points.loc[row["point"], sweep.keys[0]]
    under = f" under “{row['policy']}”" if len(sweep.policies) > 1 else ""
    at = labels.with_unit(sweep.keys[0], value)
    return f"{dashed(number(row['mean']))} {aim.unit} at {at}{under}"


def _caveat(sweep: StoredSweep, aim: Aim) -> str:
    parts = [sweep_words.chosen_how(sweep, aim)]
    if len(sweep.policies) == 2:
        parts.append(sweep_words.best_how("value"))
    parts.append("Between the values run nothing is known but the straight line drawn.")
    parts.append(sweep_words.caveat(sweep))
    return " ".join(part for part in parts if part)


def _alt(sweep: StoredSweep, aim: Aim) -> str:
    key = sweep.keys[0]
    parts = []
    for policy in sweep.policies:
        means = sweep.means(aim.key, policy)
        told = [f"{_told(means.loc[point])} at {labels.shown(sweep.points.loc[point, key], key)}"
                for point in sweep.in_order()]  # fmt: skip
        name = f"“{policy}”: " if len(sweep.policies) > 1 else ""
        parts.append(f"{name}{', '.join(told)}")
    unit = labels.unit(key)
    return (
        f"Curves of {aim.measure.label.lower()} ({aim.unit}) against {labels.label(key)}"
        f"{f' ({unit})' if unit else ''}. {'; '.join(parts)}."
    )


def _told(row: pd.Series) -> str:
    if not np.isfinite(row["mean"]):
        return "no value"
    known = np.isfinite(row["low"])
    return dashed(f"{number(row['mean'])}{f' ({limits(row)})' if known else ''}")


def data(sweep: StoredSweep, aim: Aim) -> pd.DataFrame:
    """What is drawn, one row a mark."""
    keys = sweep.points
    summary = sweep_words.counts_table(sweep, aim.key).rename(columns={"mean": "value"})
    parts = [summary.drop(columns="sd").assign(mark="mean of runs")]
    runs = sweep.runs.dropna(subset=[aim.key])
    runs = runs[["point", "policy", "seed", aim.key]].rename(columns={aim.key: "value"})
    runs = runs.join(keys, on="point").assign(mark="run", measure=aim.key, unit=aim.measure.unit)
    parts.append(runs)
    table = sweep.paired(aim.key)
    if len(table):
        wanted = ["point", "policy", "baseline", "measure", "n_pairs", "difference", "low", "high",
                  "level"]  # fmt: skip
        pairs = table[wanted].rename(columns={"difference": "value"}).join(keys, on="point")
        parts.append(pairs.assign(mark="paired difference", separated=separated_anywhere(table),
                                  unit=aim.measure.unit))  # fmt: skip
    whole = pd.concat(parts, ignore_index=True)
    front = ["mark", "point", *keys.columns, "policy", "measure", "unit", "value", "low", "high"]
    return whole[[*front, *(c for c in whole if c not in front)]]
