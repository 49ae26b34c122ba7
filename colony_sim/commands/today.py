"""``colony-sim today``: what is in each bin now, what to do this weekend, and what comes?"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from colony_sim.atomic import write_text
from colony_sim.biology.calendar import DATES, is_usual
from colony_sim.biology.parameters import Parameters, Value, find
from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import FAILED, Ending
from colony_sim.commands.fit import checked_name, surroundings
from colony_sim.commands.show import Bars, console, show_page
from colony_sim.commands.study import ended_in_one_line
from colony_sim.errors import InputError
from colony_sim.experiment.design import parse_vary
from colony_sim.experiment.plan import whole
from colony_sim.experiment.worlds import MOST_DRAWS, worlds_of
from colony_sim.results.folder import claim, folder_of

if TYPE_CHECKING:
    from colony_sim.assimilation.asked import Asked
    from colony_sim.assimilation.onward import Course
    from colony_sim.running.runner import Progress

LEAST = 40
"""Members asked for at least; as many do where nothing has been logged."""
JOURNAL = "logged.json"
"""Rows that were logged on the page, in the results folder."""


def run_today(
    log: Path,
    *,
    experiment: Path | None,
    policy: str | None,
    on: str | None,
    breeders: int | None,
    profile: Path | None,
    members: int | None,
    anew: bool,
    name: str | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    serve: bool = False,
    home: bool = False,
    port: int | None = None,
    browse: bool = True,
    rules: Sequence[str] = (),
    move_on: str | None = None,
) -> Path:
    """Live a log again, write what it tells of today, and say it on one screen.

    With `serve` the page is then served until Ctrl-C.
    """
    from colony_sim.assimilation import page, served, study, words
    from colony_sim.assimilation.asked import ask, plan_of
    from colony_sim.assimilation.desk import Desk
    from colony_sim.assimilation.lived import DAYS
    from colony_sim.assimilation.onward import Course
    from colony_sim.assimilation.today import MEMBERS, First
    from colony_sim.assimilation.told import Floor
    from colony_sim.logs.log_rows import LogRows
    from colony_sim.logs.words import COLUMNS
    from colony_sim.results.study import write_study
    from colony_sim.running.runner import (
        WorkerDied,
        check_workers,
        compile_kernels,
    )

    _check_served(serve, home, port)
    workers = check_workers(workers)
    seed = whole("seed", seed, 0, 2**32 - 1, 1)
    members = whole("members", members, LEAST, MOST_DRAWS, MEMBERS)
    floor = None
    if breeders is not None:
        floor = Floor(whole("breeders", breeders, 1, 100_000, 1), "as many as you want")
    name = f"{checked_name(name, log)}-today"
    shed = surroundings(experiment, policy)
    if floor is None and shed.breeders is not None:
        floor = Floor(shed.breeders, "as many as you began with")
    worlds = worlds_of(profile, one_world=False)
    assert worlds is not None
    day = None if on is None else _day_of("--on", on)
    folder = folder_of(name, out)

    def work(
        asked: Asked,
        on_progress: Callable[[Progress], None],
        anew: bool = False,
        on_first: Callable[[First], object] = lambda first: None,
    ) -> study.Found:
        plan = plan_of(
            name, study.QUESTION, asked.ensemble, shed.policy, shed.climate, shed.text,
            shed.invented,
        )  # fmt: skip
        # A server holds the folder as long as it serves.
        with nullcontext() if serve else claim(folder, name, study.FILES):
            found = study.run(
                plan, folder, asked=asked, members=members if asked.rows else LEAST, anew=anew,
                floor=floor, what_if=_what_if(asked), workers=workers, on_first=on_first,
                on_progress=on_progress,
            )  # fmt: skip
            said = study.say(found, plan)
            write_study(
                plan, folder, study.KIND, study.STUDY.frames(found), said.text,
                study.facts(found), answer=f"{said.headline}.", design=study.design(found),
                command=command_line(), draw=lambda staged: study.draw(found, staged),
            )  # fmt: skip
        return found

    changed = _rules(rules, shed.parameters)
    moved = None if move_on is None else _day_of("--move-on", move_on)

    def _check_move(on: datetime.date) -> int | None:
        days = None if moved is None else (moved - on).days
        if days is not None and not 1 <= days <= DAYS:
            allowed = f"a day from the one after {on}, within {DAYS} days"
            raise InputError("command line", "--move-on", str(moved), allowed)
        return days

    def _what_if(asked: Asked) -> Course | None:
        days = _check_move(asked.on)
        return None if days is None and not changed else Course(days, changed)

    def question() -> Asked:
        return ask(
            log, shed.parameters, shed.climate, worlds, on=day, seed=seed, empty_too=serve
        )  # fmt: skip

    with ExitStack() as held:
        bound = held.enter_context(closing(served.bind(port, home))) if serve else None
        if bound is None or log.exists():
            asked = question()
            _what_if(asked)
        if bound is not None:
            held.enter_context(claim(folder, name, study.FILES))
            if not log.exists():
                _check_move(day or datetime.date.today())
                write_text(log, f"{','.join(COLUMNS)}\n")
                _tell(f"A new log: {log}")
                asked = question()
        try:
            with ended_in_one_line(folder):
                compile_kernels()
                with Bars() as bars:
                    found = work(
                        asked, bars.of("your log"), anew,
                        lambda first: bars.say(words.first_state(first)),
                    )  # fmt: skip
        except WorkerDied as error:
            raise Ending(f"{error}; they are kept in {folder}", FAILED) from None
        must, more = words.screen(found.told)
        show_page(console(), must, [*more, *asked.notes], [f"Page: {folder / page.FILE}"])
        if bound is not None:
            rows = LogRows(log, folder / JOURNAL)
            desk = Desk(found, lambda hear: work(question(), hear), rows, day)
            served.serve(bound, desk, home, browse, _tell)
    return folder


def _check_served(serve: bool, home: bool, port: int | None) -> None:
    """Options of the page need the page; said before the log is lived."""
    if not serve and home:
        raise InputError("command line", "--home", "without --serve", "only with --serve")
    if not serve and port is not None:
        raise InputError("command line", "--port", port, "only with --serve")


def _tell(line: str) -> None:
    print(line, flush=True)


def _rules(given: Sequence[str], parameters: Parameters) -> tuple[tuple[str, Value], ...]:
    """Rules that are changed, KEY=VALUE each."""
    found: dict[str, Value] = {}
    for spec in given:
        factor = parse_vary(spec, "--rule")
        find(factor.key, "--rule", "handling")
        if len(factor.values) != 1 or factor.key in found:
            raise InputError("command line", "--rule", spec, "KEY=VALUE, every key once")
        if factor.key.startswith("rack.bin"):
            raise InputError("command line", "--rule", factor.key, "a rule; the bins are there")
        found[factor.key] = factor.values[0]
    parameters.with_values(found, "--rule")
    return tuple(found.items())


def _day_of(option: str, text: str) -> datetime.date:
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or not is_usual(day):
        raise InputError("command line", option, text, DATES)
    return day
