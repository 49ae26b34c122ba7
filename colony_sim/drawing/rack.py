"""The whole rack: bins on shelves, the raised tray on top, the bowl of the harvest beside it."""

from __future__ import annotations

import math

from colony_sim.drawing.bins import bin_scene, spot
from colony_sim.drawing.content import (
    BOWL_SLOTS,
    BREEDING,
    GROWING,
    TRAY_SLOTS,
    BinContent,
    RackContent,
    Scale,
)
from colony_sim.drawing.glyphs import BIN_WIDTH, FOOT
from colony_sim.drawing.scene import Mark, Place, Scene, Words

GAP, SHELF, POST = 8.0, 11.0, 6.0
TRAY_HEIGHT, BOWL_HEIGHT = 46.0, 86.0


def across_of(bins: int) -> int:
    """Bins side by side that give a rack about one and a half times as wide as high."""
    return max(1, math.ceil(math.sqrt(bins * 1.5 * FOOT / BIN_WIDTH)))


def rack_scene(
    rack: RackContent,
    scale: Scale,
    across: int | None = None,
    live: bool = False,
    label: bool = True,
) -> Scene:
    """The rack.

    Parameters
    ----------
    rack : RackContent
    scale : Scale
        The same for racks that are compared.
    across : int, optional
        Bins side by side; default: by `across_of`.
    live : bool
        With hidden signs, for a script (see `rack.js`).
    label : bool
        Whether labels are drawn: they cannot be read on a slide.
    """
    across = min(len(rack.bins), across or across_of(len(rack.bins)))
    rows = -(-len(rack.bins) // across)
    top, row = _top(rack), FOOT + SHELF
    bottom = top + rows * row
    scene = Scene(*extent(rack, across))
    width = scene.width
    for x in (0.0, width - POST):
        scene.items.append(Mark("post", Place(x, top - 3, 1, bottom - top + 11), "post"))
    corners = offsets(rack, across)
    for index, (content, (x, y)) in enumerate(zip(rack.bins, corners, strict=True)):
        scene.add(bin_scene(content, scale, index, label, live).items, x, y)
    for k in range(rows + 1 if rack.tray is not None else rows):
        y = bottom - k * row - SHELF + 8
        scene.items.append(Mark("shelf", Place(0, y, width, 1), "shelf"))
    if rack.tray is not None:
        scene.add(_tray(rack.tray, scale, live), (width - 240) / 2, top - TRAY_HEIGHT)
    if rack.bowl_larvae is not None:
        scene.add(_bowl(rack.bowl_larvae, scale, live), (width - BIN_WIDTH) / 2, bottom + 4)
    return scene


def extent(rack: RackContent, across: int) -> tuple[float, float]:
    """Width and height of the drawing with so many bins side by side."""
    rows = -(-len(rack.bins) // across)
    below = BOWL_HEIGHT + 6 if rack.bowl_larvae is not None else 10.0
    width = 2 * POST + across * (BIN_WIDTH + GAP) + GAP
    return width, _top(rack) + rows * (FOOT + SHELF) + below


def offsets(rack: RackContent, across: int | None = None) -> list[tuple[float, float]]:
    """Upper left corner of each bin."""
    across = min(len(rack.bins), across or across_of(len(rack.bins)))
    return [
        (
            POST + GAP + (index % across) * (BIN_WIDTH + GAP),
            _top(rack) + (index // across) * (FOOT + SHELF),
        )
        for index in range(len(rack.bins))
    ]


def _top(rack: RackContent) -> float:
    return TRAY_HEIGHT if rack.tray is not None else 4.0


def _tray(held: dict[str, int], scale: Scale, live: bool) -> list[Mark | Words]:
    items: list[Mark | Words] = [Mark("tray", Place(0, 0), "tray")]
    for kind, glyph in (("pupae", "pupa"), ("adults", "beetle")):
        slots = TRAY_SLOTS[kind]
        count = scale.signs(kind, held[kind], slots)
        for slot in range(slots if live else count):
            columns = slots // 2
            column, row = (slot * (columns - 1)) % columns, slot // columns
            x = 22 + (column + 0.25 + 0.5 * row) * 196 / columns
            flip = 1.0 if slot % 3 else -1.0
            at = Place(x, 22.5 - 6 * row, flip, 1.0, spot(kind, slot % 8)[2])
            items.append(Mark(glyph, at, f"tray-{kind}", -1, slot, slot < count))
    return items


def _bowl(larvae: int, scale: Scale, live: bool) -> list[Mark | Words]:
    items: list[Mark | Words] = [Mark("bowl-back", Place(0, 0), "bowl")]
    count = scale.signs("bowl", larvae, BOWL_SLOTS)
    for slot in range(BOWL_SLOTS if live else count):
        layer, begin = 0, 0
        while slot >= begin + 10 - 2 * layer:  # A heap: each layer is shorter by two.
            begin += 10 - 2 * layer
            layer += 1
        room = 10 - 2 * layer
        x = 60 + (slot - begin - (room - 1) / 2) * 9.4
        turn = spot("larvae", slot)[2] / 2
        at = Place(x, 38 - 6.6 * layer, 1.0 if slot % 2 else -1.0, 1.0, turn)
        items.append(Mark("larva", at, "bowl-larvae", -1, slot, slot < count))
    return [*items, Mark("bowl", Place(0, 0), "bowl")]


def bowl_scene(larvae: int, scale: Scale, live: bool = False) -> Scene:
    """The bowl alone."""
    scene = Scene(BIN_WIDTH, BOWL_HEIGHT)
    scene.add(_bowl(larvae, scale, live))
    return scene


def sign_scene() -> Scene:
    """The rack as a sign for the smallest sizes (24 pixels): one bin, one larva, one beetle."""
    scene = Scene(48, 48)
    scene.items += [
        Mark("sign-box", Place(0, 0)),
        Mark("larva", Place(24, 33, 1.9, 1.9, -14)),
        Mark("beetle", Place(25, 14.5, 1.7, 1.7)),
    ]
    return scene


def example() -> RackContent:
    """An invented rack that shows all there is to draw, for signs, covers and tests."""
    bins = [
        BinContent(1, BREEDING, 2600, 300, 0, 300, 1.0, 3600, 60, 0, True, ("in 9 d",)),
        BinContent(2, GROWING, 1500, 2600, 0, 0, 2.0, 3300, 200, 0, False, ("out 12 d",)),
        BinContent(3, GROWING, 0, 3200, 0, 0, 14.0, 2700, 600, 900, True, ("out 47 d",)),
        BinContent(4, GROWING, 0, 2600, 60, 0, 70.0, 1500, 1200, 2400, True, ("out 82 d",)),
        BinContent(5, GROWING, 0, 1500, 240, 0, 115.0, 700, 1700, 3600, True, ("out 110 d",)),
        BinContent(6, "free", label=("free",)),
    ]
    return RackContent(bins, {"pupae": 420, "adults": 40}, 900)
