"""Effects of many keys of a sweep: a curve for each key, the others averaged over."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from colony_sim.experiment.design import entry
from colony_sim.figures import policy_legend, style
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.studies.origin import Origin, count
from colony_sim.studies.sweep import titles as sweep_words
from colony_sim.studies.sweep.effects import Effects, difference_effects, effects
from colony_sim.studies.sweep.scale import Scale
from colony_sim.studies.sweep.stored import StoredSweep, is_number
from colony_sim.studies.sweep.titles import Aim
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number
from colony_sim.words.labels import shortened
from colony_sim.words.units import here

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHOWN = 6
"""Keys with a panel of their own."""


def slides(sweep: StoredSweep, aim: Aim, origin: Origin, tables: StoredSweep) -> list[Slide]:
    """Effects on a measure and, with more than one policy, on its paired difference.

    `sweep` is in the units of the house, `tables` as its folder has it.
    """
    name = f"sweep-{aim.noun.split()[-1]}"
    found = [_slide(sweep, aim, origin, tables, effects(tables, aim.key), name, "")]
    if len(sweep.policies) > 1:
        over, name = difference_effects(tables, aim.key), f"{name}-difference"
        found.append(_slide(sweep, aim, origin, tables, over, name, "difference"))
    return found


def _in_house(found: Effects, aim: Aim) -> Effects:
    """The levels in the units of the house: means, and places of keys that are numbers."""
    if found.levels.empty:
        return found
    ends = {c: here(found.levels[c], aim.measure.unit) for c in ("mean", "low", "high")}
    levels = found.levels.assign(**ends)
    for key in found.keys:
        rows = levels["key"] == key
        if is_number(levels.loc[rows, "low_value"].infer_objects()):
            levels.loc[rows, "place"] = labels.at(key, levels.loc[rows, "place"])
    return replace(found, levels=levels)


def _slide(
    sweep: StoredSweep, aim: Aim, origin: Origin, tables: StoredSweep, of: Effects, name: str,
    what: str,
) -> Slide:  # fmt: skip
    found = _in_house(of, aim)
    title = fitting(lambda most: headline(sweep, aim, found, what, most), sweep.policies)
    return Slide(
        name=name, title=title, say=_say(sweep, found, title),
        caveat=_caveat(sweep, found), alt=_alt(sweep, aim, found, what),
        data=_data(tables, aim, of, what),
        paint=lambda: figure(sweep, aim, found, what, title, origin), runs=sweep_words.runs(sweep),
    )  # fmt: skip


def subject(sweep: StoredSweep, aim: Aim, what: str) -> str:
    """What the effects are on."""
    return f"the difference in {aim.noun}" if what else aim.noun


def headline(sweep: StoredSweep, aim: Aim, found: Effects, what: str, most: int) -> str:
    """Which keys have an effect, and by how much the first of them; no order is claimed."""
    keys = [key for key in found.keys if found.shown(key)]
    left = [key for key in found.keys if not found.shown(key)]
    on = subject(sweep, aim, what)
    if found.levels.empty or not np.isfinite(found.levels["mean"]).any():
        return f"No runs to tell how {on} changes with any of {len(found.keys)} keys"
    if not keys:
        return f"The sweep shows no effect on {on} of any of the {len(left)} keys varied"
    key = keys[0]
    policy = _policy(found, key)
    rows = found.levels[(found.levels["key"] == key) & (found.levels["policy"] == policy)]
    rows = rows.dropna(subset=["mean"])
    least, most_ = (rows.loc[rows["mean"].agg(how)] for how in ("idxmin", "idxmax"))
    ends = (
        f"from {dashed(number(least['mean']))} {aim.unit} at {_level(key, least)} to "
        f"{dashed(number(most_['mean']))} at {_level(key, most_)}"
    )
    name = f" (“{shortened(policy, most)}”)" if len(set(found.evidence["policy"])) > 1 else ""
    be = "change" if aim.be == "are" and not what else "changes"
    text = f"{on[0].upper()}{on[1:]} {be} with {labels.label(key)}: {ends}{name}"
    others = keys[1:]
    if len(others) == 1:
        text += f"; an effect of {labels.label(others[0])} is shown as well"
    elif others:
        text += f"; effects of {len(others)} more keys are shown as well"
    if len(left) == 1:
        text += f"; none is shown of {labels.label(left[0])}"
    elif left:
        text += f"; none is shown of {len(left)} others"
    return text


def _policy(found: Effects, key: str) -> str:
    """The first policy under which an effect of a key is shown."""
    rows = found.evidence[(found.evidence["key"] == key) & found.evidence["shown"]]
    return rows["policy"].iloc[0]


def _level(key: str, row: pd.Series) -> str:
    low, high = row["low_value"], row["high_value"]
    if low == high:
        return labels.shown(low, key)
    return "–".join(_rounded(labels.at(key, end)) for end in (low, high))


def _rounded(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float) and value < 1000 else labels.shown(value)


def figure(
    sweep: StoredSweep, aim: Aim, found: Effects, what: str, title: str, origin: Origin
) -> Figure:
    """A panel for each key, those with the largest span first, on one scale."""
    page = style.new_figure()
    top = style.headed(page, title)
    policies = list(dict.fromkeys(found.evidence["policy"]))
    base = shortened(sweep.policies[0], 24)
    names = [f"{shortened(name, 24)} minus {base}" if what else name for name in policies]
    first = 1 if what else 0
    top = policy_legend.draw(page, names if first or names[1:] else (), top - 0.1, (), first) - 0.1
    keys = found.keys[:SHOWN]
    hidden = len(found.keys) - len(keys)
    how = (
        f"Means over all combinations of the others, 95 % intervals over seeds "
        f"({sweep_words.per_point(sweep)})"
        if sweep.grid
        else f"Faint: mean of a point ({sweep_words.per_point(sweep)} seeds), dark: mean of the "
        "points of a bin, 95 % interval over points"
    )
    foot = origin.foot(
        page,
        f"{how}{f'; {hidden} more keys with smaller changes not shown' if hidden else ''}.",
        sweep_words.runs(sweep),
        count(len(sweep.points), "point"),
        f"{sweep.manifest['experiment']['days']} days",
    )
    rows = 1 if len(keys) <= 3 else 2
    columns = -(-len(keys) // rows)
    left, across, below, above = 1.3, 0.6, 0.75, 0.42
    width = (style.WIDTH - 0.4 - left - (columns - 1) * across) / columns
    height = (top - foot - rows * (below + above)) / rows
    panels = []
    for i, key in enumerate(keys):
        row, column = divmod(i, columns)
        low = top - (row + 1) * (above + height) - row * below
        panel = style.axes(page, left + column * (width + across), low, width, height)
        _panel(panel, sweep, aim, found, what, key, policies)
        panels.append(panel)
    limits = [panel.get_ylim() for panel in panels]
    for i, panel in enumerate(panels):
        panel.set_ylim(min(low for low, _ in limits), max(high for _, high in limits))
        panel.grid(axis="y", color=style.SHADE, linewidth=1)
        panel.locator_params(axis="y", nbins=5)
        panel.tick_params(labelleft=i % columns == 0)
        panel.set_ylabel(f"{aim.unit}" if i % columns == 0 else "")
    return page


def _panel(
    axes: Axes, sweep: StoredSweep, aim: Aim, found: Effects, what: str, key: str,
    policies: list[str],
) -> None:  # fmt: skip
    import seaborn as sns

    scale = Scale.of(sweep, key)
    scale.ticks(axes)
    if what:
        axes.axhline(0, color=style.QUIET, linewidth=1.6, zorder=1)
    for policy in policies:
        i = sweep.policies.index(policy)
        if not sweep.grid:
            dots = _point_values(sweep, aim, what, policy)
            sns.scatterplot(x=scale.at(sweep.points.loc[dots.index, key]), y=dots.to_numpy(),
                            ax=axes, s=34, alpha=0.35, color=style.POLICY,
                            marker=style.marker(i), linewidth=0, legend=False)  # fmt: skip
        rows = found.levels[(found.levels["key"] == key) & (found.levels["policy"] == policy)]
        rows = rows.dropna(subset=["mean"])
        half = ((rows["high"] - rows["low"]) / 2).fillna(0)
        shift = 0.0 if scale.numeric else 0.12 * (i - (len(policies) - 1) / 2)
        axes.errorbar(rows["place"] + shift, rows["mean"], yerr=half, fmt="none", capsize=5,
                      ecolor=style.POLICY, elinewidth=2.2, zorder=3)  # fmt: skip
        sns.lineplot(x=rows["place"] + shift, y=rows["mean"], ax=axes, zorder=4, errorbar=None,
                     color=style.POLICY, marker=style.marker(i), markersize=10, linewidth=2.5,
                     linestyle=style.dash(i) if scale.numeric else "", legend=False)  # fmt: skip
    wide = axes.get_window_extent().width / axes.figure.dpi
    text = labels.heading(key)
    size = style.BODY * min(1, wide / style.text_width(axes.figure, text, style.BODY, "bold"))
    axes.set_title(text, loc="left", size=size, weight="bold", pad=8)
    unit = labels.unit(key)
    shown = found.shown(key)
    axes.set_xlabel(f"{unit}{'' if shown else ' – no effect shown'}".strip(" –") or " ",
                    color=style.INK if shown else style.QUIET)  # fmt: skip
    axes.set_ylabel("")


def _point_values(sweep: StoredSweep, aim: Aim, what: str, policy: str) -> pd.Series:
    """Mean of each point, or mean paired difference."""
    wide = sweep.wide(aim.key)
    values = wide.xs(policy, level="policy")
    if what:
        values = values - wide.xs(sweep.policies[0], level="policy")
    return values.mean(axis=1).dropna()


def _say(sweep: StoredSweep, found: Effects, title: str) -> str:
    return (
        f"{title}. {len(found.keys)} keys were varied together at {len(sweep.points)} points; each "
        f"panel shows one, whatever the others were. The largest change seen is that with "
        f"{labels.label(found.keys[0])}."
    )


def _caveat(sweep: StoredSweep, found: Effects) -> str:
    if sweep.grid:
        how = (
            "An effect counts as shown if two values of a key differ in the means over all "
            "combinations of the others, paired by seed, with a p value below 0.05 adjusted by "
            f"Holm over {found.family} tests; an average can hide that a key acts one way here and "
            "another there."
        )
    else:
        how = (
            "An effect counts as shown if the means of the bins differ by the test of Alexander "
            f"and Govern with a p value below 0.05 adjusted by Holm over {found.family} tests; "
            "what the other keys do is in the noise, so a key without a shown effect may have one."
        )
    order = "Panels are in the order of the changes seen; that order is not tested."
    return " ".join(part for part in (how, order, sweep_words.caveat(sweep)) if part)


def _alt(sweep: StoredSweep, aim: Aim, found: Effects, what: str) -> str:
    parts = []
    for key in found.keys[:SHOWN]:
        for policy in dict.fromkeys(found.evidence["policy"]):
            rows = found.levels[(found.levels["key"] == key) & (found.levels["policy"] == policy)]
            told = ", ".join(
                f"{dashed(number(row['mean']))} at {_level(key, row)}"
                for _, row in rows.dropna(subset=["mean"]).iterrows()
            )
            parts.append(f"{labels.label(key)} under “{policy}”: {told or 'no runs'}")
    minus = f" minus “{sweep.policies[0]}”" if what else ""
    on = subject(sweep, aim, what)
    return f"Means of {on}{minus} ({aim.unit}) against each key. {'; '.join(parts)}."


def _data(sweep: StoredSweep, aim: Aim, found: Effects, what: str) -> pd.DataFrame:
    table = found.levels.merge(found.evidence, on=["key", "policy"], how="left")
    table["mark"] = "mean of a value" if sweep.grid else "mean of a bin"
    table["n_of"] = found.over
    parts = [table]
    if not sweep.grid:
        for policy in dict.fromkeys(found.evidence["policy"]):
            dots = _point_values(sweep, aim, what, policy)
            for key in found.keys:
                at = sweep.points.loc[dots.index, key].to_numpy()
                parts.append(pd.DataFrame({
                    "key": key, "policy": policy, "mark": "mean of a point", "low_value": at,
                    "high_value": at, "mean": dots.to_numpy(), "point": dots.index,
                }))  # fmt: skip
    table = pd.concat(parts, ignore_index=True).rename(columns={"mean": "value"})
    table["name"] = [labels.label(key) for key in table["key"]]
    table["unit_of_key"] = [labels.printed(entry(key).unit) for key in table["key"]]
    # A key may be a number, a word or yes and no; one column holds them all.
    for column in ("low_value", "high_value"):
        table[column] = [labels.shown(value) for value in table[column]]
    table = table.assign(measure=aim.key, baseline=sweep.policies[0] if what else "")
    table["unit"] = aim.measure.unit
    front = ["mark", "key", "name", "low_value", "high_value", "unit_of_key", "policy", "baseline",
             "measure", "unit", "value"]  # fmt: skip
    return table[[*front, *(c for c in table if c not in front)]]
