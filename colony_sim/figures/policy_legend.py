"""The policies of a figure with their colours and markers, in rows below its title."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.lines import Line2D

from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROW = 0.34
"""Height of a row (in)."""


def draw(
    page: Figure,
    names: Sequence[str],
    top: float,
    more: Sequence[tuple[Line2D, str]] = (),
    first: int = 0,
) -> float:
    """Write the legend below `top` (in); returns the height below it.

    Parameters
    ----------
    names : sequence of str
        Policies in the order of the tables, which decides colour and marker.
    more : sequence of (Line2D, str)
        Further marks and what they mean.
    first : int
        Place in the tables of the first of the names.
    """
    marks = [
        Line2D(
            [],
            [],
            color=style.POLICY,
            linestyle=style.dash(i),
            marker=style.marker(i),
            markersize=9,
            linewidth=2.5,
        )  # fmt: skip
        for i in range(first, first + len(names))
    ]
    most = 26 if len(names) > 1 else 80
    texts = [*style.labels(names, 1, most), *(text for _, text in more)]
    marks += [mark for mark, _ in more]
    if not texts:
        return top
    widest = max(style.text_width(page, text, style.BODY) for text in texts) + 0.75
    columns = max(1, min(len(texts), int((style.WIDTH - 0.8) / widest)))
    rows = -(-len(texts) // columns)
    # A legend fills its columns one after the other; rows read better.
    order = [i for column in range(columns) for i in range(column, len(texts), columns)]
    page.legend([marks[i] for i in order], [texts[i] for i in order], ncols=columns,
                loc="upper left", borderpad=0, columnspacing=1.2, handlelength=1.6,
                handletextpad=0.5, labelspacing=0.35,
                bbox_to_anchor=(0.3 / style.WIDTH, (top - 0.02) / style.HEIGHT))  # fmt: skip
    return top - rows * ROW
