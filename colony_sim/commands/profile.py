"""The options ``--profile`` and ``--one-world``, for every command."""

from __future__ import annotations

from pathlib import Path

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.worlds import SHIPPED, Worlds, read_worlds


def profile_of(path: Path | None) -> Worlds | None:
    """The profile of ``--profile``; None where it is not given."""
    return None if path is None else read_worlds(path)


def worlds_of(path: Path | None, one_world: bool) -> Worlds | None:
    """The worlds that a study lives in: those of ``--profile``, or those of the package.

    None with ``--one-world``, for the values of the experiment and of `parameters.toml`.
    """
    if not one_world:
        return read_worlds(SHIPPED if path is None else path)
    if path is not None:
        raise InputError(ARGUMENT, "one-world", True, "not together with `profile`")
    return None
