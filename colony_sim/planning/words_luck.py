"""What a plan's share of runs is over, and how much of what is uncertain is luck, in words.

A world is called a possible colony here, as in the answer of a comparison.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from colony_sim.experiment.worlds import SHIPPED
from colony_sim.planning.luck import Luck, Part

_LUCK = (
    "Luck is which eggs, larvae and beetles live, and when; the temperatures of the room are those "
    "given, the same in every run."
)


def runs(facts: Mapping[str, Any]) -> str:
    """What runs are called: possible colonies where each lives in a world of its own."""
    return "runs" if facts["luck"] is None else "possible colonies"


def what_it_is_over(facts: Mapping[str, Any]) -> str:
    """What differs between the runs that are counted."""
    if facts["luck"] is None:
        return (
            "Every run has the same insects and the same hands, those of the default values or of "
            "your file: the share is over luck alone."
        )
    if facts["profile"] == SHIPPED:
        return (
            "Each is one that the published experiments allow, with hands and luck of its own: the "
            "share is over what nobody knows as well as over luck."
        )
    return (
        f"Each is one that profile “{facts['profile']}” allows, with hands and luck of its own: "
        "the share is over what your log leaves open as well as over luck."
    )


def parts(facts: Mapping[str, Any]) -> str:
    """How much of what is uncertain is luck; empty in one world."""
    found = _luck(facts)
    if found is None:
        return ""
    shipped = facts["profile"] == SHIPPED
    unknown = "nobody knows about these insects" if shipped else "your log leaves open"
    part, about = found.missing, "how much is missing"
    if part is None or not part.clear:
        part, about = found.met, "whether it is enough"
    if part is None or not part.clear:
        return f"Too few were lived twice, or fell short, to tell luck from what {unknown}."
    remedy = "a log of your bins (colony-sim fit)" if shipped else "a longer log"
    return (
        f"Of what is uncertain about {about}, some {_luck_share(part)} is luck and "
        f"{_unknown_share(part)} is what {unknown}; the latter shrinks with {remedy}."
    )


def lived_again(facts: Mapping[str, Any]) -> str:
    """What came of worlds that were lived twice, counted; the shares for the want itself."""
    found = _luck(facts)
    if found is None or not found.twice:
        return ""
    text = (
        f"Of {found.twice} colonies lived twice with other luck, {found.both} meet the want both "
        f"times, {found.once} once and {found.never} never."
    )
    if found.met is not None and found.met.clear:
        text += (
            f" Of whether the want is met, about {_luck_share(found.met)} is luck and "
            f"{_unknown_share(found.met)} the colony."
        )
    return f"{text} {_LUCK}"


def _luck(facts: Mapping[str, Any]) -> Luck | None:
    if facts["luck"] is None:
        return None
    own = {name: part and Part(**part) for name, part in facts["luck"].items() if name in _PARTS}
    return Luck(**{**facts["luck"], **own})


_PARTS = ("missing", "met")


def _luck_share(part: Part) -> str:
    return f"{100 * (1 - part.unknown):.0f} %"


def _unknown_share(part: Part) -> str:
    # A standard error, with which no share goes beyond all or nothing.
    return f"{100 * part.unknown:.0f} % (give or take {max(100 * part.error, 1):.0f})"
