"""Pages for printing: paper sizes, type that is embedded, text that never leaves its place."""

from __future__ import annotations

import re
from datetime import datetime
from io import BytesIO

from colony_sim.drawing import typeface
from colony_sim.drawing.scene import Mark, Scene, Words
from colony_sim.drawing.svg import svg
from colony_sim.errors import InputError
from colony_sim.extras import require

SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height (mm): ISO 216 A4; US Letter, 8.5 by 11 in (ANSI/ASME Y14.1, size A)."""
EDGE = 8.0
"""Least distance of text from the edge of the paper (mm); few printers need more. From memory."""
Colour = tuple[int, int, int]
INK, QUIET, GREY = (26, 26, 26), (87, 87, 87), (110, 110, 110)
"""Colours; GREY, for what is only expected, stands out from white by 5 : 1."""
MM_PER_PT = 25.4 / 72
CAP = 0.67
"""Height of capitals and figures over the size of the type."""
_FONT = "text"
_PARTS = re.compile(r"\S+|\s+")


def check_paper(paper: str) -> str:
    """The name of a paper size, checked.

    Raises
    ------
    InputError
    """
    if paper not in SIZES:
        raise InputError("argument paper", "paper", paper, " or ".join(SIZES))
    return paper


class Paper:
    """A PDF in millimetres with the same bytes each time.

    Parameters
    ----------
    paper : str
        A key of `SIZES`.
    title : str
        Title of the document.
    made : datetime
        Date that the document bears.

    Raises
    ------
    MissingExtra
        If the package ``fpdf2`` is not installed.
    """

    def __init__(self, paper: str, title: str, made: datetime) -> None:
        self.width, self.height = SIZES[check_paper(paper)]
        fpdf = require("fpdf", "fpdf2>=2.8", "calendar")
        self.pdf = fpdf.FPDF(unit="mm", format=(self.width, self.height))
        self.pdf.set_auto_page_break(False)
        for style in ("", "B"):
            self.pdf.add_font(_FONT, style, str(typeface.path(style == "B")))
        self.pdf.set_title(title)
        self.pdf.set_lang("en")
        self.pdf.set_creator("colony_sim")
        self.pdf.set_creation_date(made)
        self._widths: dict[tuple[str, str], float] = {}

    def page(self) -> None:
        """Start a page."""
        self.pdf.add_page()

    def type(self, size: float, *, bold: bool = False, colour: Colour = INK) -> None:
        """Set size (points), weight and colour of the text that follows."""
        self.pdf.set_font(_FONT, "B" if bold else "", size)
        self.pdf.set_text_color(*colour)

    def measure(self, text: str) -> float:
        """Width of a text in the type set (mm)."""
        text, style = self._known(text), self.pdf.font_style
        # The type is not kerned, so that widths add up and grow with the size.
        return self.pdf.font_size_pt * sum(
            self._width(style, part) for part in _PARTS.findall(text)
        )

    def _width(self, style: str, part: str) -> float:
        """Width of a word, or of space between words, over the size of the type (mm/point)."""
        if (style, part) not in self._widths:
            wide = self.pdf.get_string_width(part) / self.pdf.font_size_pt
            self._widths[style, part] = wide
        return self._widths[style, part]

    def clipped(self, text: str, width: float) -> str:
        """The text, or as much of it as fits, with three dots."""
        if self.measure(text) <= width:
            return text
        while text and self.measure(f"{text}...") > width:
            text = text[:-1]
        return f"{text}..."

    def fit(self, text: str, width: float, size: float, *, bold: bool = False) -> float:
        """The largest type size up to `size` (points) at which a text is no wider than `width`."""
        self.type(size, bold=bold)
        wide = self.measure(text)
        return size if wide <= width else size * width / wide

    def put(self, x: float, base: float, text: str, *, right: bool = False) -> None:
        """One line of text with its baseline at `base`, from `x` on, or up to `x`."""
        text = self._known(text)
        self.pdf.text(x - self.measure(text) if right else x, base, text)

    def wrap(self, text: str, width: float) -> list[str]:
        """Lines of a text in the type set, none wider than `width`; a long word is cut."""
        lines: list[str] = []
        line = ""
        for word in self._known(text).split():
            while self.measure(word) > width:
                keep = len(word) - 1
                while keep > 1 and self.measure(word[:keep]) > width:
                    keep -= 1
                lines, line = [*lines, *([line] if line else []), word[:keep]], ""
                word = word[keep:]
            longer = f"{line} {word}".strip()
            if self.measure(longer) <= width:
                line = longer
            else:
                lines, line = [*lines, line], word
        return [*lines, line] if line else lines

    def lines(self, x: float, top: float, lines: list[str], step: float) -> float:
        """Lines of text below `top`, `step` mm apart; returns where they end."""
        for k, line in enumerate(lines):
            self.put(x, top + (k + 0.78) * step, line)
        return top + step * len(lines)

    def rule(
        self, x0: float, y0: float, x1: float, y1: float, colour: Colour = INK, width: float = 0.25
    ) -> None:
        """A line from one point to another, `width` mm thick."""
        self.pdf.set_draw_color(*colour)
        self.pdf.set_line_width(width)
        self.pdf.line(x0, y0, x1, y1)

    def box(self, x: float, y: float, side: float) -> None:
        """A box to tick, with its upper left corner at (x, y)."""
        self.pdf.set_draw_color(*INK)
        self.pdf.set_line_width(0.3)
        self.pdf.rect(x, y, side, side)

    def scene(self, scene: Scene, x: float, y: float, width: float) -> float:
        """A drawing with its upper left corner at (x, y), `width` mm wide; returns where it ends.

        Its words are text of the page.
        """
        unit = width / scene.width
        marks = [item for item in scene.items if isinstance(item, Mark)]
        drawn = BytesIO(svg(Scene(scene.width, scene.height, list(marks)), "").encode())
        self.pdf.image(drawn, x, y, w=width)
        for item in scene.items:
            if isinstance(item, Words) and item.text:
                self.type(item.size * unit / MM_PER_PT, bold=item.bold)
                left = x + item.x * unit
                if item.anchor == "middle":
                    left -= self.measure(item.text) / 2
                self.put(left, y + item.y * unit, item.text, right=item.anchor == "end")
        return y + unit * scene.height

    def data(self) -> bytes:
        """The finished document."""
        return bytes(self.pdf.output())

    def _known(self, text: str) -> str:
        """The text with a question mark for every character the type does not have."""
        known = self.pdf.fonts[_FONT].cmap
        return "".join(c if ord(c) in known else "?" for c in text)
