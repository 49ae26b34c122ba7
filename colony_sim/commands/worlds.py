"""``colony-sim worlds``: the sets of values and structures that the literature allows."""

from __future__ import annotations

from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import HOW, Bars, console, show_page
from colony_sim.errors import InputError
from colony_sim.experiment.files import LARGEST_SEED
from colony_sim.experiment.plan import whole
from colony_sim.results.folder import folder_of
from colony_sim.running.runner import Interrupted
from colony_sim.worlds.shipped import ship
from colony_sim.worlds.study import NAME, RELIABILITY, run_worlds
from colony_sim.worlds.words import headline, plain


def show_worlds(
    *,
    anew: bool,
    into_package: bool,
    seed: int | None,
    workers: int | None,
    out: Path | None,
) -> Path:
    """Print what the worlds say, and write them with their tables and figures."""
    if not anew:
        asked = into_package or None
        for option, given in (("--ship", asked), ("--seed", seed), ("--workers", workers)):
            if given is not None:
                raise InputError(option, "without --remake", given, "only with --remake")
    seed = whole("seed", seed, 0, LARGEST_SEED, 1)
    folder = folder_of(NAME, out)
    with Bars() as bars:
        try:
            result = run_worlds(
                folder, anew=anew, seed=seed, workers=workers, command=command_line(),
                tell=lambda stage, progress: bars.of(stage)(progress),
            )  # fmt: skip
        except (KeyboardInterrupt, Interrupted):
            kept = f"Stopped; what was lived is kept in {folder}: run it again to go on."
            raise Ending(kept, STOPPED) from None
    last = [f"{HOW}: verdict.txt; figures {NAME}.png and {RELIABILITY}.png of the results."]
    if into_package:
        last.append(f"Put into the package: {ship(result.found)}")
    last.append(f"Results: {folder}")
    show_page(console(), [headline(result.found)], plain(result.found), last)
    return folder
