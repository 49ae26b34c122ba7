"""The option ``--profile``, for every command."""

from __future__ import annotations

from pathlib import Path

from colony_sim.experiment.profile import Profile, read_profile


def profile_of(path: Path | None) -> Profile | None:
    """The profile of ``--profile``; None where it is not given."""
    return None if path is None else read_profile(path)
