"""Draws gains over worlds: a dot each on the scale of gain, and what lies on each side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from colony_sim.figures import style
from colony_sim.studies.comparison.results import Results, footer
from colony_sim.words.estimate import dashed, short
from colony_sim.words.labels import shortened
from colony_sim.words.units import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from colony_sim.studies.comparison.gains import Side

BIG = 40.0
"""Type size of the shares (points)."""
MOST_DOT, LEAST_DOT = 0.34, 0.035
"""Diameters of a dot (in)."""
_COLUMNS = (1.1, 1.0, 1.1)
"""Widths of the columns of shares (in)."""
_BEYOND = 2.2
"""A dot farther from the middle than this many widths of the central 90 % is drawn at the edge."""


def figure(
    sides: Sequence[Side], title: str, unit: str, source: str, results: Results, runs: str
) -> Figure:
    """One pair of policies with large words, or a row for each of several."""
    slide = style.new_figure()
    top = style.headed(slide, title)
    footer(slide, results, runs)
    if len(sides) == 1:
        _one(slide, sides[0], top, unit, source, results)
    else:
        _rows(slide, sides, top, unit, source, results)
    return slide


def limits(sides: Sequence[Side]) -> tuple[float, float]:
    """Ends of the scale: all gains, but for those far out, and 0."""
    ends = []
    for side in sides:
        values = _values(side)
        low, high = [side.low, side.high] if not len(values) else np.quantile(values, [0.05, 0.95])
        low, high = min(low, side.low), max(high, side.high)
        near = values[np.abs(values - (low + high) / 2) <= _BEYOND * (high - low)]
        ends += [side.low, side.high, -side.zone, side.zone, *near]
    low, high = min(ends), max(ends)
    room = 0.04 * (high - low) or 1.0
    return low - room, high + room


def largest(sides: Sequence[Side], ends: tuple[float, float], wide: float, high: float) -> float:
    """Diameter (in) of the largest dots whose stacks fit into rooms of `wide` by `high` (in)."""
    size = MOST_DOT
    while size > LEAST_DOT:
        levels = [stacked(_values(side), side.zone, ends, wide, size)[1] for side in sides]
        if (max(level.max(initial=0) for level in levels) + 1) * size <= high:
            break
        size *= 0.96
    return size


def stacked(
    values: np.ndarray, zone: float, ends: tuple[float, float], wide: float, size: float
) -> tuple[np.ndarray, np.ndarray]:
    """Stacks of dots.

    They are counted from the edges of the zone (from 0 without one), so that none has dots of
    both sides.

    Parameters
    ----------
    values : 1-D array
        Gains.
    zone : float
        Half width of the gains that count as none.
    ends : two floats
        Of the scale; gains beyond are put at the end.
    wide : float
        Length of the scale (in).
    size : float
        Diameter of a dot (in).

    Returns
    -------
    x : array
        Middle of a dot's stack, unit of the gain.
    level : array of int
        Its place in the stack, from 0.
    """
    x = _middles(np.clip(values, *ends), zone, size * (ends[1] - ends[0]) / wide)
    level = np.zeros(len(x), dtype=int)
    order = np.argsort(values, kind="stable")
    for middle in np.unique(x):
        own = order[x[order] == middle]
        level[own] = np.arange(len(own))
    return x, level


def _middles(values: np.ndarray, zone: float, step: float) -> np.ndarray:
    outward = np.maximum(np.abs(values) - zone, 0.0)
    beside = np.sign(values) * (zone + (np.floor(outward / step) + 0.5) * step)
    if zone == 0.0:
        return np.round(beside, 12)
    # Within the zone as many stacks as fit, at least one.
    cells = max(int(2 * zone / step), 1)
    place = np.clip(np.floor((values + zone) / (2 * zone / cells)), 0, cells - 1)
    within = -zone + (place + 0.5) * 2 * zone / cells
    return np.round(np.where(outward > 0.0, beside, within), 12)


def _one(slide: Figure, side: Side, top: float, unit: str, source: str, results: Results) -> None:
    left, width, low = 0.6, style.WIDTH - 1.2, 1.35
    # Inches upwards, from where the stacks stand; below is room for the interval.
    foot, high = 0.75, top - 1.68 - low - 0.75
    axes = style.axes(slide, left, low, width, foot + high)
    ends = limits([side])
    axes.set(xlim=ends, ylim=(-foot, high), yticks=[])
    colours = _colours(results, side)
    _shares(slide, side, top - 0.22, left, left + width, colours, source)
    _ground(axes, side.zone, 0.5 / (foot + high))
    values = _values(side)
    size = largest([side], ends, width, high - 0.55)
    x, level = stacked(values, side.zone, ends, width, size)
    _dots(axes, side, x, (level + 0.5) * size, size, colours)
    axes.axhline(0, color=style.FAINT, linewidth=1, zorder=1)
    _interval(axes, side, -0.2, 3.5, 13)
    text = (
        f"◆ {gained(side.expected)} on average;  nine of ten from {gained(side.low)} to "
        f"{gained(side.high)}"
    )
    half = style.text_width(slide, text, style.BODY) / 2 / width
    at = ((side.low + side.high) / 2 - ends[0]) / (ends[1] - ends[0])
    at = min(max(at, half + 0.01), 0.99 - half)
    axes.text(at, -0.36, text, transform=axes.get_yaxis_transform(), ha="center", va="top")
    tallest = float(x[np.argmax(level)]) if len(x) else 0.0
    _whisker(axes, side.chance, tallest > sum(ends) / 2, high - 0.28, width)
    _beyond(axes, values, ends)
    names = style.labels([side.a, side.b], 1, 34)
    _scale(axes, f"gain of “{names[0]}” over “{names[1]}” ({unit})")


def gained(value: float) -> str:
    """A gain with its sign, in two significant digits."""
    return dashed(f"+{short(value)}" if value > 0 else short(value))


def _values(side: Side) -> np.ndarray:
    found: np.ndarray = side.gains["gain"].to_numpy()
    return found


def _colours(results: Results, side: Side) -> list[str]:
    """Of A ahead, of the zone, of B ahead."""
    return [style.POLICY, style.OTHER, style.POLICY]


def _shares(
    slide: Figure,
    side: Side,
    y: float,
    left: float,
    right: float,
    colours: Sequence[str],
    source: str,
) -> None:
    """What lies on each side, in large figures: B at the left, A at the right, as on the scale."""
    first, close, second = side.of_100
    heads = _heads(slide, [side.a, side.b], 0.36 * (right - left))
    texts = [
        (left, "left", heads[1], second, colours[2]),
        (right, "right", heads[0], first, colours[0]),
    ]
    if side.zone > 0.0:
        words = f"hardly differ (±{plain(side.zone)})"
        texts.append(((left + right) / 2, "center", words, close, colours[1]))
    for x, ha, words, share, colour in texts:
        at = x / style.WIDTH
        slide.text(at, y / style.HEIGHT, words, ha=ha, va="top", size=style.HEAD, weight="bold",
                   color=colour)  # fmt: skip
        slide.text(at, (y - 0.32) / style.HEIGHT, f"{share} of 100", ha=ha, va="top", size=BIG,
                   weight="bold", color=colour)  # fmt: skip
    of = f"possible colonies that {source} allow, right to about {side.give_or_take};  a dot each"
    slide.text(0.5, (y - 1.06) / style.HEIGHT, of, ha="center", va="top", color=style.QUIET)


def _heads(slide: Figure, names: Sequence[str], width: float) -> list[str]:
    """The names of those ahead, cut to a width (in)."""
    for most in range(36, 6, -1):
        heads = [f"“{name}” ahead" for name in style.labels(names, 1, most)]
        if all(style.text_width(slide, head, style.HEAD, "bold") <= width for head in heads):
            break
    return heads


def _ground(axes: Axes, zone: float, low: float = 0.0) -> None:
    """The zone, and the line at no difference, from `low` (share of the height) upwards."""
    if zone > 0.0:
        axes.axvspan(-zone, zone, low, color=style.SHADE, linewidth=0, zorder=0)
    axes.axvline(0, low, color=style.QUIET, linewidth=1.6, zorder=0.5)


def _dots(
    axes: Axes, side: Side, x: np.ndarray, y: np.ndarray, size: float, colours: Sequence[str]
) -> None:
    """Filled for A ahead, hollow for B, grey within the zone: told apart without colour."""
    values = _values(side)
    masks = (values > side.zone, np.abs(values) <= side.zone, values < -side.zone)
    edge = max(0.6, 7 * size)
    for mask, colour, full in zip(masks, colours, (True, True, False), strict=True):
        if mask.any():
            axes.scatter(
                x[mask], y[mask], s=(0.86 * size * 72 - edge) ** 2,
                facecolor=colour if full else "white", edgecolor=colour, linewidth=edge, zorder=3,
                clip_on=False,
            )  # fmt: skip


def _interval(axes: Axes, side: Side, y: float, thick: float, tall: float) -> None:
    """Central 90 % as a bar with ends, the expected gain as a diamond."""
    axes.plot([side.low, side.high], [y, y], "-|", color=style.INK, linewidth=thick,
              markersize=tall, markeredgewidth=2.5, zorder=4)  # fmt: skip
    axes.plot(side.expected, y, "D", color=style.INK, markersize=0.75 * tall,
              markeredgecolor="white", markeredgewidth=1, zorder=5)  # fmt: skip


def _whisker(axes: Axes, chance: float, at_left: bool, y: float, width: float) -> None:
    """How far luck alone moves a dot, in the upper corner that has more room."""
    if not (math.isfinite(chance) and chance > 0.0):
        return
    low, high = axes.get_xlim()
    gap = 0.15 * (high - low) / width
    middle = low + gap + chance if at_left else high - gap - chance
    axes.plot([middle - chance, middle + chance], [y, y], "-|", color=style.QUIET, linewidth=2,
              markersize=14, markeredgewidth=2, zorder=4)  # fmt: skip
    beside = middle + chance + gap if at_left else middle - chance - gap
    axes.text(beside, y, "luck moves a dot\nby this much", ha="left" if at_left else "right",
              va="center", color=style.QUIET, linespacing=1.05)  # fmt: skip


def _beyond(axes: Axes, values: np.ndarray, ends: tuple[float, float]) -> None:
    """How many dots stand for gains beyond the ends of the scale."""
    for out, place, ha in ((values < ends[0], 0.0, "left"), (values > ends[1], 1.0, "right")):
        if out.any():
            axes.text(place, 0.62, f"{int(out.sum())} farther out", ha=ha,
                      transform=axes.get_yaxis_transform(),
                      va="bottom", color=style.QUIET)  # fmt: skip


def _scale(axes: Axes, words: str) -> None:
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: _tick(value)))
    axes.set_xlabel(words)


def _tick(value: float) -> str:
    return dashed(f"+{value:g}" if value > 0 else f"{value:g}") if abs(value) > 1e-12 else "0"


def _rows(
    slide: Figure, sides: Sequence[Side], top: float, unit: str, source: str, results: Results
) -> None:
    """A row for each policy set against the same other one."""
    names = style.labels([side.a for side in sides], 2 if len(sides) < 5 else 1)
    widest = max(style.text_width(slide, text, style.BODY) for text in names)
    left, low = 0.35 + widest + 0.2, 1.35
    width, height = style.WIDTH - 0.4 - sum(_COLUMNS) - left, top - 1.15 - low
    axes = style.axes(slide, left, low, width, height)
    ends, row = limits(sides), height / len(sides)
    axes.set(xlim=ends, ylim=(0, height))
    _ground(axes, max(side.zone for side in sides))
    middles = [height - (place + 0.5) * row for place in range(len(sides))]
    axes.set_yticks(middles, labels=names, linespacing=1.0)
    room = row - 0.38
    # Dots of one size, so that rows compare.
    size = largest(sides, ends, width, room)
    for side, middle in zip(sides, middles, strict=True):
        base = middle - row / 2 + 0.28
        x, level = stacked(_values(side), side.zone, ends, width, size)
        _dots(axes, side, x, base + (level + 0.5) * size, size, _colours(results, side))
        _interval(axes, side, base - 0.12, 2.5, 9)
    for edge in range(1, len(sides)):
        axes.axhline(height - edge * row, color=style.SHADE, linewidth=1, zorder=0)
    style.row_heading(axes, "dot = possible colony; bar: nine of ten, ◆ average")
    _columns(slide, sides, [low + middle for middle in middles], left + width, source)
    _scale(axes, f"gain over “{shortened(sides[0].b, 40)}” ({unit})")


def _columns(
    slide: Figure, sides: Sequence[Side], heights: Sequence[float], left: float, source: str
) -> None:
    """Shares of each row in figures, under their heads."""
    zone = max(side.zone for side in sides)
    heads = ("ahead", "close" if zone > 0.0 else "", "behind")
    above = max(heights) + (heights[0] - heights[1]) / 2 + 0.1
    slide.text((style.WIDTH - 0.4) / style.WIDTH, (above + 0.36) / style.HEIGHT,
               f"of 100 colonies that {source} allow", ha="right", va="bottom",
               color=style.QUIET)  # fmt: skip
    right = left
    for place, (head, wide) in enumerate(zip(heads, _COLUMNS, strict=True)):
        right += wide
        at = right / style.WIDTH
        slide.text(at, above / style.HEIGHT, head, ha="right", va="bottom", weight="bold")
        for side, y in zip(sides, heights, strict=True):
            if head:
                clear = side.likely == ("a", "close", "b")[place]
                slide.text(at, y / style.HEIGHT, side.of_100[place], ha="right", va="center",
                           size=style.HEAD, weight="bold" if clear else "normal")  # fmt: skip
