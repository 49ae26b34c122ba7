"""``colony-sim plan``: size the rack and plan the year."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.table import Table

from colony_sim.commands.compare import command_line
from colony_sim.commands.show import HOW, Bars, console, duration, show_page
from colony_sim.commands.study import ended_in_one_line, tell
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import worlds_of
from colony_sim.planning.ahead import expected, seconds
from colony_sim.planning.choose import Effort, effort_of
from colony_sim.planning.facts import StoredPlan
from colony_sim.planning.planner import base_plan
from colony_sim.planning.request import Request, read_request
from colony_sim.planning.study import STUDY
from colony_sim.planning.words_luck import runs
from colony_sim.planning.words_page import first_answer, parts
from colony_sim.results.folder import folder_of
from colony_sim.running.runner import Progress, check_workers
from colony_sim.studies.study import carry_out
from colony_sim.words.estimate import number, percent, short
from colony_sim.words.units import degrees, differs, scaled, symbol

_SHOWN_WEEKS = 52


def before(request: Request, effort: Effort, workers: int) -> str:
    """How long it will take, told before it starts."""
    ahead = expected(effort, request, None)
    first, whole = seconds(ahead, effort, request, workers)
    cores = "1 core" if workers == 1 else f"{workers} cores"
    return (
        f"About {duration(whole)} on {cores} that have nothing else to do: some {ahead.runs} "
        f"colonies are lived. A first answer comes in some {duration(first)}."
    )


def run_plan(
    file: Path | None,
    options: Mapping[str, Any],
    *,
    quick: bool,
    profile: Path | None,
    workers: int | None,
    out: Path | None,
    one_world: bool = False,
    full: bool = False,
) -> Path:
    """Plan a rack and a year, or say what is short; returns the results folder."""
    request = read_request(file, options)
    with using(request.house):
        return _planned(
            request, quick=quick, profile=profile, workers=workers, out=out, one_world=one_world,
            full=full,
        )  # fmt: skip


def _planned(
    request: Request,
    *,
    quick: bool,
    profile: Path | None,
    workers: int | None,
    out: Path | None,
    one_world: bool,
    full: bool,
) -> Path:
    worlds = worlds_of(profile, one_world)
    effort = effort_of(quick, over_worlds=worlds is not None, from_log=request.from_log)
    workers = check_workers(workers)
    name = base_plan(request, worlds).name + ("-quick" if quick else "")
    folder = folder_of(name, out)
    with ended_in_one_line(folder), Bars() as bars:
        to_say, show = [before(request, effort, workers)], bars.of(name)

        def on_progress(progress: Progress) -> None:
            # Not before the folder is known to be fit: a refusal is one line.
            while to_say:
                bars.say(to_say.pop())
            show(progress)

        result = carry_out(
            STUDY,
            replace(base_plan(request, worlds), name=name),
            folder,
            command=command_line(),
            request=request,
            effort=effort,
            profile=worlds,
            workers=workers,
            on_first=lambda forecast: bars.say(first_answer(forecast, request)),
            on_progress=on_progress,
        )
    if full:
        tell(result, week_table(result.found.kept))
        return folder
    first, more, caution = parts(result.found.kept)
    how = f"{HOW}, week by week: --full, or verdict.txt and weeks.csv."
    show_page(console(), [first], more, [caution, how, f"Results: {folder}"])
    return folder


def week_table(plan: StoredPlan) -> Table:
    """The first year by week, for the terminal."""
    wanted = plan.facts["want"]["grams_per_day"]
    table = Table(
        title=f"First year by week, median (80 % range) of {plan.met.runs} {runs(plan.facts)}; "
        f"wanted {number(scaled(wanted, 'g/d'))} {symbol('g/d')} over four weeks",
        title_justify="left",
    )
    gram = symbol("g")
    for head in (
        "Week", "From", degrees(), f"Harvest {gram}", f"4 weeks {gram}/day", "Met in",
        "Bins", "Beetles", f"Bran {gram}", f"Water {gram}", "Minutes", "To do",
    ):  # fmt: skip
        table.add_column(head, justify="left" if head in ("From", "To do") else "right")
    for row in plan.tables["weeks"].head(_SHOWN_WEEKS).to_dict("records"):
        four = row["four_weeks_g_per_day"]
        table.add_row(
            f"{row['week']}",
            row["date"],
            f"{scaled(row['temperature_c'], 'C'):.1f}",
            _with_range(row, "harvest_g"),
            "" if four != four else number(scaled(four, "g/d")),
            "" if four != four else percent(row["met_share"]),
            f"{row['bins']:.0f}",
            f"{row['breeders']:.0f}",
            _weight(row["bran_g"]),
            _weight(row["moisture_g"]),
            f"{row['minutes']:.0f}",
            row["to_do"],
        )
    return table


def _with_range(row: Mapping[str, Any], name: str) -> str:
    if not row[f"{name}_high"]:
        return "0"
    middle, low, high = (_weight(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    return f"{middle} ({low} to {high})"


def _weight(grams: float) -> str:
    """Whole grams, or as much in the unit of the house."""
    return short(scaled(grams, "g")) if differs("g") else f"{grams:.0f}"
