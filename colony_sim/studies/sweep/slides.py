"""The slides of a sweep, from its folder: curves over one key, maps over two, effects of more."""

from __future__ import annotations

from pathlib import Path

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.studies.origin import Origin
from colony_sim.studies.sweep import effect_curves as effects
from colony_sim.studies.sweep import maps as sweep_map
from colony_sim.studies.sweep import response
from colony_sim.studies.sweep import stored as stored_sweep
from colony_sim.studies.sweep.titles import AIMS

FIGURE = "sweep"
"""Name of the main figure in the folder of a sweep."""


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """Yield first, then adult losses; `seed` is for kinds that show single runs.

    Raises
    ------
    InputError
        If the folder is not that of a sweep, or holds too many runs to be drawn.
    """
    sweep = stored_sweep.read(folder)
    shown = sweep.in_house()
    origin = Origin.of(sweep.manifest)
    found = []
    for aim in AIMS.values():
        if len(sweep.keys) == 1:
            found.append(response.slide(shown, aim, origin, sweep))
        elif len(sweep.keys) == 2 and sweep.grid:
            found += sweep_map.slides(shown, aim, origin, sweep)
        else:
            found += effects.slides(shown, aim, origin, sweep)
    return found


def draw(folder: Path) -> list[Path]:
    """Draw the first slide of a sweep into its folder: ``sweep.png`` and ``sweep.svg``.

    Draws nothing, and returns no path, where the runs are too many to be drawn.
    """
    if stored_sweep.too_many(manifest.read(Path(folder), ("sweep",))):
        return []
    first = slides(folder)[0]
    with style.theme():
        return style.save(first.paint(), Path(folder), FIGURE)
