"""``colony-sim film``: the racks of two policies side by side, as a film for a slide."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path

from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import console
from colony_sim.commands.study import reads_folder, split
from colony_sim.report.film import write_film
from colony_sim.results.folder import steadily


@reads_folder
def run_film(
    folder: Path, *, out: Path | None, policies: str | None, days: int | None, pace: int
) -> None:
    """Write the film and tell where it is and how long it lasts."""
    try:
        write = partial(write_film, folder, out, policies=split(policies), days=days, pace=pace)
        done = steadily(folder, partial(write, tell=partial(print, file=sys.stderr, flush=True)))
    except KeyboardInterrupt:
        raise Ending("Stopped. Nothing was written.", STOPPED) from None
    text = (
        f"The film is ready in {done.path} ({done.size / 1e6:.1f} MB): {done.frames} days in "
        f"{done.seconds:.0f} s."
    )
    console().print(text, highlight=False, markup=False, soft_wrap=True)
