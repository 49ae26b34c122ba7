"""A slide: one finding, its picture, the numbers behind it, and what to say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.figures import style


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
    """

    name: str
    title: str
    say: str
    caveat: str
    alt: str
    data: pd.DataFrame
    paint: Callable[[], Figure]
    runs: str = ""

    def figure(self) -> Figure:
        """The picture."""
        with style.theme():
            return self.paint()


def write(slide: Slide, folder: Path) -> list[Path]:
    """Write PNG, SVG and CSV of a slide."""
    with style.theme():
        paths = style.save(slide.paint(), folder, slide.name)
    table = folder / f"{slide.name}.csv"
    slide.data.to_csv(table, index=False, lineterminator="\n")
    return [*paths, table]
