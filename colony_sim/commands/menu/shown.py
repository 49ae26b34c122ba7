"""Commands that show results, or a colony as it runs."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from colony_sim.commands.early import getting_ready, worker_beside
from colony_sim.commands.menu.app import COMPARE, SHOW, app
from colony_sim.commands.menu.options import ProfileFile, shipped_too


@app.command(rich_help_panel=SHOW)
def figures(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder to write; default: FOLDER/slides.")
    ] = None,
    alone: Annotated[
        bool, typer.Option("--alone", help="Leave out studies of the same experiment beside it.")
    ] = False,
    seed: Annotated[
        int | None,
        typer.Option(
            "--seed",
            help="Seed of the run whose bins are shown (see runs.csv); default: the first that "
            "settled under the most policies.",
        ),
    ] = None,
    present: Annotated[
        bool, typer.Option("--present", help="Open the talk in the browser, notes beside it.")
    ] = False,
    pptx: Annotated[
        bool, typer.Option("--pptx", help="Write the talk as PowerPoint too (extra: talk).")
    ] = False,
) -> None:
    """Draw the slides of a talk, with speaker notes, handout, poster and the data behind them."""
    with ExitStack() as opened:
        with getting_ready():
            executor = opened.enter_context(worker_beside(folder))
            from colony_sim.commands.figures import run_figures

        run_figures(
            folder, executor=executor, out=out, alone=alone, seed=seed, present=present, pptx=pptx
        )


@app.command(rich_help_panel=SHOW)
def report(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="File; default: FOLDER/report.html.")
    ] = None,
    policies: Annotated[
        str | None,
        typer.Option("--policies", help="The two policies of the rack, FIRST,SECOND."),
    ] = None,
    days: Annotated[
        int | None, typer.Option("--days", help="Days of the rack; default: two years at most.")
    ] = None,
    alone: Annotated[
        bool, typer.Option("--alone", help="Leave out studies of the same experiment beside it.")
    ] = False,
) -> None:
    """Write one page of a results folder that opens in any browser, with a rack to watch."""
    with ExitStack() as opened:
        with getting_ready():
            executor = opened.enter_context(worker_beside(folder))
            from colony_sim.commands.report import run_report

        run_report(folder, executor=executor, out=out, policies=policies, days=days, alone=alone)


@app.command(rich_help_panel=SHOW)
def film(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Results folder of a comparison.")
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File .gif, .webp or .mp4; default: FOLDER/film.gif."),
    ] = None,
    policies: Annotated[
        str | None, typer.Option("--policies", help="The two policies, FIRST,SECOND.")
    ] = None,
    days: Annotated[
        int | None, typer.Option("--days", help="Days shown, a frame each; default: a year.")
    ] = None,
    pace: Annotated[int, typer.Option("--pace", help="Days a second, 2 to 30.")] = 15,
) -> None:
    """Film two ways side by side for a slide: both racks day by day, moves and harvest seen."""
    from colony_sim.commands.film import run_film

    run_film(folder, out=out, policies=policies, days=days, pace=pace)


@app.command(rich_help_panel=SHOW)
def explore(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Experiment file, or the name of one that comes with the program; default: an "
            "invented scenario.",
            callback=shipped_too,
        ),
    ] = None,
    policy: Annotated[
        str | None, typer.Option("--policy", help="Policy to start from; default: the baseline.")
    ] = None,
    profile: ProfileFile = None,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port; default: any that is free.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Try a change on a drawn rack: a page in your browser, served to this machine only."""
    from colony_sim.commands.explore import run_explore

    run_explore(file, policy=policy, profile=profile, port=port, browse=browser)


@app.command(rich_help_panel=SHOW)
def check(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
) -> None:
    """Prove a results folder whole: every file and stored run against its checksum."""
    with getting_ready():
        from colony_sim.commands.check import run_check

    run_check(folder)


@app.command(rich_help_panel=COMPARE)
def copy(
    name: Annotated[
        str | None,
        typer.Argument(metavar="NAME", help="What to copy; without a name all are listed."),
    ] = None,
    to: Annotated[Path, typer.Option("--to", metavar="FOLDER", help="Where to.")] = Path(),
    over: Annotated[
        bool, typer.Option("--over", help="Replace files that are there already.")
    ] = False,
) -> None:
    """Copy an experiment that comes with the program, to change it; or list them."""
    from colony_sim.commands.copy import run_copy

    run_copy(name, to=to, over=over)
