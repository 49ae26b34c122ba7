"""What can be set on the page: handling rules, founders, room and chance, with their words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import TYPE_CHECKING, Any

from colony_sim.biology import parameters
from colony_sim.biology.climate import Climate, constant
from colony_sim.biology.logger_file import HIGHEST_C, LOWEST_C
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario
from colony_sim.errors import InputError
from colony_sim.experiment.files import LARGEST_SEED, MOST_BREEDERS, MOST_LARVAE
from colony_sim.experiment.units import converted
from colony_sim.words.units import degrees, differs, scaled, symbol

if TYPE_CHECKING:
    from colony_sim.explore.session import Session

#: Where a value came from, in error lines.
WHERE = "page"
TEMPERATURE, BREEDERS, LARVAE, SEED = "temperature_c", "breeders", "larvae", "seed"
COMMON = (TEMPERATURE, BREEDERS, LARVAE, SEED)
"""What both ways share: room, start and chance."""
STAY, TRAY, SCOOP = "rotation.interval_days", "pupae.isolate", "harvest.fraction"
ON_THE_RACK = (STAY, TRAY, SCOOP)
"""Rules that are set on the drawn rack."""


@dataclass(frozen=True)
class Setting:
    """One control of the page.

    Attributes
    ----------
    key : str
        Handling key, or "temperature_c", "breeders", "larvae" or "seed".
    label, unit, about : str
        Words beside the control, and the unit of its values; `about` is a sentence.
    kind : str
        "number", "integer", "boolean" or "choice".
    low, high, step : float or None
        Plausible range and step of the slider, in `unit`; None where there is no slider.
    words : mapping of str to str
        Choices and how they are called.
    basis : str
        Where the value at the start comes from.
    """

    key: str
    label: str
    unit: str
    about: str
    kind: str
    low: float | None = None
    high: float | None = None
    step: float | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    basis: str = ""

    @property
    def printed(self) -> str:
        """The unit on the page, that of the house."""
        return symbol("C") if self.unit == "C" else self.unit

    def on_page(self, what: Any) -> Any:
        """A value as the page has it, in `printed`."""
        return round(scaled(what, "C"), 1) + 0.0 if self.unit == "C" else what

    def off_page(self, what: Any) -> Any:
        """A number of the page in `unit`."""
        known = self.unit == "C" and differs("C") and isinstance(what, int | float)
        return float(f"{converted(what, 'F', 'C'):.12g}") if known else what

    @property
    def page_step(self) -> float | None:
        """Step of the slider in `printed`: whole degrees where they are small."""
        return 1 if self.unit == "C" and differs("C") else self.step

    @property
    def meaning(self) -> str:
        """What it is, what it is called in an experiment file, and where its value is from."""
        if not self.basis:
            return self.about
        return f"{self.about} Key {self.key}; {self.basis}."


@cache
def rules() -> tuple[Setting, ...]:
    """The controls of the page, in its order."""
    entries = parameters.catalogue()
    found = []
    on_page = [(entry, entry.slider) for entry in entries.values() if entry.slider]
    for entry, slider in sorted(on_page, key=lambda both: both[1].place):
        found.append(
            Setting(
                key=entry.key,
                label=slider.label,
                unit="" if entry.kind in ("boolean", "choice") else entry.unit,
                about=entry.about,
                kind=entry.kind,
                low=entry.low,
                high=entry.high,
                step=slider.step,
                words=slider.words,
                basis=entry.basis,
            )
        )
    crowd = entries["rotation.most_breeders_per_bin"]
    found += [
        Setting(
            TEMPERATURE,
            "Room temperature",
            "C",
            "One temperature all year. The range is where larvae develop under every plausible "
            "value of their limits.",
            "number",
            math.ceil(entries["larva.lower_c"].ends[1]),
            math.floor(entries["larva.upper_c"].ends[0]),
            0.5,
        ),
        Setting(
            BREEDERS,
            "Beetles at the start",
            "adults",
            "Founder beetles, in one bin.",
            "integer",
            crowd.low,
            crowd.high,
            10,
        ),
        Setting(
            LARVAE,
            "Larvae at the start",
            "larvae",
            "Founder larvae of all ages, spread over growing bins. Range: common sense, no source.",
            "integer",
            0,
            40_000,
            500,
        ),
        Setting(
            SEED,
            "Number of the chance",
            "",
            "All chance in both racks is drawn from this number (the seed). The same number and "
            "the same rules give the same rack; another number gives another one.",
            "integer",
        ),
    ]
    return tuple(found)


@cache
def rule(key: str) -> Setting:
    """The control of a key."""
    return next(found for found in rules() if found.key == key)


def span(found: Setting, start: Any) -> tuple[float, float]:
    """Ends of the slider: the plausible range, wider if the run starts with a value outside it."""
    ends = [end for end in (found.low, found.high, start) if end is not None]
    return min(ends), max(ends)


def on_slider(found: Setting, start: Any) -> tuple[float, float]:
    """The ends in the unit of the page; whole degrees, as its steps begin at the lower end."""
    low, high = (found.on_page(end) for end in span(found, start))
    if found.unit == "C" and differs("C"):
        return math.ceil(low), math.floor(high)
    return low, high


def value(scenario: Scenario, key: str) -> Any:
    """What a scenario has for a key; None for the temperature of a room that is not constant."""
    if key == TEMPERATURE:
        return scenario.climate.values[0] if scenario.climate.kind == "constant" else None
    if key in (BREEDERS, LARVAE, SEED):
        return getattr(scenario, key)
    return scenario.parameters[key]


def changed(scenario: Scenario, key: str, to: Any, given: Climate) -> Scenario:
    """A scenario with another value for one key.

    Parameters
    ----------
    scenario : Scenario
    key : str
    to : value
        None, for a temperature that is not constant in `given`, means the room as given.
    given : Climate

    Raises
    ------
    InputError
        A value of the wrong kind or outside what is allowed.
    """
    if key == TEMPERATURE:
        as_given = to is None and given.kind != "constant"
        return replace(scenario, climate=given if as_given else _room(to))
    whole = {BREEDERS: (1, MOST_BREEDERS), LARVAE: (0, MOST_LARVAE), SEED: (0, LARGEST_SEED)}
    if key in whole:
        number: dict[str, Any] = {key: _whole(key, to, *whole[key])}
        return replace(scenario, **number)
    known: Parameters = scenario.parameters
    return replace(scenario, parameters=known.with_values({key: to}, where=WHERE))


def _room(to: Any) -> Climate:
    if isinstance(to, bool) or not isinstance(to, int | float) or not LOWEST_C <= to <= HIGHEST_C:
        low, high = (rule(TEMPERATURE).on_page(end) for end in (LOWEST_C, HIGHEST_C))
        allowed = f"a number from {low:g} to {high:g} ({degrees()})"
        raise InputError(WHERE, TEMPERATURE, to, allowed)
    return constant(float(to))


def _whole(key: str, to: Any, low: int, high: int) -> int:
    number = isinstance(to, int | float) and not isinstance(to, bool)
    # The range test comes first: NaN and infinities fail it.
    if not number or not low <= to <= high or to != int(to):
        raise InputError(WHERE, key, to, f"a whole number from {low} to {high}")
    return int(to)


def shown(key: str, what: Any) -> str:
    """A value in words, with its unit."""
    found = rule(key)
    if key == TEMPERATURE and what is None:
        return "as in the file"
    if found.kind == "boolean":
        return "yes" if what else "no"
    if found.kind == "choice":
        return found.words[what]
    if key == SEED:
        return str(what)
    number = f"{what:,}" if found.kind == "integer" else f"{found.on_page(what):g}"
    return f"{number} {found.printed}".strip()


def refused(error: InputError) -> str:
    """A refused value in words, for the page."""
    known = next((found for found in rules() if found.key == error.key), None)
    label, value = known.label if known else error.key, error.value
    if known and isinstance(value, float) and math.isfinite(value):
        value = known.on_page(value)
    what = "nothing" if value is None else f"{value}"[:40]
    return f"{label}: {what} is not possible. Possible is {error.allowed}."


def note(session: Session, key: str) -> str:
    """What should be known about the value that is set; empty if nothing."""
    found, now = rule(key), session.value(key)
    if key == TEMPERATURE and now is None:
        return "As in the file."
    if key == TEMPERATURE and session.start_value(key) is None:
        return "Empty the field for the room as in the file."
    if key == "pupae.inspection_days" and not session.value("pupae.isolate"):
        return "No effect while pupae are not set apart."
    if found.low is not None and found.high is not None and not found.low <= now <= found.high:
        low, high = found.on_page(found.low), found.on_page(found.high)
        return f"Outside the plausible range, {low:g} to {high:g} {found.printed}."
    return ""


def differences(first: Scenario, second: Scenario) -> list[tuple[Setting, str, str]]:
    """Controls in which two scenarios differ, and what each has, in words."""
    pairs = [(found, value(first, found.key), value(second, found.key)) for found in rules()]
    return [
        (found, shown(found.key, one), shown(found.key, other))
        for found, one, other in pairs
        if one != other
    ]
