"""The one typeface of slides, pages and paper, which comes with the package.

Atkinson Hyperlegible Next, Latin, under the SIL Open Font License 1.1 (``type/OFL.txt``).
"""

from __future__ import annotations

import base64
from importlib.resources import files
from pathlib import Path

NAME = "Atkinson Hyperlegible Next"
STACK = f'"{NAME}", "Verdana", "DejaVu Sans", sans-serif'
"""The family for style sheets and drawings, with what stands in for it."""
LICENCE = "SIL Open Font License 1.1"


def path(bold: bool = False) -> Path:
    """The TrueType file of a weight, for programs that draw or write paper."""
    return Path(str(files("colony_sim.drawing").joinpath("type", f"{_stem(bold)}.ttf")))


def css() -> str:
    """Rules that carry both weights within a page, so that it needs no file beside it."""
    return "".join(
        f'@font-face {{ font-family: "{NAME}"; font-weight: {700 if bold else 400}; '
        f"font-display: block; src: url(data:font/woff2;base64,{_data(bold)}) "
        'format("woff2"); }\n'
        for bold in (False, True)
    )


def _data(bold: bool) -> str:
    data = files("colony_sim.drawing").joinpath("type", f"{_stem(bold)}.woff2").read_bytes()
    return base64.b64encode(data).decode("ascii")


def _stem(bold: bool) -> str:
    return "bold" if bold else "regular"
