"""The signs that a drawing is put together from, each around its own middle, in bin units.

A bin is 120 units wide (see `bins`). No sign is copied from anywhere.
"""

from __future__ import annotations

from colony_sim.drawing import palette
from colony_sim.drawing.scene import Glyph, Part, box, ellipse

_S, _D = palette.STAGES, palette.SHADES


def _insect(stage: str, body: str, lines: str, width: float = 0.7) -> Glyph:
    return (
        Part(body, _S[stage], _D[stage], width),
        Part(lines, stroke=_D[stage], width=width),
    )


_LARVA = (
    *_insect(
        "larvae",
        "M -9.6 1.6 C -9.4 -0.6 -7 -4.6 -0.4 -4.6 C 5.6 -4.6 9.2 -1 9.7 1.2 C 10 2.9 8 4 6.6 2.9"
        " C 4.6 1.2 2.6 0.2 -0.4 0.2 C -3.4 0.2 -5 1.6 -6.6 3.2 C -8 4.4 -9.9 3.4 -9.6 1.6 Z",
        "M -6.6 -2.6 L -4.9 1.4 M -3.6 -4.1 L -2.8 0.4 M -0.4 -4.6 L -0.4 0.2"
        " M 2.8 -4.2 L 2.1 0.4 M 5.9 -2.8 L 4.3 1.2",
    ),
    Part(ellipse(8.1, 1.6, 1.9, 1.7), _D["larvae"]),
)
_EGG = (Part(ellipse(0, 0, 2.1, 1.35), _S["eggs"], _D["eggs"], 0.5),)
_PUPA = _insect(
    "pupae",
    "M 6.8 -1.6 C 8 0 7.4 2.6 5 3.2 C 1.6 4 -2.6 3 -5 1 L -8.4 1.6 L -6.6 -0.2 L -8 -1.8"
    " L -4.6 -1.4 C -2.4 -3.6 1 -4.6 3.6 -4 C 5.2 -3.6 6.2 -2.6 6.8 -1.6 Z",
    "M 3.2 -3.8 C 1.8 -2 1.8 0.6 3.2 3 M 0.2 -3.8 L -0.8 2.8 M -2.4 -2.6 L -3 2",
)
_BEETLE = (
    Part(
        "M -4 1.6 L -6 4.2 M 0 1.8 L -0.6 4.4 M 3.6 1.6 L 5 4.2 M 7.6 -0.8 C 9 -2.6 10 -3 11 -2.8",
        stroke=_D["adults"], width=1.0,
    ),
    Part(
        "M -8 1.6 C -8.6 -3.6 -4 -5.4 0 -5 C 2.2 -4.8 3.2 -3.8 3.4 -2.8 C 5.4 -3.2 6.8 -2 7 -1.2"
        " C 8.6 -1.2 9.2 0.4 8.4 1.2 C 7.8 2 6 2.2 4 2.2 L -6.4 2.2 C -7.4 2.2 -7.9 2 -8 1.6 Z",
        _S["adults"], _D["adults"], 0.5,
    ),
    Part(
        "M 3.4 -2.8 C 2.8 -1 2.8 0.8 3.4 2 M -6.6 -1.4 C -4 -3.2 -0.6 -3.4 2 -2.6"
        " M -7 0.4 C -4 -1 -0.6 -1.2 2 -0.6",
        stroke="#8a7a68", width=0.6,
    ),
)  # fmt: skip
_SKIN = (
    Part(
        "M -7 1 C -6 -3 -1 -4.4 3 -3 C 5.4 -2.2 7 -0.4 7 1 C 5 -1.4 2 -2 -0.6 -1.4"
        " C -3 -0.8 -4.4 0.6 -5.4 2 Z",
        palette.SKIN, palette.SKIN_EDGE, 0.6,
    ),
)  # fmt: skip
_CARROT = (
    Part("M -9.6 -1.8 C -12 -4.6 -13.4 -3.2 -12.8 -1 C -14.4 -0.6 -13.6 1.6 -9.6 1.6 Z",
         palette.LEAF, palette.LEAF, 0.4),
    Part("M -9.8 -3 C -7 -4.4 4 -3.4 10.4 0.4 C 10.8 1.4 10 1.8 9 1.8 C 2 3.6 -7 3.8 -9.8 2.8"
         " C -11 1 -11 -1.6 -9.8 -3 Z", palette.MOISTURE, palette.MOISTURE_EDGE, 0.7),
    Part("M -6 -3.6 L -6.4 -1 M -1.6 2.9 L -1.4 0.6 M 2.4 -2.9 L 2 -0.8",
         stroke=palette.MOISTURE_EDGE, width=0.7),
)  # fmt: skip
_HEN = (
    Part("M -1.6 5 L -2 10.4 M 2 5 L 2.6 10.4 M -2 10.4 L -0.2 10.4 M 2.6 10.4 L 4.4 10.4",
         stroke=palette.POLICY, width=1.1),
    Part("M -10 -5.6 C -8.6 -7 -6.6 -6.4 -5.6 -4.4 C -4 -2.6 -0.6 -2.4 1.4 -4 C 2.6 -5.4 2.6 -8.6"
         " 5 -9.6 C 7.4 -10.4 9.2 -8.6 9 -6.6 C 8.8 -4.6 8.8 -1.6 7.4 1.4 C 5.8 4.8 2.6 6.2 -0.4 6"
         " C -4.6 5.8 -7.4 3.4 -8.4 0 C -9 -2 -9.2 -4.4 -10 -5.6 Z", palette.POLICY),
    Part("M 8.8 -7.6 L 11.4 -6.6 L 8.8 -5.8 Z", palette.FAINT),
    Part(ellipse(6.4, -7.2, 0.8, 0.8), palette.CARD),
)  # fmt: skip
_SCOOP = (
    Part("M 6 -2.4 L 19 -5 L 19.6 -2.2 L 7 1.4 Z", palette.WOOD),
    Part("M -16 -3 C -14 -5 6 -5 8 -3 C 9.6 2 6.6 7 2.6 7.4 L -6 7.4 C -12 7 -15 2 -16 -3 Z",
         "#c9d6d8", palette.QUIET, 1.1),
)  # fmt: skip

BIN_WIDTH, RIM, FLOOR, FOOT, INNER_LEFT, INNER = 120.0, 10.0, 70.0, 94.0, 8.0, 104.0
"""Frame of a bin: width; height of the rim, floor and lower edge; left end and width inside."""
_BOX_BACK = (
    Part(box(INNER_LEFT, RIM, INNER, FLOOR - RIM), palette.AIR),
)  # fmt: skip
_BOX_FRONT = (
    Part(f"M 4 {RIM - 2:g} L 8 {RIM - 2:g} L 8 {FLOOR:g} L 112 {FLOOR:g} L 112 {RIM - 2:g}"
         f" L 116 {RIM - 2:g} L 116 {FOOT - 2:g} L 4 {FOOT - 2:g} Z",
         palette.BOX, palette.BOX_EDGE, 1.1),
    Part(f"M 2 {RIM - 4:g} L 10 {RIM - 4:g} L 10 {RIM:g} L 2 {RIM:g} Z"
         f" M 110 {RIM - 4:g} L 118 {RIM - 4:g} L 118 {RIM:g} L 110 {RIM:g} Z",
         palette.BOX, palette.BOX_EDGE, 1.1),
)  # fmt: skip
_BOX_FREE = (
    Part(f"M 4 {RIM - 2:g} L 4 {FOOT - 2:g} L 116 {FOOT - 2:g} L 116 {RIM - 2:g}",
         stroke=palette.FAINT, width=1.2, dash=(4.0, 3.0)),
)  # fmt: skip
LABEL_LEFT, LABEL_TOP, LABEL_WIDTH, LABEL_HEIGHT = 12.0, 72.6, 96.0, 18.0
_LABEL = (
    Part(box(LABEL_LEFT, LABEL_TOP, LABEL_WIDTH, LABEL_HEIGHT), palette.CARD, palette.QUIET, 0.7),
)
#: One unit high with its top at 0, so that it can be stretched to any depth.
_FILL = box(INNER_LEFT, 0, INNER, 1)
_TRAY = (
    Part("M 14 30 L 10 46 M 226 30 L 230 46", stroke=palette.WOOD, width=4),
    Part("M 4 18 L 10 18 L 10 27 L 230 27 L 230 18 L 236 18 L 236 31 L 4 31 Z",
         palette.BOX, palette.BOX_EDGE, 1.1),
)  # fmt: skip
_BOWL_BACK = (Part(ellipse(60, 36, 54, 9), "#efe7d8", palette.QUIET, 1.1),)
_BOWL = (
    Part("M 6 36 C 6 64 24 76 44 78 L 76 78 C 96 76 114 64 114 36"
         " C 108 47 12 47 6 36 Z", "#c9d6d8", palette.QUIET, 1.1),
    Part("M 42 78 L 78 78 L 80 83 L 40 83 Z", "#c9d6d8", palette.QUIET, 1.1),
)  # fmt: skip

GLYPHS: dict[str, Glyph] = {
    "egg": _EGG,
    "larva": _LARVA,
    "pupa": _PUPA,
    "beetle": _BEETLE,
    "skin": _SKIN,
    "moisture": _CARROT,
    "frass": (Part(_FILL, palette.FRASS),),
    "bran": (Part(_FILL, palette.BRAN),),
    "crust": (
        Part("M 8 0 C 20 -1.6 30 1.4 42 0 C 54 -1.6 64 1.4 76 0 C 88 -1.6 98 1.4 112 0",
             stroke=palette.CRUST, width=1.4),
    ),
    "box-back": _BOX_BACK,
    "box-front": _BOX_FRONT,
    "box-free": _BOX_FREE,
    "label": _LABEL,
    "tray": _TRAY,
    "bowl-back": _BOWL_BACK,
    "bowl": _BOWL,
    "hen": _HEN,
    "scoop": _SCOOP,
    "sign-box": (
        Part("M 5 22 L 43 22 L 43 42 L 5 42 Z", palette.BRAN),
        Part("M 3 8 L 3 44 L 45 44 L 45 8", stroke=palette.INK, width=3.4),
    ),
    "clock": (
        Part(ellipse(0, 0, 15, 15), palette.CARD, palette.INK, 2.6),
        Part("M 0 -10 L 0 0 L 7 4", stroke=palette.INK, width=2.6),
    ),
    "shelf": (Part(box(0, 0, 1, 5), palette.WOOD),),
    "post": (Part(box(0, 0, 6, 1), palette.WOOD),),
}  # fmt: skip
