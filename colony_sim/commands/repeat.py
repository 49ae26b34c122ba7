"""``colony-sim repeat``."""

from __future__ import annotations

import sys
from pathlib import Path

from colony_sim.commands.show import progress_bar
from colony_sim.experiment.compare import RunsFailed
from colony_sim.experiment.repeat import repeat


def run_repeat(folder: Path, *, workers: int | None) -> int:
    """Repeat the comparison of a results folder; returns the exit code."""
    try:
        with progress_bar("repeat") as on_progress:
            difference = repeat(folder, workers=workers, on_progress=on_progress)
    except RunsFailed as error:
        print(f"colony-sim: {error}", file=sys.stderr)
        return 1
    if difference is not None:
        print(f"colony-sim: not identical: {folder}: {difference}", file=sys.stderr)
        return 1
    print(f"Identical: every table of {folder} was found again from its manifest.")
    return 0
