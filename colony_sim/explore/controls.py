"""The control of a rule: label with slider and number, or checkbox, or list; errors beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui

from colony_sim.errors import InputError
from colony_sim.explore import rules
from colony_sim.explore.clock import Clock
from colony_sim.explore.elements import CHECKED, VALUE, Input, prop, put, words
from colony_sim.explore.rules import Setting

#: While a slider is dragged its number follows at once, without the server.
_FOLLOW = """(event) => {
  event.target.closest('.rule').querySelector('input[type=number]').value = event.target.value;
}"""


class Control:
    """One rule on the page.

    Parameters
    ----------
    clock : Clock
    rule : Setting
    then : callable
        Called once a change is made.
    """

    def __init__(self, clock: Clock, rule: Setting, then: Callable[[], None]) -> None:
        self._clock, self.rule, self._then = clock, rule, then
        self._field: ui.element
        self._number: Input
        self._slider: Input | None = None
        with ui.element("div").classes("rule").props(f"data-rule={rule.key}"):
            if rule.kind == "boolean":
                self._checkbox()
            elif rule.kind == "choice":
                self._list()
            else:
                self._numeric()
            self._note = words("p", "", "note")
            self._error = words("p", "", "error").props("role=alert")
        self._complain("")
        self.show()

    def _checkbox(self) -> None:
        with ui.element("label").classes("check"):
            self._field = ui.element("input").props("type=checkbox")
            words("span", self.rule.label)
        self._field.on("change", lambda event: self._apply(event.args), js_handler=CHECKED)

    def _list(self) -> None:
        with ui.element("label").classes("choose"):
            words("span", self.rule.label)
            with ui.element("select") as self._field:
                for choice, called in self.rule.words.items():
                    words("option", called).props(f"value={choice}")
        self._field.on("change", lambda event: self._apply(event.args), js_handler=VALUE)

    def _numeric(self) -> None:
        rule = self.rule
        with ui.element("div").classes("head"):
            label = words("label", rule.label)
            with ui.element("span"):
                self._number = Input("type=number step=any inputmode=decimal")
                self._field = self._number.element
                words("span", rule.printed, "unit")
        label.props(f"for={self._field.html_id}")
        self._field.on("change", self._typed, js_handler=VALUE)
        if rule.low is None:
            return
        start = self._clock.ask(lambda session: session.start_value(rule.key))
        low, high = rules.on_slider(rule, start)
        with ui.element("div").classes("slide"):
            words("span", f"{low:g}")
            slider = self._slider = Input(
                f"type=range min={low:g} max={high:g} step={rule.page_step:g} "
                f'aria-label="{rule.label}, slider"'
            )
            words("span", f"{high:g}")

        def slid(event: Any) -> None:
            slider.told(event.args)
            self._typed(event)

        slider.element.on("change", slid, js_handler=VALUE)
        slider.element.on("input", js_handler=_FOLLOW)

    def _typed(self, event: Any) -> None:
        self._number.told(event.args)
        try:
            self._apply(self.rule.off_page(float(event.args)))
        except (TypeError, ValueError):
            self._apply(None)

    def _apply(self, to: Any) -> None:
        try:
            self._clock.change(self.rule.key, to)
        except InputError as error:
            now = self._clock.ask(lambda session: session.value(self.rule.key))
            self._complain(f"{rules.refused(error)} It stays: {rules.shown(self.rule.key, now)}.")
        else:
            self._complain("")
            self.show()
            self._then()

    def _complain(self, text: str) -> None:
        put(self._error, text)
        self._error.set_visibility(bool(text))
        prop(self._field, "aria-invalid", "true" if text else "false")

    def show(self) -> None:
        """Show what is set."""
        key = self.rule.key
        now, note = self._clock.ask(lambda session: (session.value(key), rules.note(session, key)))
        put(self._note, note)
        self._note.set_visibility(bool(note))
        if self.rule.kind == "boolean":
            prop(self._field, "checked", now)
            return
        if self.rule.kind == "choice":
            prop(self._field, "value", now)
            return
        shown = None if now is None else self.rule.on_page(now)
        text = "" if shown is None else f"{shown:g}" if isinstance(shown, float) else str(shown)
        self._number.show(text)
        if self._slider is not None:
            # A room that is not constant has no place on the slider.
            self._slider.show(text or f"{self.rule.on_page(self.rule.low):g}")
            prop(self._slider.element, "aria-valuetext", rules.shown(key, now))
