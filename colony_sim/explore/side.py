"""One rack of the page with its words: the way it is kept, what it gives, its year."""

from __future__ import annotations

from typing import Any, ClassVar

from nicegui import ui

from colony_sim.drawing.content import round_up
from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.drawing.svg import svg
from colony_sim.explore.band import Band, band, band_svg, room_words
from colony_sim.explore.elements import put, put_html, words
from colony_sim.explore.session import Gives, Run
from colony_sim.words.estimate import short
from colony_sim.words.units import show

#: Hens that are drawn at most, and birds that one can stand for.
_HENS = 12
_EACH = tuple(step * 10**power for power in range(6) for step in (1, 2, 5))
#: What can be tried on the rack itself.
_TRIES = (
    ("On the label of the beetles", "How long they stay in a bin before they are moved on."),
    ("On the tray", "Whether pupae are picked out and set apart, or left where they are."),
    ("At the bowl", "How many of the larvae of size the scoop takes at a harvest."),
)


class Side:
    """A rack and what stands beside it.

    Parameters
    ----------
    name : str
        ``old`` or ``new``.

    Attributes
    ----------
    root : ui.element
    drawn : tuple
        Run and day that were drawn last.
    spoken_day : int
        Day that the words of the drawing are of.
    """

    SIGNS: ClassVar = {"old": "●", "new": "■"}

    def __init__(self, name: str) -> None:
        self.name = name
        self.drawn: tuple[int, int] = (0, -1)
        self.spoken_day = -(10**6)
        self._shape: Any = None
        self._band: Band | None = None
        title = f"{name.capitalize()} way"
        with (
            ui.element("section").classes(f"way {name}").props(f'aria-label="{title}"') as self.root
        ):
            with ui.element("div").classes("head"):
                self._sign = words("span", self.SIGNS[name], "sign").props("aria-hidden=true")
                self._title = words("h2", title)
                self._how = words("p", "", "how")
            with ui.element("div").classes("mat"):
                ui.element("div").classes("drawing").props(f"id=rack-{name}")
                if name == "new":
                    with ui.element("ul").classes("tries"):
                        for where, what in _TRIES:
                            with ui.element("li"):
                                words("b", where)
                                words("span", what)
                with ui.element("div").classes("outcome"):
                    self._larvae = words("p", "", "larvae")
                    self._hens = ui.html("", sanitize=False).classes("hens")
                    self._birds = words("p", "", "birds")
                    self._work = words("p", "", "work")
                with ui.element("figure").classes("band"):
                    self._year = ui.html("", sanitize=False)
                    self._caption = ui.html("", tag="figcaption", sanitize=False)

    def forget(self) -> None:
        """Draw anew at the next look."""
        self._shape = None

    def renew(self, bins: int, across: int | None) -> bool:
        """Whether the drawing has to be made anew: another number of bins, or of columns."""
        before, self._shape = self._shape, (bins, across)
        return before != self._shape

    def take_band(self, run: Run, day: int) -> float:
        """Look at the year of a run; its best week (larvae)."""
        self._band = band(run, day)
        return max(self._band.weeks, default=0.0)

    def show(self, gives: Gives, how: str, both: bool, most_birds: int, most: float) -> None:
        """Words and figures.

        Parameters
        ----------
        gives : Gives
        how : str
            The way, in a phrase.
        both : bool
            Whether it stands beside the other.
        most_birds : int
            Of both racks, for the scale of the hens.
        most : float
            Larvae of the best week, for the scale of the bars.
        """
        self._sign.set_visibility(both)
        put(self._title, f"{self.name.capitalize()} way" if both else "The rack")
        put(self._how, how)
        if gives.days:
            put(self._larvae, f"{gives.larvae:,.0f} larvae a day")
            birds = "bird" if gives.birds == 1 else "birds"
            put(self._birds, f"{show(gives.grams, 'g', short)}, feeds {gives.birds:,} {birds}")
            put(self._work, f"{gives.hours:.1f} hours of work a week")
        else:
            put(self._larvae, "No day has passed yet")
            put(self._birds, "")
            put(self._work, "")
        put_html(self._hens, flock(gives.birds, most_birds))
        if self._band is not None:
            put_html(self._year, band_svg(self._band, round_up(most)))
            put_html(self._caption, _caption(self._band))


def flock(birds: int, most: int) -> str:
    """A row of hens: one for each bird, or for a round number of them where they are many."""
    each = next(each for each in _EACH if each * _HENS >= most)
    count = max(1, round(birds / each)) if birds else 0
    scene = Scene(_HENS * 22 + 4, 24)
    scene.items += [Mark("hen", Place(13 + 22 * k, 12.5)) for k in range(count)]
    told = f"one hen drawn: {each:,} birds" if each > 1 else ""
    note = f'<span class="each">{told}</span>' if told and count else ""
    return svg(scene, "", prefix="flock-") + note


def _caption(year: Band) -> str:
    return (
        f"<b>Year {year.number}</b> "
        '<span><i class="key harvest" aria-hidden="true"></i> harvest of a week</span> '
        '<span><i class="key move" aria-hidden="true"></i> beetles moved</span> '
        f'<span><i class="key room" aria-hidden="true"></i> room {room_words(year)}</span> '
        '<span><i class="key today" aria-hidden="true"></i> today</span>'
        f"{'<span>pale: the year before</span>' if year.before else ''}"
    )
