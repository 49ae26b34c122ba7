"""What an experiment asks, and the order in which its policies are shown."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from colony_sim.biology.parameters import catalogue
from colony_sim.experiment.files import Policy


class Asks(StrEnum):
    """What the answer has to name."""

    YIELD = "yield"
    WORTH = "worth the work"
    SHARE = "how much may be taken"


def asks_of(declared: str, policies: Sequence[Policy]) -> Asks | None:
    """What is asked: as declared, or seen from what varies; None if neither says it."""
    if declared:
        return Asks(declared)
    return Asks.SHARE if varied(policies) == ["harvest.fraction"] else None


def varied(policies: Sequence[Policy]) -> list[str]:
    """Keys in which policies differ."""
    return [key for key in catalogue() if len({one.parameters[key] for one in policies}) > 1]


def in_order(policies: Sequence[Policy]) -> list[str]:
    """Names by rising value of the one number that varies; else as given."""
    keys = varied(policies)
    if len(keys) == 1 and catalogue()[keys[0]].is_number:
        policies = sorted(policies, key=lambda one: float(one.parameters[keys[0]]))
    return [one.name for one in policies]
