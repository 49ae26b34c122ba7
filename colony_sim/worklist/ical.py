"""The tasks as iCalendar (RFC 5545), written by the package ``icalendar``."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from uuid import UUID, uuid5

from colony_sim.extras import require
from colony_sim.worklist import cautions
from colony_sim.worklist.gather import by_day, daily_by_week
from colony_sim.worklist.task import Kind, Task, day_in_words
from colony_sim.worklist.work import Work

PRODID = "-//colony_sim//calendar of the work//EN"
_SPACE = UUID("6f0c1d1e-52b1-4d6a-9a53-6a3e2f0f7d54")
"""Name space of the UIDs of events, drawn once at random."""
_GROUPS = {
    Kind.SETUP: "Beetles",
    Kind.TRAY: "Pupae",
    Kind.INSPECT: "Pupae",
    Kind.COLLECT: "Beetles",
    Kind.CLEAR: "Cleaning",
    Kind.MOVE: "Beetles",
    Kind.DEAD: "Beetles",
    Kind.WASH: "Cleaning",
    Kind.HARVEST: "Harvest",
    Kind.START_MOISTURE: "Moisture",
    Kind.MOISTURE: "Moisture",
    Kind.ADD_BRAN: "Bran",
    Kind.TREAT: "Bran",
}


def uid(work: Work, kind: str, day: date) -> str:
    """Identifier of an event: the same for the same work, kind and first day (RFC 7986, 5.3)."""
    return str(uuid5(_SPACE, f"{work.name}\n{kind}\n{day.isoformat()}"))


def about(work: Work) -> str:
    """Where the dates come from and how far to trust them; one sentence or two a line."""
    lines = [
        f"Dates come from {work.origin}, {work.name}. Dates by your own rules hold; all "
        "others are what the model expects and may shift: go by what you see in the bin.",
        *work.notes,
    ]
    if work.ended is not None:
        lines.append(
            f"In this run the colony died out on day {work.ended} "
            f"({work.date(work.ended).isoformat()}): there is no work after that."
        )
    return "\n".join([*lines, cautions.DEFER])


def description(lines: Iterable[str], kinds: Iterable[Kind]) -> str:
    """The text of an event: its lines, and each caution that belongs to its kinds once."""
    notes = [caution.short for kind in kinds for caution in cautions.beside(kind)]
    return "\n".join([*lines, *dict.fromkeys(notes)])


def of_work_day(tasks: list[Task]) -> tuple[str, str]:
    """Summary and description of the work of a day."""
    names = list(dict.fromkeys(task.kind.value for task in tasks))
    lines = [f"- {task.summary}. {task.detail} {task.when}" for task in tasks]
    return f"Bins: {', '.join(names)}", description(lines, (task.kind for task in tasks))


def of_every_day(tasks: list[tuple[Task, date, date]]) -> tuple[str, str]:
    """Summary and description of what is done every day of a week."""
    names = list(dict.fromkeys(task.kind.value for task, _, _ in tasks))
    lines = [
        f"- {_span(first, last)}: {task.summary}. {task.detail}" for task, first, last in tasks
    ]
    lines += dict.fromkeys(task.when for task, _, _ in tasks)
    return f"Every day: {', '.join(names)}", description(lines, (task.kind for task, _, _ in tasks))


def _span(first: date, last: date) -> str:
    start = day_in_words(first, weekday=True, year=False)
    return start if first == last else f"{start} to {day_in_words(last, weekday=True, year=False)}"


def plain(text: str) -> str:
    """A text with no sign but of print and no end of a line but `\\n`, which alone is escaped.

    In a name, a carriage return would begin a line of the calendar's own for some readers.
    """
    lines = text.replace("\t", " ").splitlines()
    return "\n".join("".join(sign for sign in line if sign.isprintable()) for line in lines)


def calendar(work: Work, tasks: Iterable[Task], remind: timedelta | None = None) -> bytes:
    """The tasks as a calendar of all-day events; the same tasks always give the same bytes.

    An event a work day, and one a week for what is done every day. A work day with a date by a rule
    is CONFIRMED, others are TENTATIVE (RFC 5545, 3.8.1.11). Events take no time in a free/busy
    view. DTSTAMP is the time the folder was made.

    Parameters
    ----------
    work : Work
    tasks : iterable of Task
        Gathered on the keeper's days (`gather.gathered`).
    remind : timedelta, optional
        Time of the work day at which an alarm shows its summary (VALARM: RFC 5545, 3.6.6).

    Raises
    ------
    MissingExtra
        If the package ``icalendar`` is not installed.
    """
    ical = require("icalendar", "icalendar>=6.0", "calendar")
    page = ical.Calendar()
    page.add("prodid", PRODID)
    page.add("version", "2.0")
    page.add("calscale", "GREGORIAN")
    title = f"Mealworm work: {work.name}"
    # The second name is what programs knew before RFC 7986 gave calendars one.
    for key, text in (
        ("name", title),
        ("x-wr-calname", title),
        ("description", about(work)),
    ):
        # As text outright: of names it does not know the package escapes nothing.
        page.add(key, ical.vText(plain(text)))
    tasks = list(tasks)
    week = timedelta(7)
    entries = [
        (day, timedelta(1), "work day", of_work_day(found), [t.kind for t in found],
         all(task.expected for task in found))
        for day, found in by_day(tasks).items()
    ] + [
        (day, week, "every day", of_every_day(found), [t.kind for t, _, _ in found], True)
        for day, found in daily_by_week(tasks, work.start).items()
    ]  # fmt: skip
    for day, long, kind, (summary, text), kinds, expected in sorted(entries, key=lambda e: e[:3]):
        event = ical.Event()
        event.add("uid", uid(work, kind, day))
        event.add("dtstamp", work.made)
        event.add("dtstart", day)
        event.add("dtend", day + long)
        event.add("summary", plain(summary))
        event.add("description", plain(text))
        event.add("categories", list(dict.fromkeys(_GROUPS[kind] for kind in kinds)))
        event.add("status", "TENTATIVE" if expected else "CONFIRMED")
        event.add("transp", "TRANSPARENT")
        if remind is not None and long < week:
            alarm = ical.Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", plain(summary))
            alarm.add("trigger", remind)
            event.add_component(alarm)
        page.add_component(event)
    return page.to_ical()
