"""The slides of a break-even map, a sensitivity analysis or a search, from its folder."""

from __future__ import annotations

from pathlib import Path

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.studies import stored as stored_study
from colony_sim.studies.breakeven import draw as breakeven
from colony_sim.studies.breakeven.run import BreakEven
from colony_sim.studies.origin import Origin
from colony_sim.studies.search import draw as pareto
from colony_sim.studies.search.run import Search
from colony_sim.studies.sensitivity import screening, tornado


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of a study; `seed` is for kinds that show single runs.

    Raises
    ------
    InputError
        If the folder is not that of such a study, or was written before all that is drawn was
        kept in it.
    """
    data, result = stored_study.read(folder)
    origin = Origin.of(data)
    if isinstance(result, BreakEven):
        return [breakeven.slide(result, origin)]
    if isinstance(result, Search):
        return [pareto.slide(result, origin)]
    make = tornado if result.method == "oneway" else screening
    return [make.slide(result, origin)]


def draw(folder: Path) -> list[Path]:
    """Draw the figure of a study into its folder: PNG and SVG under the name of the slide."""
    paths = []
    for slide in slides(folder):
        with style.theme():
            paths += style.save(slide.paint(), Path(folder), slide.name)
    return paths
