"""A slide: one finding, its picture, the numbers behind it, and what to say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from colony_sim.atomic import put_text
from colony_sim.words.cells import as_csv

# Matplotlib takes half a second to load, and most who know of slides paint none.
if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Slide:
    """One figure of a talk.

    Attributes
    ----------
    name : str
        Stem of its files.
    title : str
        The finding, in words computed from the numbers; no stronger than the interval allows.
    say : str
        The sentence or two to say with it.
    caveat : str
        What it does not show.
    alt : str
        What the picture shows, for those who do not see it, with the numbers that matter.
    data : DataFrame
        The numbers drawn, tidy: one row a mark, units in the column names.
    paint : callable
        Draws it; called within `style.theme()`, returns a new figure whose title is `title`.
    runs : str
        How many runs are behind it, in words; empty: what the manifest says.
    talk : bool
        One of the talk itself; the others are shown if somebody asks.
    """

    name: str
    title: str
    say: str
    caveat: str
    alt: str
    data: pd.DataFrame
    paint: Callable[[], Figure]
    runs: str = ""
    talk: bool = False

    def figure(self) -> Figure:
        """The picture."""
        from colony_sim.figures import style

        with style.theme():
            return self.paint()


def write(slide: Slide, folder: Path) -> list[Path]:
    """Write PNG, SVG and CSV of a slide."""
    from colony_sim.figures import style

    with style.theme():
        paths = style.save(slide.paint(), folder, slide.name)
    table = folder / f"{slide.name}.csv"
    put_text(table, as_csv(slide.data))
    return [*paths, table]


def says_only(name: str, why: str, foot: Callable[[Figure], None], runs: str = "") -> Slide:
    """A slide for what cannot be shown, which says why.

    Parameters
    ----------
    name : str
        Stem of its files.
    why : str
        A sentence without full stop; the slide's title.
    foot : callable
        Writes the footer.
    runs : str
        How many runs there are, in words.
    """

    def paint() -> Figure:
        from colony_sim.figures import style

        figure = style.new_figure()
        style.headed(figure, why)
        figure.text(0.5, 0.45, "nothing to show", ha="center", size=style.HEAD, color=style.QUIET)
        foot(figure)
        return figure

    return Slide(
        name=name,
        title=why,
        say=f"{why}.",
        caveat="This slide has no finding.",
        alt=f"No picture. {why}.",
        data=pd.DataFrame({"why": [why]}),
        paint=paint,
        runs=runs,
    )
