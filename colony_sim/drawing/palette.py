"""The colours of everything that is drawn: one a stage, the same wherever it is shown.

Stages keep apart in print without colour (CIELAB lightness 8, 31, 46 and 61) and for readers with
deuteranopia, protanopia and tritanopia (Machado et al. 2009, doi 10.1109/TVCG.2009.113; least
distance in CIELAB 35), and stand out from white by 3 : 1 or more (WCAG 2.2, 1.4.11). A policy has
no colour: it is told by its sign and its place.
"""

from __future__ import annotations

STAGES = {"eggs": "#1f7c78", "larvae": "#c48800", "pupae": "#7a1590", "adults": "#1d1610"}
"""Colour of each stage."""
SHADES = {"eggs": "#0f4744", "larvae": "#7a4f00", "pupae": "#45085a", "adults": "#000000"}
"""The darker colour of its outline."""

INK, QUIET, FAINT, RULE = "#241e17", "#5e564b", "#a59b8c", "#d9d0c1"
"""Words; second words; lines and signs that stand back; rules."""
PAPER, CARD, AIR = "#fbf7ef", "#fffdf8", "#f6efe2"
"""Ground of a page; of a card or label; of an empty bin."""
BRAN, FRASS, CRUST = "#e6d2a4", "#b39c78", "#c3a566"
WOOD, BOX, BOX_EDGE, SKIN, SKIN_EDGE = "#8f7a5f", "#dfe3e1", "#6f7a78", "#f3e6c8", "#a08a5c"
MOISTURE, MOISTURE_EDGE, LEAF = "#e0561c", "#9c3509", "#4f7d2c"
"""The piece of vegetable; nothing else has its colour."""
POLICY = "#46525a"
"""Signs and lines of all policies."""

LIGHT = {
    "paper": PAPER, "card": CARD, "ink": INK, "quiet": QUIET, "rule": RULE, "policy": POLICY,
    "link": "#0d5560", "focus": "#b8400a", "mat": CARD,
}  # fmt: skip
DARK = {
    "paper": "#191612", "card": "#25211b", "ink": "#f2ebdf", "quiet": "#bdb3a4", "rule": "#443d33",
    "policy": "#c9d2d6", "link": "#8fd0cb", "focus": "#ffb27a", "mat": CARD,
}  # fmt: skip
"""Colours of a page by day and by night. What is drawn stands on `mat`, lit by day and night, so
that a stage has one colour in both."""


def css() -> str:
    """Custom properties of a page: its colours by day and night, and those of the stages."""
    light = "".join(f"--{name}: {value}; " for name, value in LIGHT.items())
    dark = "".join(f"--{name}: {value}; " for name, value in DARK.items())
    stages = "".join(f"--{name}: {value}; " for name, value in STAGES.items())
    return (
        f":root {{ color-scheme: light dark; {light}{stages}--moisture: {MOISTURE}; "
        f"--bran: {BRAN}; --wood: {WOOD}; }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root:not([data-print]) {{ {dark}}} }}\n"
    )
