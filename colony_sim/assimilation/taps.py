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
        Of "count", "grams" and "until", what its form has a field for.
    """

    action: LogAction
    asks: tuple[str, ...] = ()

    @property
    def stages(self) -> tuple[str, ...]:
        """Stages to choose from; one goes without saying, and large larvae are what is taken."""
        stages = self.action.stages
        return () if len(stages) < 2 or self.action is LogAction.HARVEST else stages


_ASKS = {
    LogAction.HARVEST: ("grams",), LogAction.WEIGHT: ("grams",), LogAction.BRAN_ADDED: ("grams",),
    LogAction.SAMPLE: ("count", "grams"), LogAction.LARVAE_IN: ("count", "grams"),
    LogAction.SKINS_SEEN: (), LogAction.MOISTURE_STARTED: (), LogAction.CLEARED: (),
    LogAction.NOT_WRITTEN: ("until",),
}  # fmt: skip
"""Of the others a form asks for a count."""
TAPS = tuple(Tap(action, _ASKS.get(action, ("count",))) for action in LogAction)
"""A button for every action of the log."""
_FIRST = {
    Phase.FREE.value: (LogAction.BEETLES_IN, LogAction.LARVAE_IN),
    Phase.BREEDING.value: (LogAction.BEETLES_OUT, LogAction.DEAD_BEETLES, LogAction.COUNT),
    Phase.GROWING.value: (LogAction.HARVEST, LogAction.SKINS_SEEN, LogAction.MOISTURE_STARTED,
                          LogAction.COUNT, LogAction.PUPAE_PICKED, LogAction.CLEARED),
}  # fmt: skip


def of_phase(phase: str) -> tuple[list[LogAction], list[LogAction]]:
    """All actions: those that a bin in this phase most likely needs, and the others.

    None is left out: rows just logged may have brought the bin to another phase.
    """
    first = _FIRST[phase]
    return list(first), [tap.action for tap in TAPS if tap.action not in first]


def forms() -> dict[str, dict[str, object]]:
    """What the page's script needs for a form, by action, for JSON."""
    return {
        tap.action.value: {
            "about": tap.action.about,
            "asks": list(tap.asks),
            "needs": list(tap.action.needs),
            "stages": list(tap.stages),
        }
        for tap in TAPS
    }
