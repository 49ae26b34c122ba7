"""A rack that a script of a page keeps up to date: the drawing with all signs, and their places."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from colony_sim.drawing.bins import MOISTURE_UP, MOISTURE_X, ON_TOP, SIZE, larva_size, spot
from colony_sim.drawing.content import (
    BOWL_SLOTS,
    SIZES,
    SLOTS,
    TRAY_SLOTS,
    RackContent,
    Scale,
    drawn,
    numbers,
)
from colony_sim.drawing.glyphs import BIN_WIDTH, FLOOR, FOOT
from colony_sim.drawing.rack import offsets, rack_scene
from colony_sim.drawing.svg import svg


def script() -> str:
    """The script, which defines ``drawnRack(svg, places)``."""
    return files("colony_sim.drawing").joinpath("rack.js").read_text("utf-8")


def live_svg(
    rack: RackContent, scale: Scale, title: str, across: int | None = None, prefix: str = ""
) -> str:
    """The rack with every sign that the script may show."""
    return svg(rack_scene(rack, scale, across, live=True), title, prefix=prefix)


def places(rack: RackContent, across: int | None = None, prefix: str = "") -> dict[str, Any]:
    """What the script needs to put signs in their places, for JSON."""
    scene = rack_scene(rack, Scale.of([rack]), across)
    return {
        "floor": FLOOR,
        "binWidth": BIN_WIDTH,
        "binHeight": FOOT,
        "size": [scene.width, scene.height],
        "offsets": [list(corner) for corner in offsets(rack, across)],
        "kinds": list(SLOTS),
        "spots": {
            kind: [spot(kind, slot) for slot in range(slots)] for kind, slots in SLOTS.items()
        },
        "onTop": list(ON_TOP),
        "sizes": {kind: SIZE.get(kind, 1.0) for kind in SLOTS},
        "larvaSizes": [larva_size(size) for size in range(SIZES)],
        "moisture": [MOISTURE_X, MOISTURE_UP],
        "prefix": prefix,
    }


def state(rack: RackContent, scale: Scale) -> dict[str, Any]:
    """The rack now, for the script: bins by `content.numbers`, signs on the tray, in the bowl."""
    return {
        "bins": [numbers(drawn(content, scale)) for content in rack.bins],
        "labels": [list(content.label) for content in rack.bins],
        "tray": [
            scale.signs(kind, rack.tray[kind], slots) if rack.tray else 0
            for kind, slots in TRAY_SLOTS.items()
        ],
        "bowl": scale.signs("bowl", rack.bowl_larvae or 0, BOWL_SLOTS),
    }
