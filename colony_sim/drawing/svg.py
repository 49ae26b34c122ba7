"""A scene as SVG, whole in itself: presentation attributes only, no style sheet, no font file."""

from __future__ import annotations

from html import escape

from colony_sim.drawing import palette, typeface
from colony_sim.drawing.glyphs import GLYPHS
from colony_sim.drawing.scene import Mark, Part, Place, Scene, Words

_FAMILY = typeface.STACK.replace('"', "'")


def svg(scene: Scene, title: str, *, width: float | None = None, prefix: str = "") -> str:
    """The drawing.

    Parameters
    ----------
    scene : Scene
    title : str
        What it shows, for those who do not see it; empty: it is decoration.
    width : float, optional
        Width (pixels) to draw it at; default: as wide as what it stands in.
    prefix : str
        Before the names of its signs, so that several drawings can stand on one page.
    """
    names = dict.fromkeys(item.glyph for item in scene.items if isinstance(item, Mark))
    defs = "".join(
        f'<g id="{prefix}{name}">{"".join(map(_part, GLYPHS[name]))}</g>' for name in names
    )
    size = (
        "" if width is None
        else f' width="{width:g}" height="{width * scene.height / scene.width:.4g}"'
    )  # fmt: skip
    spoken = (
        f'role="img" aria-label="{escape(title)}"' if title else 'aria-hidden="true"'
    )  # fmt: skip
    body = "".join(
        _mark(item, prefix) if isinstance(item, Mark) else _words(item) for item in scene.items
    )
    head = f"<title>{escape(title)}</title>" if title else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {scene.width:g} {scene.height:g}"'
        f'{size} {spoken} font-family="{_FAMILY}">{head}<defs>{defs}</defs>{body}</svg>'
    )


def transform(at: Place) -> str:
    """The place as SVG's transform."""
    text = f"translate({_n(at.x)} {_n(at.y)})"
    if at.turn:
        text += f" rotate({_n(at.turn)})"
    if (at.across, at.down) != (1.0, 1.0):
        text += f" scale({_n(at.across)} {_n(at.down)})"
    return text


def _n(value: float) -> str:
    return f"{round(value, 2):g}"


def _part(part: Part) -> str:
    text = f'<path d="{part.path}" fill="{part.fill}"'
    if part.stroke != "none":
        text += f' stroke="{part.stroke}" stroke-width="{part.width:g}" stroke-linecap="round"'
        text += ' stroke-linejoin="round"'
    if part.dash:
        text += f' stroke-dasharray="{" ".join(f"{x:g}" for x in part.dash)}"'
    return f"{text}/>"


def _mark(mark: Mark, prefix: str) -> str:
    text = f'<use href="#{prefix}{mark.glyph}" transform="{transform(mark.at)}"'
    if mark.of:
        text += f' data-of="{mark.of}"'
    if mark.bin >= 0:
        text += f' data-bin="{mark.bin}"'
    if mark.slot:
        text += f' data-slot="{mark.slot}"'
    if not mark.shown:
        text += ' display="none"'
    return f"{text}/>"


def _words(words: Words) -> str:
    text = f'<text x="{words.x:g}" y="{words.y:g}" font-size="{words.size:g}"'
    text += f' fill="{words.colour or palette.INK}"'
    if words.bold:
        text += ' font-weight="700"'
    if words.anchor != "start":
        text += f' text-anchor="{words.anchor}"'
    if words.of:
        text += f' data-of="{words.of}" data-bin="{words.bin}" data-slot="{words.slot}"'
    return f"{text}>{escape(words.text)}</text>"
