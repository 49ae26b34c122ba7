"""Temperatures of the room by the calendar, and the same room kept warmer."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.biology.climate import DAYS_PER_YEAR, Climate, climate_from_table
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.words.units import show, span

COLDEST_DAY = 20
"""Day of the year with the least temperature where none is given: 20 January, the northern
hemisphere. Assumption."""
TOO_WARM_C = 45.0
"""No room for mealworms is warmer; a number above it is most often one in Fahrenheit."""


def by_calendar(table: Mapping[str, Any], start: date, where: str, base: Path | None) -> Climate:
    """Climate of a ``[climate]`` table whose ``coldest_day`` is a day of the calendar year.

    In a run, day 1 is the start date, so the wave is moved by the day of the year of the start.
    A wave of 365 days drifts by a day at a leap day, which is left so.

    Raises
    ------
    InputError
        As for ``climate_from_table``; and a temperature that can only be Fahrenheit.
    """
    for key, value in table.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if key.endswith("_c") and number and value > TOO_WARM_C:
            celsius = f"{value:g} F is {(value - 32) / 1.8:.3g} C"
            raise InputError(
                where, f"climate.{key}", value,
                f"degrees C, at most {TOO_WARM_C:g}; if this is Fahrenheit, {celsius}",
            )  # fmt: skip
    # A log that covers a year is read by the calendar as well, unless the file says otherwise.
    dated = {"start": start, **table} if table.get("kind") == "logger" else dict(table)
    climate = climate_from_table(dated, where, base)
    if climate.kind != "yearly_wave":
        return climate
    mean, amplitude, coldest = climate.values
    moved = (coldest - start.timetuple().tm_yday) % DAYS_PER_YEAR + 1
    return Climate("yearly_wave", (mean, amplitude, float(moved)))


def wave_table(coldest: float, warmest: float, coldest_day: int = COLDEST_DAY) -> dict[str, Any]:
    """The ``[climate]`` table of a year between two daily means (C)."""
    if not warmest >= coldest:
        raise InputError(ARGUMENT, "warmest", warmest, f"at least `coldest` = {coldest:g} (C)")
    for option, value in (("coldest", coldest), ("warmest", warmest)):
        if value > TOO_WARM_C:
            raise InputError(
                ARGUMENT, option, value,
                f"degrees C, at most {TOO_WARM_C:g}; if this is Fahrenheit, {value:g} F is "
                f"{(value - 32) / 1.8:.3g} C",
            )  # fmt: skip
    return {
        "kind": "yearly_wave",
        "mean_c": (coldest + warmest) / 2,
        "amplitude_k": (warmest - coldest) / 2,
        "coldest_day": coldest_day,
    }


def at_least(climate: Climate, floor: float, days: int) -> Climate:
    """The same room, never colder than `floor` (C), for the days of a run."""
    # A wave or a constant comes again; a log goes by the date, so its days are laid out in full.
    length = days if climate.kind == "logger" else climate.period_days
    cycle = np.maximum(climate.daily(length), floor)
    if np.ptp(cycle) == 0:
        return Climate("constant", (float(cycle[0]),))
    return Climate("series", tuple(float(value) for value in cycle))


def extremes(climate: Climate) -> tuple[float, float]:
    """Least and greatest daily mean (C)."""
    cycle = climate.daily(climate.period_days)
    return float(cycle.min()), float(cycle.max())


def in_words(climate: Climate) -> str:
    """The room in a phrase."""
    low, high = extremes(climate)
    if high - low < 0.05:
        return f"a room at {show(low, 'C')} all year"
    return f"a room at {span(low, high, 'C')} through the year"
