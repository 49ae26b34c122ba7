"""A sheet of published numbers: rows by theme in columns, each with its quantity and experiment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from colony_sim.figures import style
from colony_sim.words.labels import shortened

IN, OUT = style.POLICY, style.OTHER
_COLUMNS = 3
SIZE, SMALL = 9.0, 8.0
"""Type sizes (points) of an axis and of a row."""
#: Widths (in) of a column, of its labels, and height of a row.
_WIDE, _LABEL, _ROW = 7.2, 4.35, 0.185
_HEAD, _FOOT = 1.5, 0.75
#: Characters of a label.
_LABEL_MOST = 74
#: Themes of a column, each with its rows.
_Column = list[tuple[str, pd.DataFrame]]


def label(quantity: str, experiment: str) -> str:
    """A row's label, the experiment by the first part of the id in the table."""
    return f"{shortened(quantity, _LABEL_MOST - len(experiment))} · {experiment}"


def dot(colour: str, filled: bool, text: str) -> Line2D:
    """A dot of the legend."""
    face = colour if filled else "white"
    return Line2D([], [], marker="o", ls="", color=colour, mfc=face, label=text)


def sheet(
    drawn: pd.DataFrame,
    headline: str,
    handles: Sequence[Artist],
    foot: str,
    scale: Callable[[Axes], object],
    paint: Callable[[Axes, dict[str, Any], float], object],
) -> Figure:
    """The figure; call within `style.theme()`.

    Parameters
    ----------
    drawn : DataFrame
        One row a number, with columns theme and label.
    headline, foot : str
    handles : sequence of Artist
        Of the legend.
    scale : callable
        Sets the horizontal axis of a column.
    paint : callable
        Draws a row at a height.
    """
    columns = _shared_out(drawn)
    tall = max(sum(len(rows) + 2 for _, rows in column) for column in columns)
    width, height = _WIDE * len(columns), tall * _ROW + _HEAD + _FOOT
    figure = style.new_figure()
    figure.set_size_inches(width, height)
    figure.text(0.3 / width, 1 - 0.35 / height, headline, size=20, weight="bold", va="top")
    figure.legend(
        handles=handles, loc="upper left", ncols=6, fontsize=11,
        bbox_to_anchor=(0.2 / width, 1 - 0.75 / height),
    )  # fmt: skip
    for k, column in enumerate(columns):
        _column(figure, column, k, width, height, scale, paint)
    figure.text(0.3 / width, 0.2 / height, foot, size=SIZE + 1, color=style.QUIET, va="bottom")
    return figure


def _shared_out(drawn: pd.DataFrame) -> list[_Column]:
    """Themes shared out over the columns in order, as evenly as whole themes allow."""
    themes = [(str(theme), rows) for theme, rows in drawn.groupby("theme", sort=False)]
    total = sum(len(rows) + 2 for _, rows in themes)
    columns: list[_Column] = [[] for _ in range(_COLUMNS)]
    before = 0
    for theme, rows in themes:
        half = before + (len(rows) + 2) / 2
        columns[min(_COLUMNS - 1, int(half * _COLUMNS / total))].append((theme, rows))
        before += len(rows) + 2
    return [column for column in columns if column]


def _column(
    figure: Figure,
    column: _Column,
    k: int,
    width: float,
    height: float,
    scale: Callable[[Axes], object],
    paint: Callable[[Axes, dict[str, Any], float], object],
) -> None:
    rows = sum(len(part) + 2 for _, part in column)
    left = k * _WIDE + _LABEL
    tall = rows * _ROW
    axes = figure.add_axes((
        left / width, (height - _HEAD - tall) / height, (_WIDE - _LABEL - 0.25) / width,
        tall / height,
    ))  # fmt: skip
    axes.set(ylim=(rows - 0.5, -0.5))
    axes.set_yticks([])
    scale(axes)
    y = 0
    for theme, part in column:
        axes.text(
            -(_LABEL - 0.3) / (_WIDE - _LABEL - 0.25), y + 0.6, theme.capitalize(),
            transform=axes.get_yaxis_transform(), size=12, weight="bold", va="center",
        )  # fmt: skip
        y += 2
        for row in part.to_dict("records"):
            paint(axes, row, y - 0.5)
            y += 1


def name(axes: Axes, text: str, y: float, colour: str = style.INK) -> None:
    """The label of a row, left of the axes."""
    axes.text(
        -0.02, y, text, transform=axes.get_yaxis_transform(), ha="right", va="center", size=SMALL,
        color=colour,
    )  # fmt: skip


def point(
    axes: Axes, at: float, y: float, edges: tuple[float, float], colour: str, filled: bool
) -> None:
    """A row's dot; an arrow at the edge for what lies beyond."""
    marker = "<" if at < edges[0] else ">" if at > edges[1] else "o"
    axes.plot(
        min(max(at, edges[0]), edges[1]), y, marker, color=colour,
        mfc=colour if filled else "white", ms=4.5, zorder=3, clip_on=False,
    )  # fmt: skip


def note(axes: Axes, text: str, y: float, colour: str) -> None:
    """Words in place of a mark."""
    axes.text(
        0.02, y, shortened(text, 46), transform=axes.get_yaxis_transform(), va="center",
        size=SMALL - 0.5, color=colour,
    )  # fmt: skip
