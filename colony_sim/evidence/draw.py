"""Every published number and the model's, as ratios, with the spread between studies."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from colony_sim.evidence.numbers import Compare, Number, Standing, numbers
from colony_sim.evidence.sheet import IN, OUT, SIZE, dot, label, name, note, point, sheet
from colony_sim.evidence.words import headline
from colony_sim.figures import style

#: Ratios drawn; what lies beyond is an arrow at the edge.
EDGES = (0.2, 5.0)


def marks(table: pd.DataFrame) -> pd.DataFrame:
    """What is drawn, one row a number.

    Columns `at`, `from`, `to` (the model), `published_from`, `published_to` and `allowed_from`,
    `allowed_to` are ratios to the published number (of a range, to its geometric mean; of an
    ordering between ratios, the ratios themselves). They are NaN where there is no ratio.
    """
    by_id = {number.id: number for number in numbers()}
    rows = []
    for row in table.to_dict("records"):
        low, high = row["published_low"], row["published_high"]
        scale = _scale(by_id[row["id"]])
        allowed = (low / row["below"] - row["points"], high * row["above"] + row["points"])
        ends = {
            "at": row["model"], "from": row["model_low"], "to": row["model_high"],
            "published_from": low, "published_to": high,
            "allowed_from": allowed[0], "allowed_to": allowed[1],
        }  # fmt: skip
        rows.append({
            "id": row["id"], "theme": row["theme"],
            "label": label(row["quantity"], row["id"].partition(".")[0]),
            "standing": row["standing"], "in": row["in"], "note": _note(row, scale),
            **{name: value / scale for name, value in ends.items()},
        })  # fmt: skip
    return pd.DataFrame(rows)


def _scale(number: Number) -> float:
    """What one is on the axis; NaN for a number that has no ratio."""
    if number.standing is Standing.HELD:
        return math.nan
    if number.compare is Compare.WORDS and number.unit == "ratio":
        return 1.0
    return number.middle if number.low > 0.0 and math.isfinite(number.high) else math.nan


def _note(row: dict[str, Any], scale: float) -> str:
    """Words in place of a mark."""
    if row["standing"] == Standing.HELD:
        return "no such process"
    if math.isnan(row["model"]):
        return "the model has none"
    if math.isnan(scale):
        return f"{row['model']:.3g} {row['unit']}; published {row['published']}"
    return ""


def draw(table: pd.DataFrame) -> Figure:
    """The figure of a table of `evidence.run.run`; call within `style.theme()`."""
    handles = [
        dot(IN, True, "judged, comes out"), dot(OUT, True, "judged, does not"),
        dot(IN, False, "used to set a value, comes out"), dot(OUT, False, "used, does not"),
        Patch(color=style.SHADE, label="difference between studies"),
        Patch(color=style.FAINT, label="published range"),
    ]  # fmt: skip
    foot = (
        "Model over published number: median and 5 to 95 % over draws of what the papers do not "
        "tell. Held against the model: it has no such process. A statement about the model, not "
        "about a real colony. Experiments by the names they have in evidence.csv."
    )
    return sheet(marks(table), headline(table), handles, foot, _scaled, _row)


def _scaled(axes: Axes) -> None:
    axes.set(xscale="log", xlim=EDGES)
    axes.minorticks_off()
    ticks = [0.25, 0.5, 1.0, 2.0, 4.0]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks], fontsize=SIZE)
    axes.axvline(1.0, color=style.QUIET, lw=0.8, zorder=1)


def _row(axes: Axes, row: dict[str, Any], y: float) -> None:
    colour = IN if row["in"] else OUT
    judged, held = (row["standing"] == s for s in (Standing.JUDGED, Standing.HELD))
    name(axes, row["label"], y, style.QUIET if held else style.INK)
    if row["note"]:
        note(axes, row["note"], y, style.QUIET if held else colour)
        return
    for part, shade, tall in (("allowed", style.SHADE, 0.8), ("published", style.FAINT, 0.35)):
        low, high = np.clip((row[f"{part}_from"], row[f"{part}_to"]), *EDGES)
        axes.barh(y, high - low, left=low, height=tall, color=shade, lw=0, zorder=0.5)
        axes.plot([low] if low == high else [], [y] if low == high else [], "|", color=shade)
    low, high = np.clip((row["from"], row["to"]), *EDGES)
    axes.plot([low, high], [y, y], color=colour, lw=1.4, solid_capstyle="butt", zorder=2)
    point(axes, row["at"], y, EDGES, colour, filled=judged)
