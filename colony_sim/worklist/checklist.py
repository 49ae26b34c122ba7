"""A checklist of the work, a page a week, as a PDF: boxes to tick, and each caution once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from colony_sim.drawing import lived
from colony_sim.drawing.content import RackContent, Scale
from colony_sim.drawing.rack import rack_scene, sign_scene
from colony_sim.drawing.scene import Scene
from colony_sim.words import units
from colony_sim.worklist import cautions, ical
from colony_sim.worklist.paper import EDGE, GREY, INK, QUIET, Paper
from colony_sim.worklist.task import ORDER, Task, day_in_words, weekday_in_words
from colony_sim.worklist.work import Work

MARGIN = EDGE + 6.0
"""Of the page (mm), with room for a hole punch."""
BOX = 3.6
DATE = 26.0
"""Width of the boxes and dates (mm)."""
CAUTION = (150, 60, 0)
"""Colour of the rule at the cautions; it is not needed to tell them from the rest."""
MANY = 3
"""A task on so many days of a week has its boxes in one line, above tasks of single days."""
RACK, RACK_HIGH = 76.0, 52.0
"""Room for the drawn rack beside the title (mm)."""
STEP, TICK = 5.2, 13.5
"""From one box to the next below it, or beside it (mm)."""


@dataclass(frozen=True)
class Row:
    """A task in one week: the task and its days in that week."""

    task: Task
    days: tuple[date, ...]


def rows_of_week(tasks: list[Task], first: date, last: date) -> list[Row]:
    """The tasks of a week: those of many days on top, then by day and order of the work."""
    rows = []
    for task in tasks:
        days = tuple(day for day in task.days if first <= day <= last)
        if days:
            rows.append(Row(task, days))
    return sorted(rows, key=lambda row: (len(row.days) < MANY, row.days[0], ORDER[row.task.kind]))


def checklist(work: Work, tasks: list[Task], weeks: int, paper: str) -> bytes:
    """The checklist as a PDF; the same tasks always give the same bytes.

    Raises
    ------
    InputError
        If the paper is unknown.
    MissingExtra
        If the package ``fpdf2`` is not installed.
    """
    sheet = _Sheet(work, paper)
    sheet.opening(ical.about(work), _rack(work))
    before = rows_of_week(tasks, date.min, work.start - timedelta(1))
    if before:
        sheet.week("Before the start", before)
    for week in range(-(-min(7 * weeks, work.days) // 7)):
        first = work.start + timedelta(7 * week)
        last = first + timedelta(6)
        days = (
            f"{day_in_words(first, weekday=True, year=first.year != last.year)} to "
            f"{day_in_words(last, weekday=True)}"
        )
        sheet.week(f"Week {week + 1}: {days}", rows_of_week(tasks, first, last))
    return sheet.data()


def _rack(work: Work) -> Scene:
    """The rack after the first day; the sign of the rack where that is not known."""
    if work.bins is None or work.bins.empty:
        return sign_scene()
    table = work.bins[work.bins["day"] == work.bins["day"].min()]
    bins = list(lived.contents(table.assign(**lived.since(table))))
    tray = {"pupae": 0, "adults": 0} if work.handling["pupae.isolate"] else None
    rack = RackContent(bins, tray)
    return rack_scene(rack, Scale.of([rack]))


class _Sheet(Paper):
    """The pages, filled from the top."""

    def __init__(self, work: Work, paper: str) -> None:
        super().__init__(paper, f"Checklist: {work.name}", work.made)
        self.name = work.name
        self.left, self.right = MARGIN, self.width - MARGIN
        self.bottom = self.height - MARGIN - 4.0
        self.y = 0.0
        self.pages = 0

    def turn(self) -> None:
        """Start a page."""
        self.page()
        self.pages += 1
        self.y = MARGIN
        self.type(8, colour=QUIET)
        name = self.clipped(f"Checklist: {self.name}", self.right - self.left - 30.0)
        self.put(self.left, self.height - EDGE - 2.0, name)
        self.put(self.right, self.height - EDGE - 2.0, f"Page {self.pages}", right=True)

    def opening(self, about: str, rack: Scene) -> None:
        """Title, the rack, where the dates come from, how to read the list, and the cautions."""
        self.turn()
        tall = rack.height / rack.width
        wide = min(RACK, RACK_HIGH / tall)
        low = self.scene(rack, self.right - wide, self.y, wide)
        self.type(20, bold=True)
        self.put(self.left, self.y + 6.5, "Checklist of the work")
        self.y += 11.0
        legend = (
            "One page a week. Dates in black are by your rules; dates in grey are expected by the "
            "model and may shift. Each page ends with the cautions of its tasks; here in full:"
        )
        for text in (*about.splitlines(), units.legend(), legend):
            self.paragraph(text, self.left, 9, 4.2, wide + 5.0 if self.y < low else 0.0)
            self.y += 1.5
        self.y = max(self.y, low + 2.0)
        for caution in cautions.ALL:
            top = self.y
            self.type(9, bold=True)
            self.put(self.left + 3.0, top + 3.3, caution.name)
            self.paragraph(caution.text, self.left + 37.0, 9, 4.2)
            self.rule(self.left, top + 0.4, self.left, self.y - 0.4, CAUTION, 0.8)
            self.y += 1.5

    def paragraph(
        self, text: str, left: float, size: float, step: float, free: float = 0.0
    ) -> None:
        """A text from `left` to the right margin, `free` mm of which are left free."""
        self.type(size)
        self.y = self.lines(left, self.y, self.wrap(text, self.right - free - left), step)

    def week(self, heading: str, rows: list[Row]) -> None:
        """The page of a week: its tasks, then each caution that they need once.

        A week that does not fit says less of each task; one that still does not runs on.
        """
        self.turn()
        self.heading(heading)
        notes = dict.fromkeys(c.short for row in rows for c in cautions.beside(row.task.kind))
        self.type(8)
        said = [line for note in notes for line in self.wrap(note, self.right - self.left - 3.0)]
        room = self.bottom - self.y - 3.5 * len(said) - 4.0
        blocks = [_Block(self, row, True) for row in rows]
        if sum(block.height for block in blocks) > room:
            blocks = [_Block(self, row, False) for row in rows]
        if not blocks:
            self.type(9, colour=QUIET)
            self.put(self.left, self.y + 3.3, "Nothing planned.")
            self.y += 5.0
        for block in blocks:
            if self.y + block.height > self.bottom:
                self.turn()
                self.heading(f"{heading} (continued)")
            block.draw(self.y)
            self.y += block.height
        if said:
            if self.y + 3.5 * len(said) + 4.0 > self.bottom:
                self.turn()
                self.heading(f"{heading} (continued)")
            top = self.y + 2.0
            self.type(8)
            end = self.lines(self.left + 3.0, top, said, 3.5)
            self.rule(self.left, top + 0.3, self.left, end - 0.2, CAUTION, 0.8)
            self.y = end

    def heading(self, text: str) -> None:
        self.y += 3.5
        self.type(12, bold=True)
        self.put(self.left, self.y + 4.2, text)
        self.rule(self.left, self.y + 5.8, self.right, self.y + 5.8, INK, 0.4)
        self.y += 7.5


class _Block:
    """One row of the list, measured before it is drawn; with or without its details."""

    def __init__(self, sheet: _Sheet, row: Row, details: bool) -> None:
        self.sheet, self.row = sheet, row
        self.text_left = sheet.left + DATE
        room = sheet.right - self.text_left
        sheet.type(10, bold=True)
        self.summary = sheet.wrap(row.task.summary, room)
        sheet.type(8.5)
        self.detail = sheet.wrap(row.task.detail, room) if details else []
        self.in_line = len(row.days) >= MANY
        texts = 4.4 * len(self.summary) + 3.7 * len(self.detail) + STEP * self.in_line
        boxes = STEP * (1 if self.in_line else len(row.days))
        self.height = max(texts, boxes) + 2.6

    def draw(self, top: float) -> None:
        sheet = self.sheet
        sheet.type(10, bold=True)
        below = sheet.lines(self.text_left, top, self.summary, 4.4)
        sheet.type(8.5, colour=QUIET)
        below = sheet.lines(self.text_left, below, self.detail, 3.7)
        days = self.row.days
        if self.in_line:
            each = (days[-1] - days[0]).days == len(days) - 1
            self._write(sheet.left, top, "Each day" if each else f"{len(days)} days")
            for k, day in enumerate(days):
                self._tick(self.text_left + TICK * k, below + 1.2, weekday_in_words(day))
        else:
            for k, day in enumerate(days):
                text = day_in_words(day, weekday=True, year=False)
                self._tick(sheet.left, top + STEP * k, text)

    def _tick(self, x: float, top: float, text: str) -> None:
        self.sheet.box(x, top + 0.2, BOX)
        self._write(x + BOX + 1.4, top, text)

    def _write(self, x: float, top: float, text: str) -> None:
        self.sheet.type(8.5, colour=GREY if self.row.task.expected else INK)
        self.sheet.put(x, top + 3.3, text)
