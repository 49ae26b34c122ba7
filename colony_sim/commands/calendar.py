"""``colony-sim calendar``: the work of a run or a plan as calendar, bin labels and checklist."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

from colony_sim.atomic import make_folder, write_bytes
from colony_sim.commands.output import refuse_other_than_files
from colony_sim.commands.show import HOW, console, show_page
from colony_sim.commands.study import reads_folder
from colony_sim.errors import InputError
from colony_sim.experiment.units import using
from colony_sim.results.folder import steadily
from colony_sim.words.listing import listed
from colony_sim.worklist.checklist import checklist
from colony_sim.worklist.gather import by_day, daily_by_week, gathered, work_days
from colony_sim.worklist.ical import calendar
from colony_sim.worklist.labels import labelled, labels
from colony_sim.worklist.paper import check_paper
from colony_sim.worklist.task import day_in_words
from colony_sim.worklist.tasks import build
from colony_sim.worklist.work import Work, read_work

FOLDER = "calendar"
WORK_DAYS = "wed,sat"
_NAMES = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")
MOST_WEEKS = 520


@reads_folder
def run_calendar(
    folder: Path,
    *,
    start: str | None,
    weeks: int,
    paper: str | None,
    out: Path | None,
    days: str = WORK_DAYS,
    remind: str | None = None,
    units: str | None = None,
) -> None:
    """Write the work of the first weeks; all is made before anything is written."""
    if paper is not None:
        check_paper(paper)
    if not 1 <= weeks <= MOST_WEEKS:
        raise InputError("--weeks", "weeks", weeks, f"a whole number from 1 to {MOST_WEEKS}")
    on, at = work_days(days), _time(remind)
    work = steadily(folder, lambda: read_work(folder, start))
    house = work.house.in_units(units)
    paper = paper or ("letter" if house.system == "us" else "a4")
    with using(house):
        tasks = gathered(build(work, weeks), on, work.start)
        made = {
            "work.ics": calendar(work, tasks, at),
            "labels.pdf": labels(work, weeks, paper),
            "checklist.pdf": checklist(work, tasks, weeks, paper),
        }
    target = out if out is not None else folder / FOLDER
    refuse_other_than_files(target / name for name in made)
    make_folder(target)
    for name, data in made.items():
        write_bytes(target / name, data)
    last = min(7 * weeks, work.days)
    busy, bins = by_day(tasks), len(labelled(work, weeks))
    entries = len(busy) + len(daily_by_week(tasks, work.start))
    must = [
        f"The work from {day_in_words(work.start)} to {day_in_words(work.date(last))} is ready: "
        f"{entries} entries of any calendar, {7 * entries / (last + 6):.1f} a week, {bins} bin "
        "labels and a checklist of one page a week.",
        f"Work is gathered on {listed(_NAMES[day] for day in on)}; moisture and the pupa tray are "
        "looked after every day.",
        "Only dates by your own rules hold; the others are expected and may shift.",
        *(str(target / name) for name in made),
    ]
    how = f"{HOW}: the dates come from {work.origin}."
    show_page(console(), must, [*_notes(work, weeks), *work.notes, how])


def _time(text: str | None) -> timedelta | None:
    """A time of day, from the day's start."""
    if text is None:
        return None
    found = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text)
    if found is None:
        raise InputError("--remind", "time", text, "a time of the day, such as 8:00")
    return timedelta(hours=int(found[1]), minutes=int(found[2]))


def _notes(work: Work, weeks: int) -> list[str]:
    """Why the dates end early, if they do."""
    if work.ended is not None and work.ended <= 7 * weeks:
        return [f"In this run the colony died out on day {work.ended}; the work ends there."]
    if work.days < 7 * weeks:
        return [f"The folder covers {work.days} days, fewer than {weeks} weeks."]
    return []
