"""What can be logged by tapping on a bin: actions of the log, and what a form asks for each."""

from __future__ import annotations

from dataclasses import dataclass

from colony_sim.colony.bins import Phase
from colony_sim.logs.words import LogAction

DOES = {
    "moisture": LogAction.MOISTURE_STARTED, "harvest": LogAction.HARVEST,
    "free": LogAction.CLEARED, "beetles out": LogAction.BEETLES_OUT,
}  # fmt: skip
"""The action that does a step of `told.Step`."""


@dataclass(frozen=True)
class Tap:
    """A button.

    Attributes
    ----------
    action : LogAction
    asks : tuple of str
        Of "count" and "grams", what its form has a field for.
    """

    action: LogAction
    asks: tuple[str, ...] = ()


TAPS = (
    Tap(LogAction.HARVEST, ("grams",)),
    Tap(LogAction.BEETLES_OUT, ("count",)),
    Tap(LogAction.BEETLES_IN, ("count",)),
    Tap(LogAction.MOISTURE_STARTED),
    Tap(LogAction.DEAD_BEETLES, ("count",)),
    Tap(LogAction.COUNT, ("count",)),
    Tap(LogAction.CLEARED),
)
_FIRST = {
    Phase.FREE.value: (LogAction.BEETLES_IN,),
    Phase.BREEDING.value: (LogAction.BEETLES_OUT, LogAction.DEAD_BEETLES, LogAction.COUNT),
    Phase.GROWING.value: (LogAction.HARVEST, LogAction.MOISTURE_STARTED, LogAction.COUNT,
                          LogAction.CLEARED),
}  # fmt: skip


def of_phase(phase: str) -> list[LogAction]:
    """All actions, those that a bin in this phase most likely needs first.

    None is left out: rows just logged may have brought the bin to another phase.
    """
    first = _FIRST[phase]
    return [*first, *(tap.action for tap in TAPS if tap.action not in first)]


def forms() -> dict[str, dict[str, object]]:
    """What the page's script needs for a form, by action, for JSON."""
    return {
        tap.action.value: {
            "about": tap.action.about,
            "asks": list(tap.asks),
            "needs": list(tap.action.needs),
            # One stage goes without saying.
            "stages": list(tap.action.stages) if tap.action is LogAction.COUNT else [],
        }
        for tap in TAPS
    }
