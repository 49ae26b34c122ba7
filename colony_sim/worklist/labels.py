"""Labels for the bins, one for each filling, as a PDF to print and cut.

Eight on a sheet: on A4 each is an A7, so that three straight cuts of a stack do it. The number
on the bin and the dates of the beetles can be read at arm's length: at 0.7 m, type of 15 points
or more has capitals of 3.5 mm, a 200th of the distance (a rule of thumb, from memory). A run knows
what is in a bin: each of its labels shows the bin as it should look when the first harvest is due.
"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from colony_sim.drawing import lived
from colony_sim.drawing.bins import bin_scene
from colony_sim.drawing.content import FREE, RackContent, Scale
from colony_sim.drawing.rack import sign_scene
from colony_sim.drawing.scene import Scene
from colony_sim.words.units import bran, moisture
from colony_sim.worklist.fillings import Filling, fillings, numbered
from colony_sim.worklist.paper import CAP, GREY, INK, MM_PER_PT, QUIET, Colour, Paper
from colony_sim.worklist.task import day_in_words
from colony_sim.worklist.work import Work

ACROSS, DOWN = 2, 4
INSET = 9.0
"""Distance of the print from the edges of a label (mm), for cuts that miss a little."""
MARK = (5.0, 4.0)
"""Cut marks at the edge of the paper: distance and length (mm)."""
PICTURE, SIGN = 24.0, 5.0
"""Width of the drawn bin and of the sign of the rack (mm)."""
AMOUNTS = 7.5
"""Type of the bran and the moist feed of a filling (points)."""
FOOT = "Grey: expected by the model. Go by what you see in the bin. Keep bleach off live bins."


def labelled(work: Work, weeks: int) -> list[Filling]:
    """Fillings that begin before or in the first weeks, in the order they are needed."""
    last = min(7 * weeks, work.days)
    return [filling for filling in fillings(work.log) if filling.day_in <= last]


def labels(work: Work, weeks: int, paper: str) -> bytes:
    """The labels of the first weeks as a PDF; the same work always gives the same bytes.

    Raises
    ------
    InputError
        If the paper is unknown.
    MissingExtra
        If the package ``fpdf2`` is not installed.
    """
    sheet = Paper(paper, f"Bin labels: {work.name}", work.made)
    found = labelled(work, weeks)
    place = numbered(fillings(work.log))
    looks = Looks(work)
    width, height = sheet.width / ACROSS, sheet.height / DOWN
    for k, filling in enumerate(found):
        spot = k % (ACROSS * DOWN)
        if spot == 0:
            sheet.page()
            _cut_marks(sheet, width, height)
        row, column = divmod(spot, ACROSS)
        corner = column * width, row * height
        _label(sheet, work, looks, filling, place[filling], *corner, width, height)
    return sheet.data()


class Looks:
    """How bins of a run look, all drawn to one scale."""

    def __init__(self, work: Work) -> None:
        self.table: pd.DataFrame | None = None
        if work.bins is not None:
            self.table = work.bins.assign(**lived.since(work.bins))
            self.scale = Scale.of([RackContent(list(lived.contents(self.table)))])

    def of(self, filling: Filling) -> Scene | None:
        """The bin before the first harvest, else as the beetles go out; None: not known."""
        due = filling.harvest or filling.day_out
        if self.table is None or due is None:
            return None
        # The keeper works at the end of a day.
        here = (self.table["bin"] == filling.bin) & (self.table["day"] == due - 1)
        for content in lived.contents(self.table[here]):
            scene = bin_scene(replace(content, label=()), self.scale)
            return scene if content.phase != FREE else None
        return None


def _cut_marks(sheet: Paper, width: float, height: float) -> None:
    """Ticks where the cuts meet the edge of the paper, and crosses where two cuts meet."""
    near, long = MARK
    for column in range(1, ACROSS):
        x = column * width
        sheet.rule(x, near, x, near + long, GREY)
        sheet.rule(x, sheet.height - near - long, x, sheet.height - near, GREY)
        for row in range(1, DOWN):
            sheet.rule(x, row * height - 2, x, row * height + 2, GREY)
            sheet.rule(x - 2, row * height, x + 2, row * height, GREY)
    for row in range(1, DOWN):
        y = row * height
        sheet.rule(near, y, near + long, y, GREY)
        sheet.rule(sheet.width - near - long, y, sheet.width - near, y, GREY)


def _label(
    sheet: Paper,
    work: Work,
    looks: Looks,
    filling: Filling,
    place: int,
    x: float,
    y: float,
    width: float,
    height: float,
) -> None:
    left, right, top = x + INSET, x + width - INSET, y + INSET
    _number(sheet, filling, place, left, top)
    by_rule = (
        filling.day_out is not None
        and filling.day_out - filling.day_in == work.handling["rotation.interval_days"]
    )
    middle = left + 38.0
    _date(sheet, "Beetles in", _in_words(work, filling), middle, right, top, INK)
    out = None if filling.day_out is None else _day(work, filling.day_out)
    _date(sheet, "Beetles out", out, middle, right, top + 12.8, INK if by_rule else GREY)
    base, bottom = top + 28.8, y + height - INSET
    end = right - PICTURE - 2.5
    line, edge = left + 24.5, end - 22.5
    _amounts(sheet, work, left, middle, right, top + 25.8)
    sheet.type(7, colour=QUIET)
    sheet.put(line, base, "seen")
    sheet.put(end, base, "expected", right=True)
    step = (bottom - 3.6 - base) / 3
    for k, (name, day) in enumerate(
        (
            ("Moisture from", filling.moisture),
            ("First harvest", filling.harvest),
            ("Cleared", filling.cleared),
        )
    ):
        here = base + (k + 1) * step - 1.0
        sheet.type(10.5)
        sheet.put(left, here, name)
        sheet.rule(line, here + 0.6, edge, here + 0.6, INK)
        sheet.type(10.5, colour=GREY)
        sheet.put(end, here, "" if day is None else _day(work, day), right=True)
    _look(sheet, looks.of(filling), filling, right - PICTURE, base)
    sheet.type(sheet.fit(FOOT, right - left, 6.5), colour=QUIET)
    sheet.put(left, bottom, FOOT)


def _amounts(
    sheet: Paper, work: Work, left: float, middle: float, right: float, base: float
) -> None:
    """What goes into the bin: bran at the start, and water a day once moisture is started."""
    p = work.handling
    texts = [f"Bran: {bran(p['bran.start_g'], paper=True)}"]
    if p["moisture.start"] != "never":
        texts.append(f"Moist: {moisture(p['moisture.growing_g_per_day'], paper=True)} a day")
    for text, start, end in zip(texts, (left, middle), (middle - 2.0, right), strict=False):
        sheet.type(sheet.fit(text, end - start, AMOUNTS), colour=INK)
        sheet.put(start, base, text)


def _look(sheet: Paper, scene: Scene | None, filling: Filling, left: float, base: float) -> None:
    """The bin as it should look, or the sign of the rack where that is not known."""
    if scene is None:
        side = 0.7 * PICTURE
        sheet.scene(sign_scene(), left + PICTURE - side, base - 1.0, side)
        return
    sheet.scene(scene, left, base + 0.6, PICTURE)
    sheet.type(7, colour=QUIET)
    text = "at the first harvest" if filling.harvest else "as beetles go out"
    sheet.put(left + PICTURE, base, text, right=True)


def _number(sheet: Paper, filling: Filling, place: int, left: float, top: float) -> None:
    sheet.scene(sign_scene(), left, top - 1.0, SIGN)
    sheet.type(9, colour=QUIET)
    sheet.put(left + SIGN + 1.5, top + 9 * CAP * MM_PER_PT, f"Bin, filling {place}")
    size = sheet.fit(str(filling.bin), 35.0, 68, bold=True)
    sheet.type(size, bold=True)
    sheet.put(left, top + 22.5, str(filling.bin))


def _date(
    sheet: Paper,
    name: str,
    text: str | None,
    left: float,
    right: float,
    top: float,
    colour: Colour,
) -> None:
    """A small name with a large date below it, or a line to write the date on."""
    sheet.type(9, colour=QUIET)
    sheet.put(left, top + 9 * CAP * MM_PER_PT, name)
    if text is None:
        sheet.rule(left, top + 10.0, right, top + 10.0)
        return
    size = sheet.fit(text, right - left, 17, bold=colour == INK)
    sheet.type(size, bold=colour == INK, colour=colour)
    sheet.put(left, top + 9.6, text)


def _in_words(work: Work, filling: Filling) -> str:
    return "before the start" if filling.day_in < 0 else _day(work, filling.day_in)


def _day(work: Work, day: int) -> str:
    return "before the start" if day < 0 else day_in_words(work.date(day))
