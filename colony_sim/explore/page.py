"""The page itself: controls, numbers, charts and the rack, kept up to date by NiceGUI.

Controls are the browser's own (range, number, checkbox, select, button), so that keys, touch and
screen readers work as everywhere; NiceGUI carries their events and the changes of the page.
"""

from __future__ import annotations

import html
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from nicegui import ui

from colony_sim.explore import charts, rules
from colony_sim.explore.clock import PACES, Clock
from colony_sim.explore.controls import Control
from colony_sim.explore.elements import CHECKED, VALUE, prop, put, put_html, words
from colony_sim.explore.experiment_file import NAME, experiment_text
from colony_sim.explore.rack import rack_html
from colony_sim.explore.session import MEASURES, MONTH, STAGES, WINDOW, Numbers, Session
from colony_sim.measuring.catalogue import catalogue
from colony_sim.words.estimate import number

TITLE = "A colony to try rules on"
#: Seconds between two looks at the session: numbers, and charts with the rack.
_NUMBERS, _CHARTS = 0.25, 0.75
_DASH = "–"
_ROWS = {
    "day": "Day",
    **charts.TITLES,
    "bins_in_use": "Bins in use",
    **{key: f"{catalogue()[key].label} ({catalogue()[key].unit})*" for key in MEASURES},
}


class Button(ui.element):
    """A button that knows its text."""

    label: ui.html


class Page:
    """One open page on the clock's session.

    Parameters
    ----------
    clock : Clock
    about : str
        Where the scenario comes from, in a sentence or two.
    """

    def __init__(self, clock: Clock, about: str) -> None:
        self.clock = clock
        self.ink = charts.LIGHT
        self._controls: dict[str, Control] = {}
        self._changes = clock.changes
        self._looked: Any = None
        self._drawn: Any = None
        ui.add_css(files("colony_sim.explore").joinpath("page.css").read_text("utf-8"))
        with ui.element("header"):
            words("h1", TITLE)
            words("p", about, "about")
        with ui.element("div").classes("sheet"):
            self._bar()
            with ui.element("section").classes("numbers").props('aria-label="Numbers"'):
                self._numbers()
            with ui.element("section").classes("rules").props('aria-label="Rules"'):
                self._rules()
            with ui.element("section").classes("charts").props('aria-label="Charts"'):
                self._charts()
            with ui.element("section").classes("bins").props('aria-label="Rack"'):
                self._rack()
        self.look()
        self.draw()
        ui.timer(_NUMBERS, self.look)
        ui.timer(_CHARTS, self.draw)

    # -- parts of the page ----------------------------------------------------------------

    def _button(self, text: str, on_click: Callable[[], None], classes: str = "") -> Button:
        def clicked() -> None:
            on_click()
            self.look()

        with Button("button").props("type=button").classes(classes) as button:
            button.label = words("span", text)
        return button.on("click", clicked, args=[])

    def _bar(self) -> None:
        with ui.element("section").classes("bar").props('aria-label="Run"'):
            with ui.element("div").classes("buttons"):
                self._go = self._button("Start", self._start_or_pause, "main")
                self._onward = [
                    self._go,
                    self._button("One day", lambda: self.clock.step(1)),
                    self._button(f"{WINDOW} days", lambda: self.clock.step(WINDOW)),
                    self._button("To the end", self.clock.to_the_end),
                ]
                self._button("Again from day 1", self.clock.again)
                with ui.element("label").classes("pace"):
                    words("span", "Pace")
                    with ui.element("select").props(f"value={self.clock.pace}") as self._pace:
                        for pace in PACES:
                            words("option", f"{pace} days a second").props(f"value={pace}")
                    self._pace.on("change", self._set_pace, js_handler=VALUE)
            with ui.element("p").classes("state").props("role=status"):
                self._state = words("span", "")
            self._day = words("p", "", "day")

    def _start_or_pause(self) -> None:
        if self.clock.running or self.clock.busy:
            self.clock.pause()
        else:
            self.clock.start()

    def _set_pace(self, event: Any) -> None:
        if str(event.args).isdigit() and int(event.args) in PACES:
            self.clock.pace = int(event.args)

    def _numbers(self) -> None:
        self._cells: dict[tuple[str, str], ui.html] = {}
        with ui.element("div"):
            self._table()
            words("p", f"* Mean of the last {WINDOW} days, or of all days before that.", "foot")
        with ui.element("div"):
            words("h2", "What was changed")
            self._changed = ui.html("", tag="div", sanitize=False).classes("changed")
            with ui.element("label").classes("keep"):
                self._keep = ui.element("input").props("type=checkbox")
                self._keep.on("change", self._set_keep, js_handler=CHECKED)
                words("span", "Keep this held run while I change more")
            words(
                "p",
                "One run of each is no evidence. Another seed can turn the difference round. Use "
                "compare, which repeats both over many seeds and gives an interval.",
                "warning",
            )
            with ui.element("details") as self._file:
                words("summary", "The experiment file for compare")
                self._file_words = words("p", "")
                self._text = words("pre", "").props('tabindex=0 role=region aria-label="File"')

    def _table(self) -> None:
        with ui.element("table"):
            words("caption", "The two runs on the same day")
            with ui.element("thead"), ui.element("tr"):
                words("td", "")
                for name in ("This run", "Held run"):
                    words("th", name, name.split()[0].lower()).props("scope=col")
            with ui.element("tbody"):
                for key, label in _ROWS.items():
                    with ui.element("tr"):
                        words("th", label).props("scope=row")
                        for which in ("this", "held"):
                            cell = words("td", _DASH).props(f"data-{which}={key}")
                            self._cells[key, which] = cell

    def _set_keep(self, event: Any) -> None:
        with self.clock.holding() as session:
            session.keep = bool(event.args)

    def _rules(self) -> None:
        words("h2", "Rules")
        words("p", "Sliders span the plausible range; a number may go beyond it.", "foot")
        for rule in rules.rules():
            self._controls[rule.key] = Control(self.clock, rule, self.look)
        self._button("All rules as at the start", self.clock.revert, "wide")
        with ui.element("details"):
            words("summary", "What the rules mean")
            with ui.element("dl"):
                for rule in rules.rules():
                    words("dt", rule.label)
                    words("dd", rule.meaning)

    def _charts(self) -> None:
        words("h2", "By day")
        key = (
            '<span class="key this"></span> this run '
            '<span class="key held"></span> held run (broken line)'
        )
        ui.html(key, tag="p", sanitize=False).classes("legend")
        titles = {"harvest": f"Yield (g/day), means of {MONTH} days", **charts.TITLES}
        self._plots: dict[str, ui.echart] = {}
        with ui.element("div").classes("plots"):
            for name, title in titles.items():
                with ui.element("figure").classes(name):
                    words("figcaption", title)
                    plot = ui.echart({}, renderer="svg").classes("plot")
                    plot.props(f'role=img aria-label="{title} by day, of both runs"')
                    self._plots[name] = plot

    def _rack(self) -> None:
        words("h2", "The rack of this run")
        legend = " ".join(f'<i class="key {name}"></i> {name}' for name in STAGES)
        text = f"{legend}. The longest bar is the bin with the most insects."
        ui.html(text, tag="p", sanitize=False).classes("legend")
        self._bins = ui.html("", sanitize=False)

    # -- keeping up ---------------------------------------------------------------------

    def colours(self, dark: bool) -> None:
        """Draw for a light or a dark ground."""
        self.ink = charts.DARK if dark else charts.LIGHT
        self._drawn = None
        self.draw()

    def look(self) -> None:
        """Numbers, words and controls as the session has them now."""
        clock = self.clock
        with clock.holding() as session:
            going, over = clock.running or clock.busy, session.run.over
            now = (
                id(session.run), session.run.day, id(session.held), session.keep, going,
                clock.changes, clock.pace, clock.fault,
            )  # fmt: skip
            if now == self._looked:
                return
            self._looked = now
            day = session.run.day
            this = session.run.numbers(day)
            other = session.held
            held = other.numbers(day) if other else None
            state, where = _state(clock), f"Day {day:,} of {session.scenario.days:,}"
            keep, differing = session.keep, _differing(session)
            text = experiment_text(other.scenario, session.run.scenario) if other and held else None
        for key in _ROWS:
            put(self._cells[key, "this"], cell_text(this, key))
            put(self._cells[key, "held"], cell_text(held, key))
        put(self._state, state)
        put(self._day, f"{where}: {_in_short(this, held)}" if this else where)
        put(self._go.label, "Pause" if going else "Start")
        for button in self._onward:
            prop(button, "aria-disabled", "true" if over and not going else "false")
        prop(self._keep, "checked", keep)
        prop(self._pace, "value", str(clock.pace))
        put_html(self._changed, differing)
        self._offer(held is not None, text)
        if self._changes != clock.changes:
            self._changes = clock.changes
            for control in self._controls.values():
                control.show()

    def _offer(self, held: bool, text: str | None) -> None:
        """The experiment file, as far as there is one."""
        self._file.set_visibility(held)
        put(self._text, text or "")
        self._text.set_visibility(text is not None)
        put(
            self._file_words,
            f"Save this as {NAME}.toml and type: colony-sim compare {NAME}.toml"
            if text
            else "compare holds rooms and founders equal: let the runs differ in handling rules, "
            "and in those only.",
        )

    def draw(self) -> None:
        """Charts and rack as the session has them now."""
        with self.clock.holding() as session:
            this, held = session.run, session.held
            version = (id(this), this.day, id(held))
            if version == self._drawn:
                return
            self._drawn = version
            options = {name: charts.stage(name, this, held, self.ink) for name in STAGES}
            options["harvest"] = charts.harvest(this, held, self.ink)
            rack = rack_html(this.rack())
        for name, option in options.items():
            plot = self._plots[name]
            plot.options.clear()
            plot.options.update(option)
            plot.update()
        put_html(self._bins, rack)


def cell_text(found: Numbers | None, key: str) -> str:
    """A cell of the table of numbers."""
    if found is None:
        return _DASH
    if key == "day":
        return f"{found.day:,}"
    if key in found.stocks:
        return f"{found.stocks[key]:,}"
    return number(found.measures[key])


def _in_short(this: Numbers, held: Numbers | None) -> str:
    text = f"{cell_text(this, 'yield_g_per_day')} g/day"
    return f"{text}, held {cell_text(held, 'yield_g_per_day')}" if held else text


def _state(clock: Clock) -> str:
    """What the run is doing, in words that change only when it does something else."""
    session = clock.session
    if clock.fault:
        return f"The model stopped, a fault of the program: {clock.fault}"
    if clock.busy:
        return "Catching up"
    if session.run.died_out_day is not None:
        return f"The colony died out on day {session.run.died_out_day:,}."
    if session.run.over:
        return "The run is over."
    if clock.running:
        return "Days go by."
    return "Not started" if session.run.day == 0 else "Paused"


def _differing(session: Session) -> str:
    """What was changed since the held run, as HTML."""
    if session.held is None:
        return "<p>No run is held yet. Let some days go by, then move a slider.</p>"
    found = rules.differences(session.held.scenario, session.run.scenario)
    if not found:
        return "<p>Both runs have the same rules.</p>"
    lines = "".join(
        f"<li>{html.escape(rule.label)}: <b>{html.escape(this)}</b>, "
        f"held run {html.escape(held)}</li>"
        for rule, held, this in found
    )
    return f"<ul>{lines}</ul>"
