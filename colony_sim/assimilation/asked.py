"""What is asked: a log, a date, a rack with its rules; and the ensemble that answers."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from colony_sim.assimilation import lived
from colony_sim.assimilation.ensemble import Ensemble
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.errors import InputError
from colony_sim.experiment.files import Policy
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.experiment.units import house
from colony_sim.experiment.worlds import Worlds
from colony_sim.logs.logbook import Logbook
from colony_sim.logs.reading import read_schedule
from colony_sim.logs.schedule import LONG_SILENCE_DAYS, Schedule, compile_schedule
from colony_sim.logs.words import LONGEST_LOG_DAYS


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

    def asked(
        logbook: Logbook, schedule: Schedule, on: datetime.date, notes: Sequence[str] = ()
    ) -> Asked:
        ensemble = Ensemble.of(
            schedule, parameters, climate, worlds, seed, today=(on - schedule.start).days,
            ahead=lived.DAYS,
        )  # fmt: skip
        return Asked(logbook, on, ensemble, tuple(notes))

    def empty(logbook: Logbook, on: datetime.date) -> Asked:
        nothing = compile_schedule((), numbers_needed=False)
        return asked(logbook, replace(nothing, start=on, days=0), on)

    notes: list[str] = []
    if on is None:
        logbook, _ = read_schedule(log, numbers_needed=False)
        if not logbook.entries:
            if empty_too:
                return empty(logbook, datetime.date.today())
            raise InputError(str(log), "rows", 0, "at least one: the beetles that went in first")
        last, now = logbook.entries[-1].date, datetime.date.today()
        on = now if 0 <= (now - last).days <= LONG_SILENCE_DAYS else last
        if on != now:
            notes.append(f"Today is taken as {on}, the date of the last row; else give --on DATE.")
    logbook, schedule = read_schedule(log, until=on, numbers_needed=False)
    if not schedule.steps:
        if empty_too:
            return empty(logbook, on)
        first = logbook.entries[0].date if logbook.entries else "the first row"
        raise InputError("command line", "--on", str(on), f"{first} or later: no row is before it")
    first_day = logbook.entries[0].date
    if (on - first_day).days > LONGEST_LOG_DAYS:
        allowed = f"within {LONGEST_LOG_DAYS} days of the first row, {first_day}"
        raise InputError("command line", "--on", str(on), allowed)
    notes += [f"Note: {note}." for note in schedule.notes]
    return asked(logbook, schedule, on, notes)


def plan_of(
    name: str,
    question: str,
    ensemble: Ensemble,
    policy: str,
    climate: Climate,
    text: str,
    invented: bool,
) -> Plan:
    """What a log was lived with, as a plan for the manifest."""
    return Plan(
        name=name,
        question=question,
        days=max(1, ensemble.today),
        seeds=replicate_seeds(ensemble.seed, 1),
        seed=ensemble.seed,
        breeders=0,
        larvae=0,
        baseline=policy,
        climate=climate,
        policies=(Policy(policy, ensemble.parameters),),
        text=text,
        invented=invented,
        house=house(),
    )
