"""The Pareto front of a search: yield against work, the risk of fading as colour."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from colony_sim.figures import style
from colony_sim.figures.placing import beside
from colony_sim.figures.slide import Slide
from colony_sim.studies.origin import Origin, count, days
from colony_sim.studies.search.run import OBJECTIVES, needed
from colony_sim.studies.search.say import OWN, a_day, headline
from colony_sim.words import labels
from colony_sim.words.estimate import number
from colony_sim.words.units import here, named

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.collections import PathCollection
    from matplotlib.figure import Figure

    from colony_sim.studies.search.run import Search

COLOURS = style.SHADES
_YIELDS = ("yield_g_per_day", "yield_low", "yield_high")
_UNITS = {
    "yield_g_per_day": "yield (g/day)",
    "minutes_per_week": "work (minutes per week)",
    "fading": "colony fades (share of runs)",
    "adult_losses": "adult losses (per 100 adults per day)",
}


def slide(result: Search, origin: Origin) -> Slide:
    """The front with what to say of it."""
    return Slide(
        name="pareto",
        title=title(result),
        say=_say(result),
        caveat=_caveat(result),
        alt=_alt(result),
        data=_data(result),
        paint=lambda: figure(result, origin),
        runs=count(runs(result), "run"),
    )


def in_house(result: Search) -> Search:
    """The same with yields in the unit of the house."""
    tables = [
        table.assign(**{c: here(table[c], "g/d") for c in _YIELDS if c in table})
        for table in (result.front, result.candidates)
    ]
    return replace(result, front=tables[0], candidates=tables[1])


def title(result: Search) -> str:
    """The finding, as it begins a line."""
    text = headline(result)
    return f"{text[0].upper()}{text[1:]}"


def runs(result: Search) -> int:
    """Number of runs behind the front and the candidates."""
    return len(result.candidates) * result.search_seeds + int(result.front["runs"].sum())


def figure(result: Search, origin: Origin) -> Figure:
    """Candidates run again with fresh seeds, with intervals; all candidates behind them."""
    page = style.new_figure()
    top = style.headed(page, title(result)) - 0.3
    result = in_house(result)
    low = 0.95 + origin.foot(
        page,
        f"Dark rims: on the front of yield, work and risk of fading. {result.search_seeds} seeds a "
        f"trial; {result.fresh_seeds} fresh seeds and 95 % intervals for those run again.",
        count(runs(result), "run"),
        days(result.span),
    )
    axes = style.axes(page, 1.1, low, 7.2, top - low)
    dots = _marks(axes, result)
    _limits(axes, result)
    front = result.front
    spots = list(zip(front["minutes_per_week"], front["yield_g_per_day"], strict=True))
    beside(axes, spots, [_name(name) for name in front["candidate"]], style.BODY, 8)
    left = 8.75
    bar = page.colorbar(dots, cax=style.axes(page, left, low, 3.9, 0.2), orientation="horizontal")
    bar.outline.set_visible(False)
    bar.set_label("Colony fades (of 100 runs)")
    bar.locator = MaxNLocator(4)
    bar.ax.tick_params(length=0, labelsize=style.BODY)
    handles, names = axes.get_legend_handles_labels()
    page.legend(handles, names, loc="upper left", borderpad=0, markerscale=0.75,
                labelspacing=0.3,
                bbox_to_anchor=((left - 0.1) / style.WIDTH, top / style.HEIGHT))  # fmt: skip
    room = top - 1.65 - (low + 0.35)
    text = _candidates(result, int(room * 72 / (style.BODY * 1.2)))
    page.text(left / style.WIDTH, (top - 1.65) / style.HEIGHT, text, va="top",
              linespacing=1.2)  # fmt: skip
    return page


def _marks(axes: Axes, result: Search) -> PathCollection:
    front, candidates = result.front, result.candidates
    for feasible, marker in ((True, "o"), (False, "x")):
        rows = candidates[candidates["feasible"] == feasible]
        if len(rows):
            text = "tried, within the limits" if feasible else "tried, beyond a limit"
            axes.scatter(rows["minutes_per_week"], rows["yield_g_per_day"], s=36, marker=marker,
                         color=style.FAINT, linewidths=1.2, zorder=1, label=text)  # fmt: skip
    x, y = front["minutes_per_week"], front["yield_g_per_day"]
    across = [x - front["minutes_low"], front["minutes_high"] - x]
    along = [y - front["yield_low"], front["yield_high"] - y]
    # Of equal runs a limit may lie a rounding beyond the mean.
    axes.errorbar(
        x, y, xerr=np.maximum(across, 0), yerr=np.maximum(along, 0), fmt="none",
        ecolor=style.QUIET, elinewidth=1.5, zorder=3,
    )  # fmt: skip
    least, most = 100 * front["fading"].min(), 100 * front["fading"].max()
    own = front["candidate"] == OWN
    for group, marker, text in ((~own, "o", "run again, fresh seeds"),
                                (own, "s", "experiment file, run again")):  # fmt: skip
        rows = front[group]
        edges = [style.INK if on else style.FAINT for on in rows["on_front"]]
        dots = axes.scatter(rows["minutes_per_week"], rows["yield_g_per_day"], s=220,
                            c=100 * rows["fading"], cmap=COLOURS, vmin=least,
                            vmax=most if most > least else least + 1, marker=marker, zorder=4,
                            edgecolors=edges, linewidths=2.2, label=text)  # fmt: skip
    return dots


def _limits(axes: Axes, result: Search) -> None:
    """The limits of the axes, and the keeper's limit of minutes."""
    front, limit = result.front, result.limits.minutes_per_week
    # Failed candidates far beyond all others must not set the scale.
    right = max(front["minutes_high"].max(), result.candidates["minutes_per_week"].quantile(0.95))
    if limit is not None:
        axes.axvline(limit, color=style.INK, linestyle=(0, (4, 3)), linewidth=1.5, zorder=2)
        axes.annotate(f"limit {limit:g}", (limit, 0), (-5, 8), ha="right",
                      xycoords=("data", "axes fraction"), textcoords="offset points")  # fmt: skip
        right = max(right, limit)
    axes.set_xlim(0, 1.06 * right)
    axes.set_ylim(0, 1.12 * max(front["yield_high"].max(), front["yield_g_per_day"].max(),
                                result.candidates["yield_g_per_day"].max()) or 1)  # fmt: skip
    axes.locator_params(nbins=7)
    axes.set_xlabel("Work (minutes a week)")
    axes.set_ylabel(f"Yield ({named('g/day')})")


def _candidates(result: Search, lines: int) -> str:
    """What the candidates of the front are, the best yields first, in so many lines."""
    rows = result.front[result.front["on_front"]]
    rows = rows.sort_values("yield_g_per_day", ascending=False)
    names = {row["candidate"]: _name(row["candidate"]) for _, row in rows.iterrows()}
    whole = [
        [f"{names[row['candidate']]}  {_key(result.keys[0], row)}",
         *(f"     {_key(key, row)}" for key in result.keys[1:])]
        for _, row in rows.iterrows()
    ]  # fmt: skip
    if sum(map(len, whole)) <= lines:
        return "\n".join(line for part in whole for line in part)
    # Too many for a line a value: the keys once, then a line a candidate.
    found = [f"{labels.label(key)}," for key in result.keys[:-1]]
    found.append(f"{labels.label(result.keys[-1])}:")
    room = lines - len(found)
    short = [
        "  ".join((names[row["candidate"]], ", ".join(_told(key, row) for key in result.keys)))
        for _, row in rows.iterrows()
    ]
    if len(short) > room:
        short = [*short[: room - 1], f"and {len(short) - room + 1} more (see the notes)"]
    return "\n".join([*found, *short])


def _name(candidate: str) -> str:
    return "File" if candidate == OWN else candidate


def _key(key: str, row: pd.Series) -> str:
    return f"{labels.label(key)} {_told(key, row)}"


def _told(key: str, row: pd.Series) -> str:
    return labels.told(key, row[key], _value)


def _value(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float) else labels.shown(value)


def _say(result: Search) -> str:
    text = (
        f"{title(result)}. {len(result.candidates)} ways of handling were tried; those no other "
        f"betters were run again with {result.fresh_seeds} seeds they had not seen."
    )
    front = result.front[result.front["on_front"]]
    if len(front):
        best = front.sort_values("yield_g_per_day", ascending=False).iloc[0]
        keys = ", ".join(_key(key, best) for key in result.keys)
        text += f" {'The file' if best['candidate'] == OWN else best['candidate']} means: {keys}."
    return text


def _caveat(result: Search) -> str:
    parts = [
        "The search looked at the keys it was given and no others, and a front of three aims names "
        "no single best: which point is right depends on what an hour is worth."
    ]
    again = result.front.dropna(subset=["yield_in_search"])
    if len(again):
        gap = float((again["yield_in_search"] - again["yield_g_per_day"]).mean())
        if gap > 0:
            parts.append(
                f"Yields seen in the search were {a_day(gap)} higher on average: that was "
                "luck, and is left out here."
            )
    if result.fresh_seeds < needed(result.limits.persist):
        parts.append(
            f"{result.fresh_seeds} runs cannot show that the colony lives on in "
            f"{100 * result.limits.persist:g} % of runs."
        )
    return " ".join(parts)


def _alt(result: Search) -> str:
    rows = result.front.sort_values("yield_g_per_day", ascending=False)
    parts = [
        f"{row.candidate}: {a_day(row.yield_g_per_day)}, "
        f"{number(row.minutes_per_week)} minutes a week, fades in {100 * row.fading:.0f} of 100"
        f"{'' if row.on_front else ' (not on the front)'}"
        for row in rows.itertuples()
    ]
    return (
        f"Yield in {named('g/day')} against work in minutes a week, coloured by how often the "
        f"colony fades. "
        f"{'; '.join(parts)}."
    )


def _data(result: Search) -> pd.DataFrame:
    keys, aims = list(result.keys), [*OBJECTIVES, "adult_losses"]
    intervals = [f"{name}_{end}" for name in ("yield", "losses", "minutes")
                 for end in ("low", "high")]  # fmt: skip
    front = result.front[["candidate", *keys, *aims, *intervals, "runs", "on_front"]]
    front = front.assign(shown_as="run again with fresh seeds")
    candidates = result.candidates[[*keys, *aims, "feasible"]]
    candidates = candidates.assign(shown_as="tried", runs=result.search_seeds)
    table = pd.concat([front, candidates], ignore_index=True)
    return table.rename(columns=_UNITS)
