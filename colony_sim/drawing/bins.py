"""One bin in section: frass, bran, and in it and on it what lives there; the label on its front."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from colony_sim.drawing import palette
from colony_sim.drawing.content import (
    BREEDING,
    FREE,
    SIZES,
    SLOTS,
    BinContent,
    Drawn,
    Scale,
    drawn,
)
from colony_sim.drawing.glyphs import (
    BIN_WIDTH,
    FLOOR,
    FOOT,
    INNER_LEFT,
    LABEL_HEIGHT,
    LABEL_LEFT,
    LABEL_TOP,
    LABEL_WIDTH,
)
from colony_sim.drawing.scene import Mark, Place, Scene, Words

MOISTURE_X, MOISTURE_UP = 94.0, 2.0
SIZE = {"adults": 0.86}
_GOLDEN, _SILVER = (5**0.5 - 1) / 2, 2**0.5 - 1
GLYPH = {"eggs": "egg", "larvae": "larva", "pupae": "pupa", "adults": "beetle", "skins": "skin"}
_ORDER = ("eggs", "larvae", "pupae", "skins", "moisture", "adults")
#: Above the floor in bran: share of the depth that a kind keeps to, and where it begins.
_LOW, _HIGH = {"eggs": 0.0, "larvae": 0.04}, {"eggs": 0.5, "larvae": 0.92}
ON_TOP = {"pupae": 1.0, "skins": -1.4, "adults": -2.2}
"""How far below the surface a kind lies that lies on it."""


@cache
def spot(kind: str, slot: int) -> tuple[float, float, float]:
    """Where a sign lies: x, share of the depth (or units below the surface), and turn (degrees).

    Multiples of irrational numbers fill a line evenly whatever their count (Weyl 1916), so that
    nothing jumps when one more is drawn.
    """
    begin = 0.11 + 0.17 * list(SLOTS).index(kind)
    turn = round(((begin + _SILVER * slot) % 1.0) * 2 - 1, 4)
    if kind in ON_TOP:
        # In columns, so that none hides another; every second row lies deeper.
        columns = (SLOTS[kind] + 1) // 2
        column, row = (slot * (columns - 1)) % columns, slot // columns
        x = INNER_LEFT + 10 + (column + 0.5 * row + 0.1 * turn) * 86 / columns
        return round(x, 2), ON_TOP[kind] + 5.4 * row, round(9 * turn, 1)
    x = INNER_LEFT + 8 + ((begin + _GOLDEN * slot) % 1.0) * 88
    share = _LOW[kind] + ((begin + _SILVER * slot) % 1.0) * (_HIGH[kind] - _LOW[kind])
    return round(x, 2), round(share, 4), round(50 * (((begin + 0.7549 * slot) % 1.0) * 2 - 1), 1)


def place(kind: str, slot: int, state: Drawn) -> Place:
    """Where the sign goes in a bin that holds so much; `rack.js` has the same sum."""
    x, share, turn = spot(kind, slot)
    depth = state.frass + state.bran
    size = larva_size(state.size) if kind == "larvae" else SIZE.get(kind, 1.0)
    flip = -size if slot % 3 == 1 else size
    if kind in ON_TOP:
        return Place(x, min(FLOOR - 3, FLOOR - depth + share), flip, size, turn)
    inset = min(4.0, depth / 2)
    return Place(x, FLOOR - inset - share * max(0.0, depth - 2 * inset), flip, size, turn)


def larva_size(size: int) -> float:
    """How large a larva is drawn, as a share of the sign's own size."""
    return 0.3 + 0.55 * size / (SIZES - 1)


def bin_scene(
    content: BinContent, scale: Scale, index: int = 0, label: bool = True, live: bool = False
) -> Scene:
    """A bin.

    Parameters
    ----------
    content : BinContent
    scale : Scale
    index : int
        Place in the rack, from 0.
    label : bool
        Whether its label is drawn.
    live : bool
        Also all signs that are not shown now, for a script to show.
    """
    scene = Scene(BIN_WIDTH, FOOT)
    state = drawn(content, scale)
    scene.items += _marks(state, index, live)
    if label:
        scene.items.append(Mark("label", Place(0, 0), "label", index))
        scene.items += _label(content, index)
    return scene


def _marks(state: Drawn, index: int, live: bool) -> Iterator[Mark]:
    used = state.phase != FREE

    def mark(glyph: str, at: Place, of: str, shown: bool, slot: int = 0) -> Iterator[Mark]:
        if shown or live:
            yield Mark(glyph, at, of, index, slot, shown)

    yield from mark("box-free", Place(0, 0), "free", not used)
    yield from mark("box-back", Place(0, 0), "box", used)
    depth = state.frass + state.bran
    yield from mark("bran", Place(0, FLOOR - depth, 1, depth), "bran", used)
    yield from mark("frass", Place(0, FLOOR - state.frass, 1, state.frass), "frass", used)
    yield from mark("crust", Place(0, FLOOR - depth), "crust", used and depth > 0)
    for kind in _ORDER:
        if kind == "moisture":
            at = Place(MOISTURE_X, FLOOR - depth - MOISTURE_UP)
            yield from mark("moisture", at, kind, used and state.moist)
            continue
        for slot in range(SLOTS[kind] if live else state.signs[kind]):
            shown = used and slot < state.signs[kind]
            yield from mark(GLYPH[kind], place(kind, slot, state), kind, shown, slot)
    yield from mark("box-front", Place(0, 0), "box", used)


def _label(content: BinContent, index: int) -> Iterator[Words]:
    middle = LABEL_TOP + LABEL_HEIGHT / 2
    yield Words(str(content.number), LABEL_LEFT + 4, middle + 5, 14, True, of="number", bin=index)
    lines = (*content.label, "", "")[:2]
    single = not lines[1]
    right = LABEL_LEFT + LABEL_WIDTH - 4
    for slot, line in enumerate(lines):
        y = middle + (3.4 if single else (-1.4 if slot == 0 else 7.4))
        yield Words(line, right, y, 9.0 if single else 8.2, content.phase == BREEDING and slot == 0,
                    "end", palette.INK, "label-line", index, slot)  # fmt: skip
