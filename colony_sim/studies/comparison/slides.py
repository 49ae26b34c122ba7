"""The slides of a comparison of policies."""

from __future__ import annotations

from pathlib import Path

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.figures.slide import Slide, says_only
from colony_sim.studies.comparison import (
    bin_life,
    gains,
    losses,
    overview,
    rack_ages,
    results,
    steady,
)
from colony_sim.studies.comparison.seven import case, talk
from colony_sim.studies.comparison.seven.case import Case


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The talk, one idea a slide, and after it what to show if somebody asks.

    Parameters
    ----------
    folder : Path
        Results folder of a comparison.
    seed : int, optional
        Seed of the run whose bins are shown; default: the first that settled under the most
        policies. That run is lived again, which takes some seconds.

    Raises
    ------
    InputError
        If the folder is not that of a comparison, or `seed` is not one of its runs.
    """
    folder = Path(folder)
    found = results.read(folder)
    seeds = found.manifest["experiment"].get("seeds", [])
    if seed is not None and seed not in seeds:
        shown = ", ".join(str(value) for value in seeds[:3])
        raise InputError(ARGUMENT, "seed", seed, f"the seed of a run in {folder} ({shown}, ...)")
    told = case.read(folder, seed)
    return [
        *talk.slides(told),
        *gains.slides(found, folder),
        overview.slide(found),
        losses.slide(found),
        *_bins(told),
        *steady.slides(found, folder),
    ]


def _bins(told: Case) -> list[Slide]:
    """What happens in the bins of one run."""
    found, traces = told.results, told.traces
    if traces is None:
        why = f"The bins cannot be shown: {told.no_traces}"
        runs = results.runs_in_words(found)
        return [says_only("bins", why, lambda figure: results.footer(figure, found), runs)]
    return [*bin_life.slides(found, traces), *rack_ages.slides(found, traces)]
