"""What a drawing is made of, whatever draws it: parts, glyphs made of parts, and where they go."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class Part:
    """An outline in one colour.

    Attributes
    ----------
    path : str
        SVG path data of absolute ``M``, ``L``, ``C`` and ``Z`` commands, numbers parted by spaces.
    fill, stroke : str
        Colours; ``none`` for none.
    width : float
        Of the stroke.
    dash : tuple of float
        Lengths of dash and gap; empty: a whole line.
    """

    path: str
    fill: str = "none"
    stroke: str = "none"
    width: float = 0.0
    dash: tuple[float, ...] = ()


Glyph = tuple[Part, ...]


@dataclass(frozen=True)
class Place:
    """Where a glyph goes: moved to (x, y), turned by `turn` degrees, then stretched."""

    x: float
    y: float
    across: float = 1.0
    down: float = 1.0
    turn: float = 0.0


@dataclass(frozen=True)
class Mark:
    """A glyph in its place.

    Attributes
    ----------
    glyph : str
        Name in `glyphs.GLYPHS`.
    at : Place
    of : str
        What it stands for, such as ``larvae``; the script of a page finds it by that.
    bin : int
        Place of its bin in the rack, from 0; -1: in none.
    slot : int
        How many of its kind are drawn before it.
    shown : bool
        A hidden mark waits for a script to show it.
    """

    glyph: str
    at: Place
    of: str = ""
    bin: int = -1
    slot: int = 0
    shown: bool = True


@dataclass(frozen=True)
class Words:
    """A line of text; `x` is its left end, middle or right end by `anchor`."""

    text: str
    x: float
    y: float
    size: float
    bold: bool = False
    anchor: str = "start"
    colour: str = ""
    of: str = ""
    bin: int = -1
    slot: int = 0


@dataclass
class Scene:
    """Marks and words in the order they are drawn, in a frame of `width` by `height`."""

    width: float
    height: float
    items: list[Mark | Words] = field(default_factory=list)

    def add(self, items: Iterable[Mark | Words], x: float = 0.0, y: float = 0.0) -> None:
        """Add items moved by (x, y)."""
        for item in items:
            self.items.append(moved(item, x, y))


def moved(item: Mark | Words, x: float, y: float) -> Mark | Words:
    """The item, moved."""
    if isinstance(item, Words):
        return replace(item, x=item.x + x, y=item.y + y)
    return replace(item, at=replace(item.at, x=item.at.x + x, y=item.at.y + y))


def ellipse(x: float, y: float, across: float, down: float) -> str:
    """Path of an ellipse with half axes `across` and `down`, as four cubic curves."""
    a, b = 0.5523 * across, 0.5523 * down
    points = (
        (x - across, y), (x - across, y - b), (x - a, y - down), (x, y - down),
        (x + a, y - down), (x + across, y - b), (x + across, y),
        (x + across, y + b), (x + a, y + down), (x, y + down),
        (x - a, y + down), (x - across, y + b), (x - across, y),
    )  # fmt: skip
    first, *rest = (f"{round(px, 3):g} {round(py, 3):g}" for px, py in points)
    curves = (" ".join(rest[k : k + 3]) for k in range(0, 12, 3))
    return f"M {first} {' '.join(f'C {curve}' for curve in curves)} Z"


def box(x: float, y: float, across: float, down: float) -> str:
    """Path of a rectangle from its upper left corner."""
    return (
        f"M {x:g} {y:g} L {x + across:g} {y:g} L {x + across:g} {y + down:g} L {x:g} {y + down:g} Z"
    )
