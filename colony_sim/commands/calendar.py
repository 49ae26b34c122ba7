"""``colony-sim calendar``: the work of a run or a plan as calendar, bin labels and checklist."""

from __future__ import annotations

from operator import methodcaller
from pathlib import Path

from colony_sim.atomic import write_atomic
from colony_sim.commands.ending import Ending
from colony_sim.commands.show import HOW, console, show_page
from colony_sim.errors import InputError
from colony_sim.extras import MissingExtra
from colony_sim.worklist.checklist import checklist
from colony_sim.worklist.ical import calendar
from colony_sim.worklist.labels import labelled, labels
from colony_sim.worklist.paper import check_paper
from colony_sim.worklist.task import day_in_words
from colony_sim.worklist.tasks import build
from colony_sim.worklist.work import Work, read_work

FOLDER = "calendar"
MOST_WEEKS = 520


def run_calendar(
    folder: Path, *, start: str | None, weeks: int, paper: str, out: Path | None
) -> None:
    """Write the work of the first weeks; all is made before anything is written."""
    check_paper(paper)
    if not 1 <= weeks <= MOST_WEEKS:
        raise InputError("--weeks", "weeks", weeks, f"a whole number from 1 to {MOST_WEEKS}")
    work = read_work(folder, start)
    tasks = build(work, weeks)
    try:
        made = {
            "work.ics": calendar(work, tasks),
            "labels.pdf": labels(work, weeks, paper),
            "checklist.pdf": checklist(work, tasks, weeks, paper),
        }
    except MissingExtra as error:
        raise Ending(str(error), 2) from None
    target = out if out is not None else folder / FOLDER
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, data in made.items():
            write_atomic(target / name, methodcaller("write_bytes", data))
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(str(target), "folder", reason, "a folder that can be written") from None
    last = min(7 * weeks, work.days)
    times, bins = sum(task.times for task in tasks), len(labelled(work, weeks))
    must = [
        f"The work from {day_in_words(work.start)} to {day_in_words(work.date(last))} is ready: "
        f"{times} tasks as {len(tasks)} events of any calendar, {bins} bin labels and a checklist "
        "by week, with the cautions.",
        "Only dates by your own rules hold; the others are expected and may shift.",
        *(str(target / name) for name in made),
    ]
    how = f"{HOW}: the dates come from {work.origin}."
    show_page(console(), must, [*_notes(work, weeks), *work.notes, how])


def _notes(work: Work, weeks: int) -> list[str]:
    """Why the dates end early, if they do."""
    if work.ended is not None and work.ended <= 7 * weeks:
        return [f"In this run the colony died out on day {work.ended}; the work ends there."]
    if work.days < 7 * weeks:
        return [f"The folder covers {work.days} days, fewer than {weeks} weeks."]
    return []
