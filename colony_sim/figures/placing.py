"""Labels where there is room: beside the marks of a plot, and names cut to a width."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from colony_sim.figures import style
from colony_sim.words.labels import shortened

_WAYS = ((0, 1), (1, 0.6), (-1, 0.6), (1, -0.6), (-1, -0.6), (0, -1), (1, 1.6), (-1, 1.6))


def cut(page: Figure, text: str, width: float, size: float = style.BODY) -> str:
    """Bold text with its middle left out, so that it is no wider than `width` (in)."""
    for most in range(len(text), 6, -1):
        found = shortened(text, most)
        if style.text_width(page, found, size, "bold") <= width:
            return found
    return shortened(text, 6)


def beside(
    axes: Axes, spots: Sequence[tuple[float, float]], texts: Sequence[str], size: float, away: float
) -> list[Annotation]:
    """Write each text beside its spot.

    Parameters
    ----------
    axes : Axes
        Its limits must be final.
    spots : sequence of (x, y)
        In data coordinates.
    texts : sequence of str
        One a spot, the most important first: a text for which there is no room is left out.
    size : float
        Of the type (points).
    away : float
        Radius of a mark (points).

    Returns
    -------
    list of Annotation
        Those that were written.
    """
    figure = axes.figure
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]  # Agg has one
    unit = figure.dpi / 72
    marks = []
    for spot in spots:
        x, y = axes.transData.transform(spot)
        r = away * unit
        marks.append(Bbox.from_extents(x - r, y - r, x + r, y + r))
    taken: list[Bbox] = []
    inside = axes.get_window_extent().padded(size * unit / 3)
    written = []
    for i, (spot, text) in enumerate(zip(spots, texts, strict=True)):
        others = [*taken, *(mark for j, mark in enumerate(marks) if j != i)]
        for across, up in _WAYS:
            note = axes.annotate(
                text, spot, (across * (away + 3), up * (away + 3)), textcoords="offset points",
                ha={0: "center", 1: "left", -1: "right"}[across], weight="bold", size=size,
                va="bottom" if up > 0.8 else "top" if up < -0.8 else "center", zorder=6,
            )  # fmt: skip
            box = note.get_window_extent(renderer)
            free = not any(box.overlaps(other) for other in others)
            if free and inside.contains(box.x0, box.y0) and inside.contains(box.x1, box.y1):
                taken.append(box)
                written.append(note)
                break
            note.remove()
    return written
