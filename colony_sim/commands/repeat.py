"""``colony-sim repeat``."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from colony_sim.commands.ending import FAILED, STOPPED, Ending
from colony_sim.commands.show import progress_bar
from colony_sim.commands.study import reads_folder
from colony_sim.results.folder import steadily
from colony_sim.running.runner import WorkerDied
from colony_sim.studies.comparison.live import RunsFailed
from colony_sim.studies.repeat import repeat


@reads_folder
def run_repeat(folder: Path, *, workers: int | None) -> None:
    """Repeat the comparison of a results folder and tell whether it is identical."""
    try:
        with progress_bar("repeat") as on_progress:
            again = partial(repeat, folder, workers=workers, on_progress=on_progress)
            difference = steadily(folder, again)
    except KeyboardInterrupt:
        raise Ending(f"Stopped. {folder} was only read.", STOPPED) from None
    except (RunsFailed, WorkerDied) as error:
        raise Ending(str(error), FAILED) from None
    if difference is not None:
        raise Ending(f"not identical: {folder}: {difference}", FAILED)
    print(f"Identical: every table of {folder} was found again from its manifest.")
