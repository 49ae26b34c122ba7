"""Every published number and the model's, as ratios, with the spread between studies."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from colony_sim.evidence.numbers import Compare, Number, Standing, numbers
from colony_sim.evidence.words import headline
from colony_sim.figures import style
from colony_sim.words.labels import shortened

#: Ratios drawn; what lies beyond is an arrow at the edge.
EDGES = (0.2, 5.0)
IN, OUT = style.PALETTE[0], style.PALETTE[1]
_COLUMNS = 3
_SIZE, _SMALL = 9.0, 8.0
#: Widths (in) of a column, of its labels, and height of a row.
_WIDE, _LABEL, _ROW = 7.2, 4.35, 0.185
_HEAD, _FOOT = 1.5, 0.75
#: Characters of a label.
_LABEL_MOST = 74
#: Themes of a column, each with its rows.
Column = list[tuple[str, pd.DataFrame]]


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
            "id": row["id"], "theme": row["theme"], "label": _label(row),
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


def _label(row: dict[str, Any]) -> str:
    """The quantity and the experiment, by the first part of the id in the table."""
    experiment = row["id"].partition(".")[0]
    return f"{shortened(row['quantity'], _LABEL_MOST - len(experiment))} · {experiment}"


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
    drawn = marks(table)
    columns = shared_out(drawn, _COLUMNS)
    tall = max(sum(len(rows) + 2 for _, rows in column) for column in columns)
    width, height = _WIDE * len(columns), tall * _ROW + _HEAD + _FOOT
    figure = style.new_figure()
    figure.set_size_inches(width, height)
    figure.text(0.3 / width, 1 - 0.35 / height, headline(table), size=20, weight="bold", va="top")
    _legend(figure, width, height)
    for k, column in enumerate(columns):
        _column(figure, column, k, width, height)
    foot = (
        "Model over published number: median and 5 to 95 % over draws of what the papers do not "
        "tell. Held against the model: it has no such process. A statement about the model, not "
        "about a real colony. Experiments by the names they have in evidence.csv."
    )
    figure.text(0.3 / width, 0.2 / height, foot, size=_SIZE + 1, color=style.QUIET, va="bottom")
    return figure


def shared_out(drawn: pd.DataFrame, most: int) -> list[Column]:
    """Themes shared out over columns in order, as evenly as whole themes allow."""
    themes = [(str(theme), rows) for theme, rows in drawn.groupby("theme", sort=False)]
    total = sum(len(rows) + 2 for _, rows in themes)
    columns: list[Column] = [[] for _ in range(most)]
    before = 0
    for theme, rows in themes:
        half = before + (len(rows) + 2) / 2
        columns[min(most - 1, int(half * most / total))].append((theme, rows))
        before += len(rows) + 2
    return [column for column in columns if column]


def _legend(figure: Figure, width: float, height: float) -> None:
    def dot(colour: str, filled: bool, text: str) -> Line2D:
        face = colour if filled else "white"
        return Line2D([], [], marker="o", ls="", color=colour, mfc=face, label=text)

    handles = [
        dot(IN, True, "judged, comes out"), dot(OUT, True, "judged, does not"),
        dot(IN, False, "used to set a value, comes out"), dot(OUT, False, "used, does not"),
        Patch(color=style.SHADE, label="difference between studies"),
        Patch(color=style.FAINT, label="published range"),
    ]  # fmt: skip
    figure.legend(
        handles=handles, loc="upper left", ncols=6, fontsize=11,
        bbox_to_anchor=(0.2 / width, 1 - 0.75 / height),
    )  # fmt: skip


def _column(figure: Figure, column: Column, k: int, width: float, height: float) -> None:
    rows = sum(len(part) + 2 for _, part in column)
    left = k * _WIDE + _LABEL
    tall = rows * _ROW
    axes = figure.add_axes((
        left / width, (height - _HEAD - tall) / height, (_WIDE - _LABEL - 0.25) / width,
        tall / height,
    ))  # fmt: skip
    axes.set(xscale="log", xlim=EDGES, ylim=(rows - 0.5, -0.5))
    axes.set_yticks([])
    axes.minorticks_off()
    ticks = [0.25, 0.5, 1.0, 2.0, 4.0]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks], fontsize=_SIZE)
    axes.axvline(1.0, color=style.QUIET, lw=0.8, zorder=1)
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
    colour = IN if row["in"] else OUT
    judged = row["standing"] == Standing.JUDGED
    axes.text(
        -0.02, y, row["label"], transform=axes.get_yaxis_transform(), ha="right", va="center",
        size=_SMALL, color=style.QUIET if row["standing"] == Standing.HELD else style.INK,
    )  # fmt: skip
    if row["note"]:
        axes.text(
            0.02, y, shortened(row["note"], 46), transform=axes.get_yaxis_transform(), va="center",
            size=_SMALL - 0.5, color=style.QUIET if row["standing"] == Standing.HELD else colour,
        )  # fmt: skip
        return
    for name, shade, tall in (("allowed", style.SHADE, 0.8), ("published", style.FAINT, 0.35)):
        low, high = np.clip((row[f"{name}_from"], row[f"{name}_to"]), *EDGES)
        axes.barh(y, high - low, left=low, height=tall, color=shade, lw=0, zorder=0.5)
        axes.plot([low] if low == high else [], [y] if low == high else [], "|", color=shade)
    at, low, high = np.clip((row["at"], row["from"], row["to"]), *EDGES)
    axes.plot([low, high], [y, y], color=colour, lw=1.4, solid_capstyle="butt", zorder=2)
    marker = "<" if row["at"] < EDGES[0] else ">" if row["at"] > EDGES[1] else "o"
    axes.plot(
        at, y, marker, color=colour, mfc=colour if judged else "white", ms=4.5, zorder=3,
        clip_on=False,
    )  # fmt: skip
