"""A log made ready to be lived again, and the temperatures of its days."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from colony_sim.biology.calendar import covers_year
from colony_sim.biology.climate import Climate
from colony_sim.errors import InputError
from colony_sim.logs.logbook import Logbook, read_log
from colony_sim.logs.schedule import Schedule, compile_schedule


def read_schedule(
    path: str | Path,
    until: datetime.date = datetime.date.max,
    numbers_needed: bool = True,
) -> tuple[Logbook, Schedule]:
    """A log, made ready for replay.

    Parameters
    ----------
    path : str or Path
    until : datetime.date
        Rows after it are left aside.
    numbers_needed : bool
        Whether a log without a number to learn from is a fault.

    Raises
    ------
    InputError
        The first fault, with the number of the others.
    """
    logbook = read_log(path)
    faults = list(logbook.faults)
    entries = [entry for entry in logbook.entries if entry.date <= until]
    schedule = compile_schedule(entries, numbers_needed)
    # Rows that could not be read leave holes; what follows from them is not the keeper's fault.
    faults += [] if faults else list(schedule.faults)
    if faults:
        first, more = faults[0], len(faults) - 1
        rest = f" ({more} more: colony-sim fit --check {logbook.path})" if more else ""
        raise InputError(
            str(path), f"row {first.row}, {first.column}", first.value, f"{first.remedy}{rest}"
        )
    return logbook, replace(schedule, notes=(*logbook.notes, *schedule.notes))


def temperatures(climate: Climate, schedule: Schedule) -> tuple[float, ...]:
    """Daily means (C) from the day after the log's first, day 1 of the replay.

    A yearly wave and a logger's temperatures run by the calendar; a constant and a series begin
    with the bin log.

    Raises
    ------
    InputError
        A logger that has neither the days of the bin log nor a whole year.
    """
    days = schedule.days + 1
    if climate.kind == "logger":
        return _logged(climate, schedule.start + datetime.timedelta(days=1), days)
    if climate.kind == "yearly_wave":
        since = schedule.start.timetuple().tm_yday
        return tuple(climate.daily(since + days)[since:].tolist())
    return tuple(climate.daily(days).tolist())


def _logged(climate: Climate, start: datetime.date, days: int) -> tuple[float, ...]:
    """A logger's temperatures on the dates of the bin log."""
    first, count = datetime.date.fromisoformat(climate.first), len(climate.values)
    offset = (start - first).days
    if not covers_year(first, count) and not 0 <= offset <= count - days + 1:
        until = start + datetime.timedelta(days=days - 2)
        last = first + datetime.timedelta(days=count - 1)
        raise InputError(
            "climate", "logger", f"{first} to {last}",
            f"every day from {start} to {until}, as the bin log has them, or a whole year",
        )  # fmt: skip
    return tuple(replace(climate, start=start.isoformat()).daily(days).tolist())
