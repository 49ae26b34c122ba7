"""The Pareto front of a search: yield against work, adult losses as colour."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from matplotlib.ticker import MaxNLocator

from colony_sim.experiment.search_words import headline
from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.experiment.search import Search

COLOURS = "viridis"


def draw(result: Search, folder: Path) -> list[Path]:
    """Draw ``pareto.png`` and ``pareto.svg`` into a folder."""
    with style.theme():
        return style.save(figure(result), Path(folder), "pareto")


def figure(result: Search) -> Figure:
    """Candidates run again with fresh seeds, with intervals; all trials behind them."""
    slide = style.new_figure()
    text = f"{headline(result)[0].upper()}{headline(result)[1:]}"
    top = style.headed(slide, text)
    axes = style.axes(slide, 1.2, 1.4, 7.6, top - 0.35 - 1.4)
    front = result.front
    trials = result.trials
    for feasible, marker in ((True, "o"), (False, "x")):
        rows = trials[trials["feasible"] == feasible]
        label = "tried, within the limits" if feasible else "tried, beyond a limit"
        axes.scatter(rows["minutes_per_week"], rows["yield_g_per_day"], s=24, marker=marker,
                     color=style.FAINT, linewidths=1, zorder=1, label=label)  # fmt: skip
    steps = front[front["on_front"]].sort_values("yield_g_per_day", ascending=False)
    errors = {"fmt": "none", "ecolor": style.QUIET, "elinewidth": 1.2, "zorder": 3}
    x, y = front["minutes_per_week"], front["yield_g_per_day"]
    axes.errorbar(
        x, y,
        xerr=[x - front["minutes_low"], front["minutes_high"] - x],
        yerr=[y - front["yield_low"], front["yield_high"] - y], **errors,
    )  # fmt: skip
    least, most = front["adult_losses"].min(), front["adult_losses"].max()
    own = front["candidate"] == "as in the file"
    for group, marker, label in ((~own, "o", "run again, fresh seeds"),
                                 (own, "s", "as in the experiment file")):  # fmt: skip
        rows = front[group]
        edges = [style.INK if on else style.FAINT for on in rows["on_front"]]
        dots = axes.scatter(rows["minutes_per_week"], rows["yield_g_per_day"], s=190,
                            c=rows["adult_losses"], cmap=COLOURS, vmin=least,
                            vmax=most if most > least else least + 1, marker=marker, zorder=4,
                            edgecolors=edges, linewidths=2, label=label)  # fmt: skip
    for row in front[~own].itertuples():
        axes.annotate(row.candidate, (row.minutes_per_week, row.yield_g_per_day), (0, 11), size=13,
                      textcoords="offset points", ha="center", weight="bold", zorder=5)  # fmt: skip
    limit = result.limits.minutes_per_week
    # Failed trials far beyond all others must not set the scale.
    right = max(front["minutes_high"].max(), trials["minutes_per_week"].quantile(0.95))
    if limit is not None:
        axes.axvline(limit, color=style.INK, linestyle=(0, (4, 3)), linewidth=1.3, zorder=2)
        axes.annotate(f"limit {limit:g}", (limit, 0), (-4, 6), size=12, ha="right",
                      xycoords=("data", "axes fraction"), textcoords="offset points")  # fmt: skip
        right = max(right, limit)
    axes.set_xlim(0, 1.06 * right)
    axes.set_ylim(bottom=0)
    axes.margins(y=0.12)
    axes.set_xlabel("Work (minutes a week)")
    axes.set_ylabel("Yield (g/day)")
    bar = slide.colorbar(dots, cax=style.axes(slide, 9.15, 1.25, 3.4, 0.18),
                         orientation="horizontal")  # fmt: skip
    bar.outline.set_visible(False)
    bar.set_label("Adult losses (per 100 adults per day)", size=12)
    bar.locator = MaxNLocator(4)
    bar.ax.tick_params(length=0, labelsize=12)
    handles, labels = axes.get_legend_handles_labels()
    slide.legend(handles, labels, loc="upper left", fontsize=12, borderpad=0, markerscale=0.7,
                 bbox_to_anchor=(9.1 / style.WIDTH, (top - 0.3) / style.HEIGHT))  # fmt: skip
    lines = [_keys(result, row) for _, row in steps.head(5).iterrows()]
    slide.text(9.15 / style.WIDTH, (top - 1.75) / style.HEIGHT, "\n".join(lines), va="top",
               size=10.5, linespacing=1.25)  # fmt: skip
    foot = (
        f"Dark rims: on the front of yield, adult losses and work. {result.search_seeds} seeds a "
        f"trial, {result.fresh_seeds} fresh seeds for those run again, 95 % intervals. "
        "A statement about the model under its assumptions."
    )
    style.footed(slide, foot)
    return slide


def _keys(result: Search, row) -> str:
    shown = []
    for key in result.keys:
        value = row[key]
        text = f"{value:.3g}" if isinstance(value, float) else str(value)
        shown.append(f"{key.partition('.')[2]} {text}")
    name = row["candidate"] if len(row["candidate"]) <= 2 else "file"
    return textwrap.fill(f"{name}: {', '.join(shown)}", 52, subsequent_indent="    ", max_lines=2)
