"""The tornado chart: what each key, moved alone to both ends of its range, does to a result."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.experiment.finding import dashed, shortened
from colony_sim.experiment.wording import number
from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.experiment.sensitivity import Sensitivity

SHOWN = 12
LOW, HIGH = "#e06010", "#14508c"


def draw(result: Sensitivity, folder: Path) -> list[Path]:
    """Draw ``tornado.png`` and ``tornado.svg`` into a folder; from the method ``oneway``."""
    with style.theme():
        return style.save(figure(result), Path(folder), "tornado")


def headline(result: Sensitivity) -> str:
    """The finding in one sentence, from the numbers."""
    top = result.table.iloc[0]
    ends = " and ".join(
        f"{dashed(number(getattr(top, f'at_{end}')))} at {getattr(top, f'{end}_used'):g}"
        for end in ("low", "high")
    )
    text = f"{top['key']} moves the result most: from {dashed(number(result.central[0]))} "
    text += f"{result.unit} to {ends}"
    if not result.is_difference:
        return text
    turning = result.table[result.table["sign_changes"] > 0]["key"]
    if turning.empty:
        return f"{text}; none of {len(result.table)} keys, moved alone, turns the sign"
    if len(turning) == 1:
        return f"{text}; of {len(result.table)} keys only {turning.iloc[0]} turns the sign"
    return f"{text}; {len(turning)} of {len(result.table)} keys turn the sign, moved alone"


def figure(result: Sensitivity) -> Figure:
    """Bars from the central result to the result at each end, with intervals over seeds."""
    slide = style.new_figure()
    top = style.headed(slide, headline(result))
    rows = result.table.head(SHOWN)
    axes = style.axes(slide, 4.6, 1.3, style.WIDTH - 5.2, top - 0.75 - 1.3)
    middle = result.central[0]
    axes.axvline(middle, color=style.INK, linewidth=1.5, zorder=3)
    if result.is_difference:  # Its sign is the verdict.
        axes.axvline(0, color=style.QUIET, linewidth=1.5, linestyle=(0, (4, 3)), zorder=3)
    for place, row in enumerate(rows.itertuples()):
        # Both ends may lie on one side; each has a bar of its own.
        for end, colour, shift in (("low", LOW, -0.19), ("high", HIGH, 0.19)):
            value, at = getattr(row, f"at_{end}"), place + shift
            axes.barh(at, value - middle, left=middle, height=0.36, color=colour, zorder=2)
            low, high = getattr(row, f"at_{end}_low"), getattr(row, f"at_{end}_high")
            side = 1 if value >= middle else -1
            outer = value
            if math.isfinite(low):
                axes.plot([low, high], [at, at], color=style.INK, linewidth=1.2, zorder=4)
                outer = high if side > 0 else low
            edge = max(outer, middle) if side > 0 else min(outer, middle)
            axes.annotate(f"{getattr(row, f'{end}_used'):g}", (edge, at), (5 * side, 0),
                          textcoords="offset points", size=11, va="center", color=style.INK,
                          ha="left" if side > 0 else "right")  # fmt: skip
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_yticks(range(len(rows)), labels=[_label(row) for row in rows.itertuples()])
    axes.tick_params(axis="y", labelsize=12)
    axes.margins(x=0.16)
    axes.set_xlabel(dashed(f"{result.output[0].upper()}{result.output[1:]} ({result.unit})"))
    handles = [Patch(color=LOW, label="low end of the range"),
               Patch(color=HIGH, label="high end"),
               Line2D([], [], color=style.INK, linewidth=1.2,
                      label=f"95 % interval, {result.noise.seeds} seeds")]  # fmt: skip
    if result.is_difference:
        handles.append(Line2D([], [], color=style.QUIET, linestyle=(0, (4, 3)),
                              label="no difference"))  # fmt: skip
    slide.legend(handles=handles, ncols=4, loc="upper left", fontsize=13, borderpad=0,
                 bbox_to_anchor=(0.4 / style.WIDTH, (top - 0.15) / style.HEIGHT))  # fmt: skip
    left = len(result.table) - len(rows)
    foot = (
        f"Each key moved alone to both ends of its plausible range (numbers at the bars), days "
        f"{result.span.warm_up + 1} to {result.span.days}, the same seeds everywhere; line: "
        f"nothing moved. {f'{left} keys with less influence are not shown. ' if left else ''}"
        "A statement about the model under its assumptions."
    )
    style.footed(slide, foot)
    return slide


def _label(row) -> str:
    unit = f" ({row.unit})" if row.unit else ""
    return shortened(f"{row.key}{unit}", 46)
