"""What is asked: a log, a date, a rack with its rules; and the ensemble that answers."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from pathlib import Path

from colony_sim.assimilation import lived
from colony_sim.assimilation.ensemble import Ensemble
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.errors import InputError
from colony_sim.experiment.files import Policy
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.worlds import Worlds
from colony_sim.logs.logbook import Logbook
from colony_sim.logs.reading import read_schedule, temperatures
from colony_sim.logs.schedule import LONG_SILENCE_DAYS, Schedule, compile_schedule


@dataclass(frozen=True)
class Asked:
    """A question about a rack.

    Attributes
    ----------
    logbook : Logbook
    on : datetime.date
        Today.
    ensemble : Ensemble
    notes : tuple of str
        What was taken for granted.
    """

    logbook: Logbook
    on: datetime.date
    ensemble: Ensemble
    notes: tuple[str, ...]

    @property
    def rows(self) -> int:
        """Rows of the log up to today."""
        return sum(entry.date <= self.on for entry in self.logbook.entries)


def ask(
    log: str | Path,
    parameters: Parameters,
    climate: Climate,
    worlds: Worlds,
    *,
    on: datetime.date | None = None,
    seed: int = 1,
    empty_too: bool = False,
) -> Asked:
    """Make a question of a log.

    Parameters
    ----------
    log : str or Path
    parameters : Parameters
        Of the rack, its rules and what no world draws.
    climate : Climate
    worlds : Worlds
        Those of the package or a profile; the uncertain handling is drawn besides.
    on : datetime.date, optional
        Today; rows after it are left aside. Default: the calendar's, if it is no more than
        `LONG_SILENCE_DAYS` after the last row, else the date of the last row.
    seed : int
    empty_too : bool
        Whether a log without a row up to today is a rack that is still empty, and no fault.

    Raises
    ------
    InputError
        The first fault of the log, no row up to today, or a climate without the days to come.
    """
    notes: list[str] = []
    if on is None:
        logbook, _ = read_schedule(log, numbers_needed=False)
        if not logbook.entries:
            if empty_too:
                on = datetime.date.today()
                return _empty(logbook, on, parameters, climate, worlds, seed)
            raise InputError(str(log), "rows", 0, "at least one: the beetles that went in first")
        last, now = logbook.entries[-1].date, datetime.date.today()
        on = now if 0 <= (now - last).days <= LONG_SILENCE_DAYS else last
        if on != now:
            notes.append(f"Today is taken as {on}, the date of the last row; else give --on DATE.")
    logbook, schedule = read_schedule(log, until=on, numbers_needed=False)
    if not schedule.steps:
        if empty_too:
            return _empty(logbook, on, parameters, climate, worlds, seed)
        first = logbook.entries[0].date if logbook.entries else "the first row"
        raise InputError("command line", "--on", str(on), f"{first} or later: no row is before it")
    notes += [f"Note: {note}." for note in schedule.notes]
    ensemble = _ensemble(schedule, on, parameters, climate, worlds, seed)
    return Asked(logbook, on, ensemble, tuple(notes))


def _ensemble(
    schedule: Schedule,
    on: datetime.date,
    parameters: Parameters,
    climate: Climate,
    worlds: Worlds,
    seed: int,
) -> Ensemble:
    today = (on - schedule.start).days
    warm = temperatures(climate, replace(schedule, days=today + lived.DAYS))
    as_is = as_lived(parameters, climate)
    drawn = with_hands(worlds, (Policy("as logged", as_is),))
    return Ensemble(schedule, today, as_is, drawn, warm, seed)


def _empty(
    logbook: Logbook,
    on: datetime.date,
    parameters: Parameters,
    climate: Climate,
    worlds: Worlds,
    seed: int,
) -> Asked:
    """A rack into which nothing has gone yet."""
    schedule = replace(compile_schedule((), numbers_needed=False), start=on, days=0)
    ensemble = _ensemble(schedule, on, parameters, climate, worlds, seed)
    return Asked(logbook, on, ensemble, ())
