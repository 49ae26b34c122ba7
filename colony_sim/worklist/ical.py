"""The tasks as iCalendar (RFC 5545), written by the package ``icalendar``."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from uuid import UUID, uuid5

from colony_sim.extras import require
from colony_sim.worklist import cautions
from colony_sim.worklist.task import Kind, Task
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


def uid(work: Work, task: Task) -> str:
    """Identifier of an event: the same for the same work, kind and first day (RFC 7986, 5.3)."""
    return str(uuid5(_SPACE, f"{work.name}\n{task.kind.value}\n{task.day.isoformat()}"))


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


def description(task: Task) -> str:
    """The text of an event: how, where its date comes from, and the cautions that belong to it."""
    notes = [caution.short for caution in cautions.beside(task.kind)]
    return "\n".join([task.detail, task.when, *notes])


def calendar(work: Work, tasks: Iterable[Task]) -> bytes:
    """The tasks as a calendar of all-day events; the same tasks always give the same bytes.

    A date by a rule is CONFIRMED, an expected one TENTATIVE (RFC 5545, 3.8.1.11). Events take
    no time in a free/busy view and ring no alarm. DTSTAMP is the time the folder was made.

    Parameters
    ----------
    work : Work
    tasks : iterable of Task

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
        page.add(key, ical.vText(text))
    for task in tasks:
        event = ical.Event()
        event.add("uid", uid(work, task))
        event.add("dtstamp", work.made)
        event.add("dtstart", task.day)
        event.add("dtend", task.day + timedelta(1))
        if task.times > 1:
            event.add("rrule", {"freq": "daily", "interval": task.every, "count": task.times})
        event.add("summary", task.summary)
        event.add("description", description(task))
        event.add("categories", [_GROUPS[task.kind]])
        event.add("status", "TENTATIVE" if task.expected else "CONFIRMED")
        event.add("transp", "TRANSPARENT")
        page.add_component(event)
    return page.to_ical()
