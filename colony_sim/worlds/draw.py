"""Where every published number falls within what the worlds predict, in one figure."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.evidence.draw import shared_out
from colony_sim.evidence.numbers import Number, Standing, numbers
from colony_sim.figures import style
from colony_sim.words.labels import shortened
from colony_sim.worlds import literature
from colony_sim.worlds.predictive import ENDS

#: The scale: 0 and 1 are the ends of the 90 % range; what lies beyond is an arrow at the edge.
EDGES = (-0.6, 1.6)
IN, OUT = style.PALETTE[0], style.PALETTE[1]
_COLUMNS = 3
_SIZE, _SMALL = 9.0, 8.0
#: Widths (in) of a column, of its labels, and height of a row.
_WIDE, _LABEL, _ROW = 7.2, 4.35, 0.185
_HEAD, _FOOT = 1.5, 0.75
_LABEL_MOST = 74


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
            "label": _label(number), "inside": bool(row["inside"]), "note": _note(row),
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


def _label(number: Number) -> str:
    quantity = shortened(number.quantity, _LABEL_MOST - len(number.replication))
    return f"{quantity} · {number.replication}"


def draw(table: pd.DataFrame, headline: str) -> Figure:
    """The figure of a table of `predictive`; call within `style.theme()`."""
    drawn = marks(table)
    columns = shared_out(drawn, _COLUMNS)
    tall = max(sum(len(rows) + 2 for _, rows in column) for column in columns)
    width, height = _WIDE * len(columns), tall * _ROW + _HEAD + _FOOT
    figure = style.new_figure()
    figure.set_size_inches(width, height)
    title, size = style.fitted(figure, headline, width - 0.6, 2) or (headline, 18.0)
    figure.text(
        0.3 / width, 1 - 0.25 / height, title, size=min(size, 20.0), weight="bold", va="top"
    )
    _legend(figure, width, height)
    for k, column in enumerate(columns):
        _column(figure, column, k, width, height)
    foot = (
        "Band: 90 % of what the worlds predict for a new study, with its own strain, open "
        "circumstances and error; every row stretched to the same width. A statement about the "
        "model, not about a real colony. Experiments by the names they have in numbers.csv."
    )
    figure.text(0.3 / width, 0.2 / height, foot, size=_SIZE + 1, color=style.QUIET, va="bottom")
    return figure


def _legend(figure: Figure, width: float, height: float) -> None:
    def dot(colour: str, filled: bool, text: str) -> Line2D:
        face = colour if filled else "white"
        return Line2D([], [], marker="o", ls="", color=colour, mfc=face, label=text)

    handles = [
        dot(IN, True, "judged, within"), dot(OUT, True, "judged, outside"),
        dot(IN, False, "used in the fit, within"), dot(OUT, False, "used, outside"),
        Patch(color=style.SHADE, label="90 % of predictions"),
        Patch(color=style.FAINT, label="middle half of predictions"),
    ]  # fmt: skip
    figure.legend(
        handles=handles, loc="upper left", ncols=6, fontsize=11,
        bbox_to_anchor=(0.2 / width, 1 - 0.75 / height),
    )  # fmt: skip


def _column(
    figure: Figure, column: list[tuple[str, pd.DataFrame]], k: int, width: float, height: float
) -> None:
    rows = sum(len(part) + 2 for _, part in column)
    left, tall = k * _WIDE + _LABEL, rows * _ROW
    axes = figure.add_axes((
        left / width, (height - _HEAD - tall) / height, (_WIDE - _LABEL - 0.25) / width,
        tall / height,
    ))  # fmt: skip
    axes.set(xlim=EDGES, ylim=(rows - 0.5, -0.5))
    axes.set_yticks([])
    axes.set_xticks([0.0, 1.0], ["5 %", "95 %"], fontsize=_SIZE)
    y = 0
    for theme, part in column:
        axes.text(
            -(_LABEL - 0.3) / (_WIDE - _LABEL - 0.25), y + 0.6, theme.capitalize(),
            transform=axes.get_yaxis_transform(), size=12, weight="bold", va="center",
        )  # fmt: skip
        y += 2
        for row in part.to_dict("records"):
            _row(axes, row, y - 0.5)
            y += 1


def _row(axes: Axes, row: dict[str, Any], y: float) -> None:
    colour = IN if row["inside"] else OUT
    axes.text(
        -0.02, y, row["label"], transform=axes.get_yaxis_transform(), ha="right", va="center",
        size=_SMALL, color=style.INK,
    )  # fmt: skip
    if row["note"]:
        axes.text(
            0.02, y, row["note"], transform=axes.get_yaxis_transform(), va="center",
            size=_SMALL - 0.5, color=colour,
        )  # fmt: skip
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
    at = float(np.clip(nearest, *EDGES))
    marker = "<" if nearest < EDGES[0] else ">" if nearest > EDGES[1] else "o"
    filled = row["standing"] == Standing.JUDGED
    axes.plot(
        at, y, marker, color=colour, mfc=colour if filled else "white", ms=4.5, zorder=3,
        clip_on=False,
    )  # fmt: skip
