"""Handling that nobody chooses: what a keeper's hands lose, miss and take, drawn for every world.

How many eggs stick to the sieve, how many pupae are missed, how many minutes a move takes: no
source tells, and no keeper decides it. Each such value that an experiment leaves at its default is
drawn for every world, on its own and uniformly over its plausible range (in its logarithm where
that spans more than a factor of ten, as the biology of the worlds is). A value that is given in
the experiment is the keeper's own and stays.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np

from colony_sim.biology.parameters import Entry, catalogue
from colony_sim.experiment.files import Policy
from colony_sim.experiment.worlds import Worlds

DECADE = 10.0
"""A range over more than this factor is drawn in its logarithm."""


def with_hands(worlds: Worlds, policies: Sequence[Policy]) -> Worlds:
    """The worlds with the uncertain handling that every policy leaves at its default.

    The draws of a key depend on its name and on the number of the world alone, so that the first
    worlds are the same however many there are.
    """
    drawn = [entry for entry in catalogue().values() if _left_open(entry, policies)]
    if not drawn:
        return worlds
    count = len(worlds.draws)
    columns = np.column_stack([_column(entry, count) for entry in drawn])
    return worlds.joined([entry.key for entry in drawn], columns)


def _left_open(entry: Entry, policies: Sequence[Policy]) -> bool:
    return (
        entry.group == "handling"
        and entry.uncertain
        and all(policy.parameters.as_dict()[entry.key] == entry.value for policy in policies)
    )


def _column(entry: Entry, count: int) -> np.ndarray:
    low, high = entry.ends
    # CRC-32 (ISO 3309), as Python's own hash of a text changes from process to process.
    share = np.random.default_rng(zlib.crc32(entry.key.encode())).random(count)
    if low > 0.0 and high / low > DECADE:
        return low * (high / low) ** share
    return low + (high - low) * share
