"""The option ``--profile``, for every command."""

from __future__ import annotations

from pathlib import Path

from colony_sim.experiment.worlds import Worlds, read_worlds


def profile_of(path: Path | None) -> Worlds | None:
    """The profile of ``--profile``; None where it is not given."""
    return None if path is None else read_worlds(path)
