"""Heat maps of a sweep over two keys: each policy, and its difference to the baseline."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.colors import Normalize
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from colony_sim.figures import heat, style
from colony_sim.figures.placing import cut
from colony_sim.figures.slide import Slide
from colony_sim.figures.titles import fitting
from colony_sim.studies.origin import Origin
from colony_sim.studies.sweep import titles as sweep_words
from colony_sim.studies.sweep.findings import separated_anywhere
from colony_sim.studies.sweep.stored import APART, StoredSweep
from colony_sim.studies.sweep.titles import Aim
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, limits, number, signed
from colony_sim.words.labels import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIDE = 2.9
"""Room for colour bar and legend at the right (in)."""


def slides(sweep: StoredSweep, aim: Aim, origin: Origin, tables: StoredSweep) -> list[Slide]:
    """Differences to the baseline, where there are any, and means, of one measure.

    `sweep` is in the units of the house, `tables` as its folder has it.
    """
    found = []
    name = f"sweep-{aim.noun.split()[-1]}"
    if len(sweep.policies) > 1:
        title = fitting(lambda most: sweep_words.against(sweep, aim, most), sweep.policies)
        found.append(Slide(
            name=f"{name}-difference", title=title, say=_say_difference(sweep, title),
            caveat=_caveat(sweep, sweep_words.chosen_how(sweep, aim)),
            alt=_alt_difference(sweep, aim), data=_pairs(tables, aim),
            paint=lambda: difference_figure(sweep, aim, title, origin),
            runs=sweep_words.runs(sweep),
        ))  # fmt: skip
    best = fitting(lambda most: sweep_words.point_title(sweep, aim, most), sweep.policies)
    found.append(Slide(
        name=name, title=best, say=f"{best}. Each cell is a mean of runs.",
        caveat=_caveat(sweep, sweep_words.best_how("cell")), alt=_alt(sweep, aim),
        data=sweep_words.counts_table(tables, aim.key),
        paint=lambda: mean_figure(sweep, aim, best, origin), runs=sweep_words.runs(sweep),
    ))  # fmt: skip
    return found


def mean_figure(sweep: StoredSweep, aim: Aim, title: str, origin: Origin) -> Figure:
    """A map of the means for each policy, all with the same colours."""
    grids = [_grid(sweep, sweep.means(aim.key, policy)["mean"]) for policy in sweep.policies]
    known = np.concatenate([grid[np.isfinite(grid)] for grid in grids])
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)
    norm = Normalize(low, high if high > low else low + 1)
    page = style.new_figure()
    top = style.headed(page, title) - 0.2
    foot = _foot(page, sweep, origin, "Means of runs")
    names = ["" if len(sweep.policies) == 1 else policy for policy in sweep.policies]
    panels = _panels(page, sweep, names, foot, top)
    seen: set[str] = set()
    for panel, grid, policy in zip(panels, grids, sweep.policies, strict=True):
        part = _grid(sweep, _incomplete(sweep, policy)).astype(bool)
        mesh = heat.tiles(panel, grid, norm,
                          words=_words(sweep, grid, part, [policy], _short, seen))  # fmt: skip
    _ticks(sweep, panels)
    left = style.WIDTH - SIDE
    head = _beside(page, f"{aim.measure.label}\n({aim.unit})", left, top)
    bar = page.colorbar(mesh, cax=style.axes(page, left, foot + 1.6, 0.22, head - foot - 1.6))
    bar.outline.set_visible(False)
    bar.locator = MaxNLocator(5)
    bar.ax.tick_params(length=0)
    _legend(page, left, foot + 1.4, [], seen, "no value")
    return page


def difference_figure(sweep: StoredSweep, aim: Aim, title: str, origin: Origin) -> Figure:
    """A map of the paired difference for each policy but the baseline; hatched where a tie."""
    table = sweep.paired(aim.key)
    clear = separated_anywhere(table)
    others = sweep.policies[1:]
    rows = {policy: table[table["policy"] == policy].set_index("point") for policy in others}
    grids = [_grid(sweep, rows[policy]["difference"]) for policy in others]
    page = style.new_figure()
    top = style.headed(page, title) - 0.2
    base = shortened(sweep.policies[0], 40)
    family = int(table["p_t"].notna().sum())
    foot = _foot(page, sweep, origin, f"Minus {base}, paired by seed; hatched: 95 % interval or p "
                 f"(Holm over all {family} comparisons) does not leave out 0")  # fmt: skip
    panels = _panels(page, sweep, others if len(others) > 1 else [""], foot, top)
    norm, most = heat.difference_norm(np.stack(grids))
    seen: set[str] = set()
    hatched_any = False
    for panel, grid, policy in zip(panels, grids, others, strict=True):
        told = clear[table["policy"] == policy].set_axis(rows[policy].index)
        hatched = ~_grid(sweep, told).astype(bool) & np.isfinite(grid)
        part = _grid(sweep, rows[policy]["n_dropped"] > 0).astype(bool)
        mesh = heat.tiles(panel, grid, norm, hatched=hatched,
                          words=_words(sweep, grid, part, [policy, sweep.policies[0]],
                                       heat.signed(most), seen))  # fmt: skip
        hatched_any |= bool(hatched.any())
    _ticks(sweep, panels)
    left, middle = style.WIDTH - SIDE, foot + 2.45
    head = _beside(page, f"{aim.measure.label}, difference\n({aim.unit})", left, top)
    bar = style.axes(page, left, middle, 0.22, head - middle)
    heat.difference_bar(page, mesh, bar, most)
    sides = _sides(sweep) if len(others) == 1 else []
    if hatched_any:
        sides.append(Patch(facecolor="white", edgecolor=style.QUIET, hatch=heat.HATCH,
                           label="not separated"))  # fmt: skip
    _legend(page, left, middle - 0.2, sides, seen, "no pair")
    return page


def _sides(sweep: StoredSweep) -> list[Patch]:
    """What the two colours mean for two policies."""
    names = [textwrap.fill(f"{shortened(policy, 28)} more", 18) for policy in sweep.policies[::-1]]
    return [Patch(facecolor=colour, label=name)
            for colour, name in zip((heat.ABOVE, heat.BELOW), names, strict=True)]  # fmt: skip


def _panels(
    page: Figure, sweep: StoredSweep, names: Sequence[str], foot: float, top: float
) -> list[Axes]:
    """Empty maps side by side, on two rows where there are more than three."""
    x, y = sweep.keys
    widest = max(style.text_width(page, labels.shown(v, y), style.BODY) for v in sweep.values(y))
    left, right, low = 0.95 + widest, style.WIDTH - SIDE - 0.35, foot + 0.75
    rows = 1 if len(names) <= 3 else 2
    columns = -(-len(names) // rows)
    head = 0.4 if any(names) else 0.0
    across, up = 0.3, head + (0.35 if rows > 1 else 0.0)
    width = (right - left - (columns - 1) * across) / columns
    height = (top - low - (rows - 1) * up - head) / rows
    panels = []
    for i, name in enumerate(names):
        row, column = divmod(i, columns)
        bottom = top - head - height - row * (height + up)
        panel = style.axes(page, left + column * (width + across), bottom, width, height)
        panel.set_title(cut(page, name, width), loc="left", size=style.BODY, weight="bold",
                        pad=6)  # fmt: skip
        panels.append(panel)
    page.text((left + right) / 2 / style.WIDTH, (foot + 0.08) / style.HEIGHT, labels.axis(x),
              ha="center", va="bottom")  # fmt: skip
    page.text(0.4 / style.WIDTH, (low + top - head) / 2 / style.HEIGHT, labels.axis(y),
              ha="left", va="center", rotation=90)  # fmt: skip
    return panels


def _ticks(sweep: StoredSweep, panels: Sequence[Axes]) -> None:
    """Values of the keys along the outer edges of the maps."""
    x, y = sweep.keys
    columns = len(panels) if len(panels) <= 3 else -(-len(panels) // 2)
    for i, panel in enumerate(panels):
        heat.ticks(panel, *([labels.shown(v, key) for v in sweep.values(key)] for key in (x, y)))
        panel.tick_params(labelbottom=i + columns >= len(panels), labelleft=i % columns == 0)


def _words(
    sweep: StoredSweep, grid: np.ndarray, partly: np.ndarray, policies: Sequence[str],
    shown: Callable[[float], str], seen: set[str],
) -> Callable[[int, int], str]:  # fmt: skip
    """Text of a cell: its number, an asterisk where runs are apart, or why there is none.

    The signs that are used are added to `seen`.
    """
    died = np.zeros(grid.shape, dtype=bool)
    for policy in policies:
        here = sweep.runs[sweep.runs["policy"] == policy]
        gone = (here["status"] == "died_out").groupby(here["point"]).all()
        died |= _grid(sweep, gone).astype(bool)

    def words(i: int, j: int) -> str:
        known = np.isfinite(grid[i, j])
        sign = "×" if died[i, j] else "○" if not known else "*" if partly[i, j] else ""
        seen.update(sign)
        return f"{shown(grid[i, j])}{sign}" if known else sign

    return words


def _incomplete(sweep: StoredSweep, policy: str) -> pd.Series:
    """Points at which runs of a policy died out, were not steady or failed."""
    here = sweep.runs[sweep.runs["policy"] == policy]
    return here["status"].isin(APART).groupby(here["point"]).any()


def _legend(
    page: Figure, left: float, top: float, sides: list[Patch], seen: set[str], nothing: str
) -> None:
    """What colours, hatching and the signs in the cells mean."""
    words = {"*": "some runs not steady, died out or failed", "○": nothing, "×": "all died out"}
    signs = [
        textwrap.fill(f"{sign}  {text}", 24, subsequent_indent="     ")
        for sign, text in words.items()
        if sign in seen
    ]
    if sides:
        page.legend(handles=sides, loc="upper left", borderpad=0, handlelength=1.4,
                    labelspacing=0.5,
                    bbox_to_anchor=((left - 0.1) / style.WIDTH, top / style.HEIGHT))  # fmt: skip
        top -= sum(0.33 * (str(p.get_label()).count("\n") + 1) + 0.1 for p in sides) + 0.05
    page.text(left / style.WIDTH, top / style.HEIGHT, "\n".join(signs), va="top",
              linespacing=1.0)  # fmt: skip


def _beside(page: Figure, text: str, left: float, top: float) -> float:
    """Write what the colours show; returns the height (in) below it."""
    lines = [part for line in text.split("\n") for part in textwrap.wrap(line, 22)]
    page.text(
        left / style.WIDTH, top / style.HEIGHT, "\n".join(lines), va="top", weight="bold",
        linespacing=1.15,
    )  # fmt: skip
    return top - 0.26 * len(lines) - 0.12


def _foot(page: Figure, sweep: StoredSweep, origin: Origin, how: str) -> float:
    x, y = sweep.keys
    return origin.foot(
        page,
        f"{how}; {sweep_words.per_point(sweep)} seeds a cell, the same everywhere. {x} by {y}.",
        sweep_words.runs(sweep),
        f"{sweep.manifest['experiment']['days']} days",
    )


def _short(value: float) -> str:
    return dashed(number(value))


def _grid(sweep: StoredSweep, values: pd.Series) -> np.ndarray:
    """A column by point as an array of shape (values of y, values of x); NaN where there is none.

    Truth values stay such, False where there is none.
    """
    x, y = sweep.keys
    truth = values.dtype == bool
    found = np.zeros((len(sweep.values(y)), len(sweep.values(x))), dtype=bool if truth else float)
    if not truth:
        found[:] = np.nan
    columns = {value: j for j, value in enumerate(sweep.values(x))}
    rows = {value: i for i, value in enumerate(sweep.values(y))}
    where = sweep.points.loc[values.index]
    for a, b, value in zip(where[x].tolist(), where[y].tolist(), values.tolist(), strict=True):
        found[rows[b], columns[a]] = value
    return found


def _say_difference(sweep: StoredSweep, title: str) -> str:
    a, b = (labels.label(key) for key in sweep.keys)
    return (
        f"{title}. Each cell is one combination of {a} and {b}, run under every policy with the "
        f"same seeds. Hatched cells are ties: there the runs do not tell the policies apart."
    )


def _caveat(sweep: StoredSweep, how: str) -> str:
    return f"{how} {sweep_words.caveat(sweep)}".strip()


def _alt_difference(sweep: StoredSweep, aim: Aim) -> str:
    table = sweep.paired(aim.key)
    told = separated_anywhere(table)
    parts = []
    for policy in sweep.policies[1:]:
        here = table["policy"] == policy
        rows = table[here].dropna(subset=["difference"])
        if rows.empty:
            parts.append(f"“{policy}” could not be compared at any point")
            continue
        most, least = (rows.loc[rows["difference"].agg(how)] for how in ("idxmax", "idxmin"))
        ties = int((~told[here] & table.loc[here, "difference"].notna()).sum())
        parts.append(
            f"“{policy}” minus “{sweep.policies[0]}” goes from {_spot(sweep, least)} to "
            f"{_spot(sweep, most)}; {ties} of {len(rows)} cells are hatched"
        )
    head = f"Heat map of the paired difference in {aim.noun} ({aim.unit})"
    return f"{head} over {_over(sweep)}. {'. '.join(parts)}."


def _spot(sweep: StoredSweep, row: pd.Series) -> str:
    interval = f" ({dashed(limits(row))})" if np.isfinite(row["low"]) else ""
    return f"{signed(row['difference'])}{interval} at {sweep_words.at_point(sweep, row['point'])}"


def _alt(sweep: StoredSweep, aim: Aim) -> str:
    parts = []
    for policy in sweep.policies:
        means = sweep.means(aim.key, policy)["mean"].dropna()
        if means.empty:
            parts.append(f"“{policy}”: no value")
            continue
        ends = " to ".join(
            f"{_short(means[point])} at {sweep_words.at_point(sweep, point)}"
            for point in (means.idxmin(), means.idxmax())
        )
        parts.append(f"“{policy}”: from {ends}")
    return f"Heat maps of mean {aim.noun} ({aim.unit}) over {_over(sweep)}. {'. '.join(parts)}."


def _over(sweep: StoredSweep) -> str:
    x, y = sweep.keys
    return (
        f"{labels.label(x)} across ({len(sweep.values(x))} values) and {labels.label(y)} upward "
        f"({len(sweep.values(y))} values)"
    )


def _pairs(sweep: StoredSweep, aim: Aim) -> pd.DataFrame:
    table = sweep.paired(aim.key)
    table = table.assign(separated=separated_anywhere(table), unit=aim.measure.unit)
    keys = sweep.points.loc[table["point"]].reset_index(drop=True)
    return pd.concat([table[["point"]], keys, table.drop(columns="point")], axis=1)
