"""Where every published number falls within what the worlds predict, in one figure."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from colony_sim.evidence.numbers import Standing, numbers
from colony_sim.evidence.sheet import IN, OUT, SIZE, dot, label, name, note, point, sheet
from colony_sim.figures import style
from colony_sim.worlds import literature
from colony_sim.worlds.predictive import ENDS

#: The scale: 0 and 1 are the ends of the 90 % range; what lies beyond is an arrow at the edge.
EDGES = (-0.6, 1.6)


def marks(table: pd.DataFrame) -> pd.DataFrame:
    """What is drawn, one row a number.

    Columns `at`, `to` (ends of the published range) and `lower`, `middle`, `upper` (quartiles of
    the predictions) on the scale of `EDGES`; NaN where the predictions have no width, or no end,
    which column `note` tells.
    """
    by_id = {number.id: number for number in numbers()}
    rows = []
    for row in table.to_dict("records"):
        number = by_id[str(row["id"])]
        read = literature.scale(number)
        low, lower, middle, upper, high = (float(read(row[end])) for end in ENDS)
        wide = high - low if high > low and math.isfinite(high) else math.nan
        first, last = literature.bounds(number)
        places = [(float(v) - low) / wide for v in (first, last, lower, middle, upper)]
        rows.append({
            "id": number.id, "theme": number.theme, "standing": str(number.standing),
            "label": label(number.quantity, number.replication),
            "inside": bool(row["inside"]), "note": _note(row),
            **dict(zip(("at", "to", "lower", "middle", "upper"), places, strict=True)),
        })  # fmt: skip
    return pd.DataFrame(rows)


def _note(row: dict[str, Any]) -> str:
    """Words in place of a mark."""
    if math.isnan(row["low"]):
        return "the worlds give none"
    if math.isinf(row["high"]):
        return f"{row['low']:.3g} {row['unit']} to never"
    return f"always {row['low']:.3g}" if row["high"] <= row["low"] else ""


def draw(table: pd.DataFrame, headline: str) -> Figure:
    """The figure of a table of `predictive`; call within `style.theme()`."""
    handles = [
        dot(IN, True, "judged, within"), dot(OUT, True, "judged, outside"),
        dot(IN, False, "used in the fit, within"), dot(OUT, False, "used, outside"),
        Patch(color=style.SHADE, label="90 % of predictions"),
        Patch(color=style.FAINT, label="middle half of predictions"),
    ]  # fmt: skip
    foot = (
        "Band: 90 % of what the worlds predict for a new study, with its own strain, open "
        "circumstances and error; every row stretched to the same width. A statement about the "
        "model, not about a real colony. Experiments by the names they have in numbers.csv."
    )
    return sheet(marks(table), headline, handles, foot, _scaled, _row)


def _scaled(axes: Axes) -> None:
    axes.set(xlim=EDGES)
    axes.set_xticks([0.0, 1.0], ["5 %", "95 %"], fontsize=SIZE)


def _row(axes: Axes, row: dict[str, Any], y: float) -> None:
    colour = IN if row["inside"] else OUT
    name(axes, row["label"], y)
    if row["note"]:
        note(axes, row["note"], y, colour)
        return
    axes.barh(y, 1.0, left=0.0, height=0.8, color=style.SHADE, lw=0, zorder=0.5)
    axes.barh(
        y, row["upper"] - row["lower"], left=row["lower"], height=0.8, color=style.FAINT, lw=0,
        zorder=0.6,
    )  # fmt: skip
    low, high = np.clip((row["at"], row["to"]), *EDGES)
    if low < high:
        axes.plot([low, high], [y, y], color=colour, lw=1.4, solid_capstyle="butt", zorder=2)
    nearest = float(np.clip(row["middle"], row["at"], row["to"]))
    point(axes, nearest, y, EDGES, colour, filled=row["standing"] == Standing.JUDGED)
