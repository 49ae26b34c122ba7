"""Slides of one idea: a short title in large type, and type that is read from the back row."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from colony_sim.drawing import palette
from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.figures import drawn, style
from colony_sim.words.labels import shortened

TITLE, LEAST_TITLE, LARGE, BODY, LEAST = 44.0, 34.0, 32.0, 24.0, 18.0
"""Type sizes (points): largest and least title, what counts, words, the foot."""
LINE, LEADING = 1.25, 0.96
"""Height of a line over its type size, and what Matplotlib makes of that with this typeface."""
MARGIN = 0.6
"""Nothing lies nearer to the edge (in)."""
MOST_WORDS = 12
"""Words of a title."""
_CUTS = (60, 40, 30, 24, 20, 16, 12, 9)


def title(words: Callable[[Callable[[str], str]], str], names: Sequence[str]) -> str:
    """A title of at most `MOST_WORDS` words on two lines, the names in it cut as that asks for.

    Parameters
    ----------
    words : callable
        Gives the title, handed what quotes a name.
    names : sequence of str
        The policies.
    """
    text = ""
    for most in _CUTS:
        if len({shortened(name, most) for name in names}) < len(names):
            break
        text = words(lambda name, most=most: f"“{shortened(name, most)}”")  # type: ignore[misc]
        if len(text.split()) <= MOST_WORDS and len(_lines(text, LEAST_TITLE)) <= 2:
            return text
    # Names of too many words: only their signs are left.
    text = words(lambda name: style.sign(list(names).index(name)))
    return text if len(text.split()) <= MOST_WORDS else " ".join(text.split()[:MOST_WORDS]) + " …"


def new(text: str) -> tuple[Figure, float]:
    """An empty slide with its title; the height (in) below it."""
    figure = style.new_figure()
    figure.set_facecolor(palette.PAPER)
    size = next(
        (
            size
            for count in (1, 2, 3)
            for size in (TITLE, 40.0, 37.0, LEAST_TITLE)
            if len(_lines(text, size)) <= count
        ),
        LEAST_TITLE,
    )
    lines = _lines(text, size)
    figure.text(MARGIN / style.WIDTH, 1 - 0.5 / style.HEIGHT, "\n".join(lines), size=size,
                weight="bold", va="top", linespacing=LEADING)  # fmt: skip
    return figure, style.HEIGHT - 0.5 - len(lines) * size * LINE / 72


def foot(figure: Figure, invented: bool, text: str = "") -> None:
    """That it is a model, at the foot; `text` before it."""
    parts = [text, "A model, not a real colony", "invented scenario" if invented else ""]
    figure.text(MARGIN / style.WIDTH, 0.36 / style.HEIGHT, "  ·  ".join(filter(None, parts)),
                size=LEAST, color=style.QUIET)  # fmt: skip


def write(
    figure: Figure, x: float, y: float, text: str, size: float = BODY, width: float | None = None,
    **more: object,
) -> float:  # fmt: skip
    """Write words with their upper left corner at (x, y) in inches; the height below them.

    `width` (in): longer lines are broken.
    """
    lines = text if width is None else "\n".join(wrapped(text, size, width, **more))
    wide, high = figure.get_size_inches()
    more = {"va": "top", "linespacing": LEADING, **more}
    figure.text(x / wide, y / high, lines, size=size, **more)  # type: ignore[arg-type]
    return y - (lines.count("\n") + 1) * size * LINE / 72


def smaller(size: float, beside: float) -> float:
    """A size for what stands back, never below `LEAST` where the words beside it are not."""
    return max(size, min(LEAST, beside))


def wrapped(text: str, size: float, width: float, **more: object) -> list[str]:
    """The text in lines no wider than `width` (in)."""
    weight = str(more.get("weight", "normal"))
    found: list[str] = []
    for word in text.split():
        longer = f"{found[-1]} {word}" if found else word
        if found and style.line_width(longer, size, weight) <= width:
            found[-1] = longer
        else:
            found.append(word)
    return found


def named(
    figure: Figure, x: float, y: float, index: int, name: str, width: float, size: float = BODY,
    ahead: str = "", most_lines: int = 2,
) -> float:  # fmt: skip
    """A policy by its sign and name, on few lines, with words ahead; the height below."""
    wide, high = figure.get_size_inches()
    left = x + 1.25 * size / 72
    if ahead:
        write(figure, left, y, ahead, smaller(0.8 * size, size), color=style.QUIET)
        y -= 1.1 * size / 72
    figure.add_artist(_sign(x + 0.45 * size / 72, y - 0.55 * size / 72, index, size, wide, high))
    room = width - 1.3 * size / 72
    lines = wrapped(name, size, room, weight="bold")
    for most in range(len(name) - 1, 8, -1):
        if len(lines) <= most_lines:
            break
        lines = wrapped(shortened(name, most), size, room, weight="bold")
    return write(figure, left, y, "\n".join(lines), size, weight="bold")


def _sign(x: float, y: float, index: int, size: float, wide: float, high: float):  # type: ignore[no-untyped-def]
    from matplotlib.lines import Line2D

    return Line2D([x / wide], [y / high], marker=style.marker(index), color=style.POLICY,
                  markersize=0.72 * size, linestyle="")  # fmt: skip


def axes(figure: Figure, left: float, low: float, width: float, height: float) -> Axes:
    """Axes in inches from the lower left corner of a page of any size."""
    wide, high = figure.get_size_inches()
    return figure.add_axes(
        (left / wide, low / high, width / wide, height / high), xticks=[], yticks=[]
    )  # fmt: skip


def picture(
    figure: Figure, scene: Scene, left: float, low: float, width: float, height: float
) -> None:
    """A drawn scene within a box given in inches."""
    drawn.paint(axes(figure, left, low, width, height), scene)


def signs(glyphs: Sequence[str], columns: int, pitch: tuple[float, float], size: float) -> Scene:
    """Signs in rows from the left, the first row at the top; `pitch` and `size` in bin units."""
    rows = -(-len(glyphs) // columns)
    scene = Scene(columns * pitch[0], max(rows, 1) * pitch[1])
    for k, glyph in enumerate(glyphs):
        at = Place((k % columns + 0.5) * pitch[0], (k // columns + 0.5) * pitch[1], size, size)
        scene.items.append(Mark(glyph, at))
    return scene


def _lines(text: str, size: float) -> list[str]:
    lines = wrapped(text, size, style.WIDTH - 2 * MARGIN, weight="bold")
    if len(lines) == 2:
        # Two lines of about one length read best.
        middle = len(text) // 2
        cuts = [i for i, letter in enumerate(text) if letter == " "]
        cut = min(cuts, key=lambda i: abs(i - middle))
        even = [text[:cut], text[cut + 1 :]]
        if all(style.line_width(line, size, "bold") <= style.WIDTH - 2 * MARGIN
               for line in even):  # fmt: skip
            return even
    return lines
