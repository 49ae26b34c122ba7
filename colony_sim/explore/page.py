"""The page itself: controls, numbers, charts and the rack, kept up to date by NiceGUI.

Controls are the browser's own (range, number, checkbox, select, button), so that keys, touch and
screen readers work as everywhere; NiceGUI carries their events and the changes of the page.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from nicegui import ui

from colony_sim.errors import InputError
from colony_sim.experiment.measures import catalogue
from colony_sim.experiment.wording import number
from colony_sim.explore import charts, rules
from colony_sim.explore.clock import PACES, Clock
from colony_sim.explore.experiment_file import NAME, experiment_text
from colony_sim.explore.rack import rack_html
from colony_sim.explore.rules import Rule
from colony_sim.explore.session import MEASURES, MONTH, STAGES, WINDOW, Numbers, Session

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


@dataclass
class Shown:
    """What a page has to say about its scenario: its name, and where it comes from."""

    name: str
    about: str


def words(tag: str, text: str, classes: str = "") -> ui.html:
    """An element with text in it."""
    return ui.html(html.escape(text), tag=tag, sanitize=False).classes(classes)


def put(element: ui.html, text: str) -> None:
    """Change the text of an element made by `words`, if it differs."""
    content = html.escape(text)
    if element.content != content:
        element.content = content


class Page:
    """One open page on the clock's session.

    Parameters
    ----------
    clock : Clock
    shown : Shown
    """

    def __init__(self, clock: Clock, shown: Shown) -> None:
        self.clock = clock
        self.ink = charts.LIGHT
        self._controls: dict[str, _Control] = {}
        self._changes = clock.changes
        self._drawn: Any = None
        ui.add_css(files("colony_sim.explore").joinpath("page.css").read_text("utf-8"))
        with ui.element("header"):
            words("h1", TITLE)
            words("p", shown.about, "about")
        with ui.element("main").classes("sheet"):
            self._bar()
            with ui.element("section").classes("numbers").props('aria-label="Numbers"'):
                self._numbers()
            with ui.element("section").classes("rules").props('aria-label="Rules"'):
                words("h2", "Rules")
                for found in rules.rules():
                    self._controls[found.key] = _Control(self, found)
                self._button("All rules as at the start", self.clock.revert, "wide")
            with ui.element("section").classes("charts").props('aria-label="Charts"'):
                self._charts()
            with ui.element("section").classes("bins").props('aria-label="Rack"'):
                self._rack()
        self.look()
        self.draw()
        ui.timer(_NUMBERS, self.look)
        ui.timer(_CHARTS, self.draw)

    # -- parts of the page ----------------------------------------------------------------

    def _button(self, text: str, on_click: Callable[[], None], classes: str = "") -> ui.element:
        def clicked() -> None:
            on_click()
            self.look()

        with ui.element("button").props("type=button").classes(classes) as button:
            button.label = words("span", text)
        return button.on("click", clicked, args=[])

    def _bar(self) -> None:
        with ui.element("section").classes("bar").props('aria-label="Run"'):
            with ui.element("div").classes("buttons"):
                self._go = self._button("Start", self._start_or_pause, "main")
                self._button("One day", lambda: self.clock.step(1))
                self._button(f"{WINDOW} days", lambda: self.clock.step(WINDOW))
                self._button("To the end", self.clock.to_the_end)
                self._button("Again from day 1", self.clock.again)
                with ui.element("label").classes("pace"):
                    words("span", "Pace")
                    with ui.element("select").props(f"value={self.clock.pace}") as self._pace:
                        for pace in PACES:
                            words("option", f"{pace} days a second").props(f"value={pace}")
                    self._pace.on("change", self._set_pace, js_handler=_VALUE)
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
        words("p", f"* Mean of the last {WINDOW} days, or of all days before that.", "foot")
        with ui.element("label").classes("keep"):
            self._keep = ui.element("input").props("type=checkbox")
            self._keep.on("change", self._set_keep, js_handler=_CHECKED)
            words("span", "Keep this held run while I change more")
        self._changed = ui.html("", tag="div", sanitize=False).classes("changed")
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

    def _set_keep(self, event: Any) -> None:
        with self.clock.holding() as session:
            session.keep = bool(event.args)

    def _charts(self) -> None:
        words("h2", "By day")
        key = (
            '<span class="key this"></span> this run '
            '<span class="key held"></span> held run (broken line)'
        )
        ui.html(key, tag="p", sanitize=False).classes("legend")
        titles = {"harvest": f"Harvest, g a day, means of {MONTH} days", **charts.TITLES}
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
            day = session.run.day
            this = session.run.numbers(day)
            held = session.held.numbers(day) if session.held else None
            state, where = _state(clock), f"Day {day:,} of {session.scenario.days:,}"
            keep = session.keep
            differing = _differing(session)
            going = clock.running or clock.busy
        self._fill("this", this)
        self._fill("held", held)
        put(self._state, state)
        put(self._day, where)
        put(self._go.label, "Pause" if going else "Start")
        _prop(self._keep, "checked", keep)
        _prop(self._pace, "value", str(clock.pace))
        if self._changed.content != differing:
            self._changed.content = differing
        self._offer()
        if self._changes != clock.changes:
            self._changes = clock.changes
            for control in self._controls.values():
                control.show()

    def _fill(self, which: str, found: Numbers | None) -> None:
        for key in _ROWS:
            put(self._cells[key, which], cell_text(found, key))

    def _offer(self) -> None:
        with self.clock.holding() as session:
            held, this = session.held, session.run
            text = experiment_text(held.scenario, this.scenario) if held else None
        self._file.set_visibility(held is not None)
        put(self._text, text or "")
        self._text.set_visibility(text is not None)
        put(
            self._file_words,
            f"Save this as {NAME}.toml and type: colony-sim compare {NAME}.toml"
            if text
            else "compare holds rooms, founders and seeds equal: let the runs differ in handling "
            "rules only.",
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
        self._bins.content = rack


_VALUE = "(event) => emit(event.target.value)"
_CHECKED = "(event) => emit(event.target.checked)"
#: While a slider is dragged its number follows at once, without the server.
_FOLLOW = """(event) => {
  event.target.closest('.rule').querySelector('input[type=number]').value = event.target.value;
}"""


def _prop(element: ui.element, name: str, to: Any) -> None:
    if element.props.get(name) != to:
        element.props[name] = to
        element.update()


class _Control:
    """The control of one rule: label, slider and number, or checkbox, or list."""

    def __init__(self, page: Page, found: Rule) -> None:
        self._page, self.rule = page, found
        self._field: ui.element
        self._slider: ui.element | None = None
        with ui.element("div").classes("rule").props(f"data-rule={found.key}") as self._box:
            if found.kind in ("boolean", "choice"):
                self._simple()
            else:
                self._number()
            self._error = words("p", "", "error").props("role=alert")
            self._error.set_visibility(False)
        self.show()

    def _simple(self) -> None:
        found = self.rule
        if found.kind == "boolean":
            with ui.element("label").classes("check"):
                self._field = ui.element("input").props("type=checkbox")
                words("span", found.label)
            self._field.on("change", self._set, js_handler=_CHECKED)
        else:
            with ui.element("label").classes("choose"):
                words("span", found.label)
                with ui.element("select") as self._field:
                    for choice, called in found.words.items():
                        words("option", called).props(f"value={choice}")
            self._field.on("change", self._set, js_handler=_VALUE)
        self._field.props["title"] = found.about

    def _number(self) -> None:
        found = self.rule
        with ui.element("div").classes("head"):
            label = words("label", found.label)
            with ui.element("span"):
                self._field = ui.element("input").props("type=number inputmode=decimal")
                words("span", found.unit, "unit")
        label.props(f"for={self._field.html_id}")
        self._field.props["title"] = found.about
        self._field.props["step"] = "any"
        self._field.on("change", self._typed, js_handler=_VALUE)
        if found.low is None:
            return
        low, high = rules.span(found, self._page.clock.session.start_value(found.key))
        with ui.element("div").classes("slide"):
            words("span", f"{low:g}")
            self._slider = ui.element("input").props(
                f"type=range min={low:g} max={high:g} step={found.step:g} "
                f'aria-label="{found.label}, slider"'
            )
            words("span", f"{high:g}")
        self._slider.on("change", self._typed, js_handler=_VALUE)
        self._slider.on("input", js_handler=_FOLLOW)

    def _typed(self, event: Any) -> None:
        try:
            self._apply(float(event.args))
        except (TypeError, ValueError):
            self._apply(None if event.args in (None, "") else str(event.args))

    def _set(self, event: Any) -> None:
        self._apply(event.args)

    def _apply(self, to: Any) -> None:
        clock = self._page.clock
        try:
            if to is None:
                raise InputError(rules.WHERE, self.rule.key, None, "a number")
            clock.change(self.rule.key, to)
        except InputError as error:
            now = rules.shown(self.rule.key, clock.ask(lambda s: s.value(self.rule.key)))
            self._complain(f"{rules.refused(error)} It stays at {now}.")
        else:
            self._complain("")
            self._page.look()

    def _complain(self, text: str) -> None:
        put(self._error, text)
        self._error.set_visibility(bool(text))
        _prop(self._field, "aria-invalid", "true" if text else "false")

    def show(self) -> None:
        """Show what is set."""
        key = self.rule.key
        now = self._page.clock.ask(lambda session: session.value(key))
        if self.rule.kind == "boolean":
            _prop(self._field, "checked", now)
            return
        text = "" if now is None else f"{now:g}" if isinstance(now, float) else str(now)
        _prop(self._field, "value", text)
        if self._slider is not None and now is not None:
            _prop(self._slider, "value", text)
            _prop(self._slider, "aria-valuetext", rules.shown(key, now))


def cell_text(found: Numbers | None, key: str) -> str:
    """A cell of the table of numbers."""
    if found is None:
        return _DASH
    if key == "day":
        return f"{found.day:,}"
    if key in found.stocks:
        return f"{found.stocks[key]:,}"
    value = found.measures[key]
    return _DASH if math.isnan(value) else number(value)


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
