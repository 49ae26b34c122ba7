"""The page itself: the answer, the drawn racks with what a hand can set, and one drawer.

Controls are the browser's own or keep to its ways, so that keys, touch and screen readers work as
everywhere; NiceGUI carries their events and the changes of the page, `explore.js` draws.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from nicegui import ui

from colony_sim.drawing import live, palette, typeface
from colony_sim.drawing.content import Scale
from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.drawing.svg import svg as drawing
from colony_sim.errors import InputError
from colony_sim.explore import answer, rules
from colony_sim.explore.band import WEEK, YEAR
from colony_sim.explore.clock import PACES, Clock
from colony_sim.explore.colonies import Colonies
from colony_sim.explore.controls import Control
from colony_sim.explore.elements import VALUE, prop, put, put_html, words
from colony_sim.explore.experiment_file import NAME, experiment_text
from colony_sim.explore.rack import breeding, flights, in_bowl, rack_now
from colony_sim.explore.rack import in_words as rack_words
from colony_sim.explore.session import Gives, Run, Session
from colony_sim.explore.side import Side
from colony_sim.explore.site import TITLE

#: Seconds between two looks at the session: racks, words, and racks that catch up.
_RACKS, _WORDS, _HURRY = 0.1, 0.5, 0.3
#: Bins side by side on a narrow screen.
_NARROW = 3
#: Days after which those who do not see the rack are told of it anew, while time passes.
_TELL_DAYS = 28
_NAMES = {"stay": rules.STAY, "tray": rules.TRAY, "scoop": rules.SCOOP}
_SCOOP_STEP = 0.05
_PACE_WORDS = {1: "slowly, a day each second", 4: "four days each second",
               14: "two weeks each second", 60: "two months each second"}  # fmt: skip
WORKED_OUT = (
    "Each possible colony is one joint draw of the values of the biology that published "
    "experiments (or your own log) allow. It is lived the old way and the new way with the same "
    "luck, and measured once it runs steadily. “More” is by live weight, as compare counts it. "
    "From 7 in 10 colonies on a way counts as ahead; between that and 3 in 10 nobody knows. The "
    "figures beside a rack are means of its last 28 days."
)


def head() -> str:
    """Style and scripts of the page."""
    package = files("colony_sim.explore")
    ink = f":root {{ --matink: {palette.INK}; --matquiet: {palette.QUIET}; }}\n"
    style = palette.css() + ink + package.joinpath("page.css").read_text("utf-8")
    script = package.joinpath("explore.js").read_text("utf-8")
    return (
        f"<style>{typeface.css()}{style}</style>"
        f"<script>{live.script()}\n{script}\nwindow.exploring = exploring;</script>"
    )


class Page:
    """One open page on the clock's session.

    Parameters
    ----------
    clock : Clock
    colonies : Colonies
    about : str
        Where the scenario comes from, in a sentence or two.
    scale : Scale
        Of the drawing, to begin with.
    """

    def __init__(self, clock: Clock, colonies: Colonies, about: str, scale: Scale) -> None:
        self.clock, self.colonies = clock, colonies
        self._scale = scale
        self._most = 0.0
        self._across: int | None = None
        self._ready = False
        self._controls: dict[str, Control] = {}
        self._changes = -1
        self._looked: Any = None
        self._shown: list[str] = []
        self._drawn = 0.0
        self._told: Any = None
        self._milestone: Any = None
        ui.add_head_html(head())
        with ui.element("header"):
            words("h1", TITLE)
            words("p", about, "about")
        with ui.element("section").classes("answer").props('aria-label="The answer"'):
            self._headline = words("p", "", "headline")
            self._under = words("p", "", "under")
            self._dots = ui.html("", sanitize=False).classes("dots").props("aria-hidden=true")
            words("p", answer.NO_EVIDENCE, "quiet")
        self._bar()
        with ui.element("div").classes("stage") as self._stage:
            self._sides = {"old": Side("old"), "new": Side("new")}
        with ui.element("details").classes("drawer"):
            words("summary", "More rules, time, and how to take it further")
            self._drawer()
        ui.on("window", self._window)
        ui.on("set", self._set)
        ui.on("hand", lambda _: self.clock.hand())
        self._timers = [ui.timer(_RACKS, self.look), ui.timer(_WORDS, self.tell)]
        self.tell()

    def watched(self, watched: bool) -> None:
        """Keep up with the session while somebody looks, and only then."""
        for timer in self._timers:
            timer.active = watched

    # -- parts of the page ----------------------------------------------------------------

    def _button(self, text: str, on_click: Callable[[], None], classes: str = "") -> ui.element:
        def clicked() -> None:
            on_click()
            self.look()
            self.tell()

        with ui.element("button").props("type=button").classes(classes) as button:
            words("span", text)
        return button.on("click", clicked, args=[])

    def _bar(self) -> None:
        with ui.element("section").classes("bar").props('aria-label="Time"'):
            self._go = self._button("Let time pass", self.clock.start, "main")
            self._stop = self._button("Let time stand still", self.clock.pause)
            self._anew = self._button("Begin again", self.clock.again)
            with ui.element("p").classes("state").props("role=status"):
                self._state = words("span", "")
                self._news = words("span", "", "spoken")
            self._day = words("p", "", "day")
            with ui.element("div").classes("choice") as self._choice:
                self._button("Back to the old way", self._with(Session.back))
                self._button("Keep the new way", self._with(Session.keep))
        self._refused = words("p", "", "error").props("role=alert")
        self._refused.set_visibility(False)

    def _with(self, what: Callable[[Session], None]) -> Callable[[], None]:
        def done() -> None:
            with self.clock.changing() as session:
                what(session)

        return done

    def _drawer(self) -> None:
        words("h2", "More rules")
        words("p", "Sliders span the plausible range; a number may go beyond it.", "quiet")
        with ui.element("div").classes("rules"):
            for rule in rules.rules():
                if rule.key not in rules.ON_THE_RACK:
                    self._controls[rule.key] = Control(self.clock, rule, self.tell)
        words("p", "Room, start and chance are always those of both racks.", "quiet")
        words("h2", "Time")
        with ui.element("div").classes("choice"):
            with ui.element("label").classes("pace"):
                words("span", "Time passes")
                with ui.element("select").props(f"value={self.clock.pace}") as self._pace:
                    for pace in PACES:
                        words("option", _PACE_WORDS[pace]).props(f"value={pace}")
                self._pace.on("change", self._set_pace, js_handler=VALUE)
            self._button("A year on, at once", lambda: self.clock.step(YEAR))
            self._button("Again from the first day", self.clock.again)
            self._button("Everything as it was at first", self._with(Session.to_the_start))
        words("h2", "Take it further")
        self._file_words = words("p", "")
        self._text = words("pre", "").props('tabindex=0 role=region aria-label="File"')
        with ui.element("details"):
            words("summary", "How it was worked out")
            words("p", f"{WORKED_OUT} {answer.ALLOWANCE}")
            with ui.element("dl"):
                for rule in rules.rules():
                    words("dt", rule.label)
                    words("dd", rule.meaning)

    # -- what the reader does -------------------------------------------------------------

    def _window(self, event: Any) -> None:
        wide, calm = bool(event.args.get("wide")), bool(event.args.get("calm"))
        across = None if wide else _NARROW
        if self._ready and across == self._across:
            return
        first, self._ready, self._across = not self._ready, True, across
        for side in self._sides.values():
            side.forget()
        if first and not calm and not self.clock.touched:
            self.clock.start()
        self._looked = self._told = None
        self._changes = -1
        self.look()
        self.tell()

    def _set(self, event: Any) -> None:
        key = _NAMES.get(event.args.get("name"))
        if key is None:
            return
        try:
            self.clock.change(key, event.args.get("value"))
        except InputError as error:
            now = self.clock.ask(lambda session: session.value(key))
            self._complain(f"{rules.refused(error)} It stays: {rules.shown(key, now)}.")
        else:
            self._complain("")
        self._set_hands(force=bool(self._refused.content))
        self.tell()

    def _complain(self, text: str) -> None:
        put(self._refused, text)
        self._refused.set_visibility(bool(text))

    def _set_pace(self, event: Any) -> None:
        if str(event.args).isdigit() and int(event.args) in PACES:
            self.clock.pace = int(event.args)

    def _set_hands(self, force: bool = False) -> None:
        def told(session: Session) -> dict[str, Any]:
            spans = {}
            for name in ("stay", "scoop"):
                rule = rules.rule(_NAMES[name])
                value = session.value(rule.key)
                low, high = rules.span(rule, session.start_value(rule.key))
                step = _SCOOP_STEP if name == "scoop" else rule.step
                ends = {"low": min(low, value), "high": max(high, value)}
                spans[name] = {"value": value, "step": step, **ends}
            by_date = session.value("rotation.when") == "by_date"
            return {
                "stay": spans["stay"] if by_date else None,
                "scoop": spans["scoop"],
                "tray": session.value(rules.TRAY),
            }

        rules_now = json.dumps(self.clock.ask(told))
        ui.run_javascript(f"exploring.set({rules_now}, {json.dumps(force)})")

    # -- keeping up ---------------------------------------------------------------------

    def look(self) -> None:
        """The racks as the session has them now."""
        if not self._ready:
            return
        with self.clock.holding() as session:
            runs = self._runs(session)
            now = [(id(run), run.day) for run in runs.values()]
            if now == self._looked or (session.behind and not self._due(runs)):
                return
            self._looked = now
            racks = {side: rack_now(run, in_bowl(run, session.day)) for side, run in runs.items()}
            scale = self._scale.wider(Scale.of(racks.values()))
            goes = {side: self._flights(side, run, scale) for side, run in runs.items()}
            days = {side: run.day for side, run in runs.items()}
            beetles = {side: next(iter(breeding(run)), None) for side, run in runs.items()}
            away = {side: not run.scenario.parameters[rules.TRAY] for side, run in runs.items()}
            passing = self.clock.running
        self._scale = scale
        if list(runs) != self._shown:
            # Another rack is to be seen at once, not at the next words.
            self._shown = list(runs)
            self.tell()
        for side, rack in racks.items():
            sentence = rack_words(rack, days[side])
            shown = self._sides[side]
            if shown.renew(len(rack.bins), self._across):
                svg = live.live_svg(rack, scale, sentence, self._across, f"{side}-")
                places = live.places(rack, self._across, f"{side}-")
                _call("mount", side, svg, places, scoop_svg())
            told: dict[str, Any] = {
                "state": live.state(rack, scale),
                "flights": goes[side],
                "breeding": beetles[side],
            }
            if side == "old":
                told["away"] = away[side]
            if not passing or abs(days[side] - shown.spoken_day) >= _TELL_DAYS:
                told["words"] = sentence
                shown.spoken_day = days[side]
            _call("show", side, told)

    def _due(self, runs: dict[str, Run]) -> bool:
        """Whether racks that hurry to catch up are to be drawn again: drawing takes its time."""
        if list(runs) != self._shown or time.monotonic() - self._drawn >= _HURRY:
            self._drawn = time.monotonic()
            return True
        return False

    def _runs(self, session: Session) -> dict[str, Run]:
        """The runs by the side that they are shown on."""
        if session.new_run is None:
            return {"new": session.old_run}
        return {"old": session.old_run, "new": session.new_run}

    def _flights(self, side: str, run: Run, scale: Scale) -> list[list[Any]]:
        """Flights of the day, unless days go by too fast to see them."""
        before, self._sides[side].drawn = self._sides[side].drawn, (id(run), run.day)
        if before[0] != id(run) or not 0 < run.day - before[1] <= 3:
            return []
        return [[go.glyph, go.begin, go.end, go.signs] for go in flights(run, scale)]

    def tell(self) -> None:
        """Words, figures and controls as the session has them now."""
        clock = self.clock
        with clock.holding() as session:
            self.colonies.ask(session.old, session.new)
            now = (
                [(id(run), run.day) for run in session.runs], session.day, clock.running,
                clock.changes, clock.pace, clock.fault, clock.waiting, self.colonies.version,
                session.stale,
            )  # fmt: skip
            if now == self._told:
                return
            self._told = now
            differs = session.old != session.new
            gives = {name: run.gives(session.day) for name, run in self._runs(session).items()}
            old = gives.get("old", gives["new"])
            so_far = self.colonies.so_far()
            state, where = _state(clock, session), _where(clock, session)
            for name, run in self._runs(session).items():
                self._most = max(self._most, self._sides[name].take_band(run, session.day))
            ways = {
                "new": answer.way(session.new, session.old),
                "old": answer.way(session.old, session.new),
            }
            text = experiment_text(session.old, session.new) if differs else None
            stays, over = clock.running, session.over
        both = len(gives) > 1
        put(self._headline, answer.headline(so_far, differs, gives["new"]))
        under = answer.under_it(so_far, differs, old, gives["new"] if both else Gives(0))
        put(self._under, self.colonies.fault or under)
        put_html(self._dots, _dots(so_far.ahead, so_far.most) if differs else "")
        self._dots.set_visibility(differs)
        put(self._state, state)
        put(self._day, where)
        self._go.set_visibility(not stays and not over)
        self._stop.set_visibility(stays and not over)
        self._anew.set_visibility(over)
        self._choice.set_visibility(differs)
        milestone = answer.milestone(so_far) if differs else None
        if milestone != self._milestone:
            self._milestone = milestone
            put(self._news, answer.headline(so_far, differs, gives["new"]) if differs else "")
        prop(self._stage, "data-racks", "2" if both else "1")
        most = max([one.birds for one in gives.values()])
        for name, side in self._sides.items():
            side.root.set_visibility(name in gives)
            if name in gives:
                side.show(gives[name], ways[name], both, most, self._most)
        prop(self._pace, "value", str(clock.pace))
        self._offer(differs, text)
        if self._changes != clock.changes and self._ready:
            self._changes = clock.changes
            for control in self._controls.values():
                control.show()
            self._set_hands()

    def _offer(self, differs: bool, text: str | None) -> None:
        """The experiment file, as far as there is one."""
        put(self._text, text or "")
        self._text.set_visibility(text is not None)
        if text:
            said = (
                f"Save this as {NAME}.toml and type: colony-sim compare {NAME}.toml. It lives both "
                "ways in many more colonies, and writes slides and a report."
            )
        elif differs:
            said = "A room that follows a file of its own cannot be written here; see compare."
        else:
            said = (
                "Change something on the rack: here will be the file that puts both ways to the "
                "test with compare."
            )
        put(self._file_words, said)


def _call(what: str, *given: Any) -> None:
    """Call a function of `explore.js`."""
    ui.run_javascript(f"exploring.{what}({', '.join(map(json.dumps, given))})")


def scoop_svg() -> str:
    """The scoop that stands at the bowl."""
    return drawing(Scene(40, 16, [Mark("scoop", Place(18, 7))]), "", prefix="scoop-")


def _dots(ahead: tuple[bool, ...], most: int) -> str:
    """A sign for each possible colony, of the way that gave more in it."""
    signs = sorted(ahead, reverse=True)
    said = "".join(
        f'<i class="{"more" if new else "less"}">{Side.SIGNS["new" if new else "old"]}</i>'
        for new in signs
    )
    return said + '<i class="open">·</i>' * (most - len(ahead))


def _state(clock: Clock, session: Session) -> str:
    """What goes on, in words that change only when something else does."""
    if clock.fault:
        return f"The model stopped, a fault of the program: {clock.fault}"
    if session.stale or session.behind:
        if session.new_run is None and session.old == session.new:
            return "The rack is being lived up to today."
        return "The new way is being lived from its first day."
    gone = [run for run in session.runs if run.died_out]
    if gone and len(gone) == len(session.runs):
        return "The colony died out."
    if gone:
        return "The old way died out." if gone[0] is session.old_run else "The new way died out."
    if session.over:
        return "These years are over."
    return "Time passes." if clock.running else "Time stands still."


def _where(clock: Clock, session: Session) -> str:
    """The day in words, and how far a rack is that is behind."""
    day = session.day
    if day == 0:
        return "The day it is set up"
    year, week = 1 + (day - 1) // YEAR, 1 + (day - 1) % YEAR // WEEK
    text = f"Year {year}, week {week} (day {day:,})"
    if session.behind:
        return f"{text}; the rack is at day {min(run.day for run in session.behind):,}"
    if clock.running and clock.waiting:
        return f"{text}, waits for your hand"
    return text
