"""Commands for one keeper's own rack, year and notebook."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from colony_sim.commands.answering import answers
from colony_sim.commands.early import getting_ready
from colony_sim.commands.menu.app import OWN, app
from colony_sim.commands.menu.options import (
    LogExperiment,
    LogPolicy,
    OneWorld,
    ProfileFile,
    Units,
    Workers,
    shipped_log_too,
    shipped_too,
)
from colony_sim.errors import InputError


@app.command(rich_help_panel=OWN)
@answers()
def plan(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Plan file (TOML), or flock, which comes with the program; options stand above "
            "it.",
            callback=shipped_too,
        ),
    ] = None,
    grams: Annotated[
        str | None, typer.Option("--grams-per-day", help="Live larvae wanted (g a day, or 1 oz).")
    ] = None,
    birds: Annotated[
        int | None, typer.Option("--birds", help="Birds to feed, in place of grams.")
    ] = None,
    animals: Annotated[
        str | None,
        typer.Option(
            "--animals",
            help="Birds and other animals by name, such as '4 hens, 12 quail' (allowances are "
            "common practice, no source).",
        ),
    ] = None,
    log: Annotated[
        Path | None,
        typer.Option(
            "--log",
            metavar="LOG",
            help="Begin from the bins of a bin log, or of demo_log, which comes with the program; "
            "a plan file can list them instead.",
            callback=shipped_log_too,
        ),
    ] = None,
    bran_price: Annotated[
        float | None, typer.Option("--bran-price", help="Price of a kg of bran, in your money.")
    ] = None,
    larvae_each: Annotated[
        float | None,
        typer.Option(
            "--larvae-each",
            help="Larvae a bird a day; default 10, cautious (common practice, no source).",
        ),
    ] = None,
    larva_mg: Annotated[
        str | None,
        typer.Option("--larva-mg", help="Mass of a larva (mg, or 0.3 oz a hundred); default 85."),
    ] = None,
    bins: Annotated[int | None, typer.Option("--bins", help="Bins in the rack.")] = None,
    bin_area: Annotated[
        str | None,
        typer.Option(
            "--bin-area", help="Floor of a bin (dm2, or 40 x 30 cm, or 16 x 12 in); default 12."
        ),
    ] = None,
    minutes: Annotated[
        float | None,
        typer.Option("--minutes-per-week", help="Work at most (min a week); default: no limit."),
    ] = None,
    breeders: Annotated[
        int | None,
        typer.Option("--breeders", help="Beetles to start with, at most; default 300."),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option("--temperature", help="Room, the same all year (C, or 77 F).")
    ] = None,
    coldest: Annotated[
        str | None, typer.Option("--coldest", help="Daily mean of the coldest day (C, or 62 F).")
    ] = None,
    warmest: Annotated[
        str | None, typer.Option("--warmest", help="Daily mean of the warmest day (C, or 81 F).")
    ] = None,
    coldest_day: Annotated[
        int | None,
        typer.Option("--coldest-day", help="Day of the year that is coldest; default 20."),
    ] = None,
    logger: Annotated[
        Path | None,
        typer.Option(
            "--logger",
            metavar="CSV",
            help="Temperatures of a logger; to fill gaps, use \\[climate] of a plan file.",
        ),
    ] = None,
    start: Annotated[
        str | None, typer.Option("--start", metavar="DATE", help="Day 1, such as 2030-03-01.")
    ] = None,
    probability: Annotated[
        float | None,
        typer.Option(
            "--probability", help="Share of possible colonies that must be fed; default 0.8."
        ),
    ] = None,
    after_days: Annotated[
        int | None,
        typer.Option("--after-days", help="Days from the start to be fed from; default 365."),
    ] = None,
    years: Annotated[int | None, typer.Option("--years", help="Years run; default 3.")] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the plan.")] = None,
    units: Units = None,
    profile: ProfileFile = None,
    one_world: OneWorld = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Fewer candidates and runs, into NAME-plan-quick.")
    ] = False,
    full: Annotated[
        bool, typer.Option("--full", help="Print every week and all words as well.")
    ] = False,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-plan.")
    ] = None,
) -> Path:
    """Size the rack and plan the year: what is wanted against what is there."""
    with getting_ready():
        from colony_sim.commands.plan import run_plan

    return run_plan(
        file,
        {
            "grams_per_day": grams,
            "birds": birds,
            "animals": animals,
            "log": log,
            "bran_price_per_kg": bran_price,
            "larvae_each": larvae_each,
            "larva_mg": larva_mg,
            "bins": bins,
            "bin_area_dm2": bin_area,
            "minutes_per_week": minutes,
            "breeders": breeders,
            "temperature": temperature,
            "coldest": coldest,
            "warmest": warmest,
            "coldest_day": coldest_day,
            "logger": logger,
            "start": start,
            "probability": probability,
            "after_days": after_days,
            "years": years,
            "seed": seed,
            "units": units,
        },
        quick=quick,
        profile=profile,
        one_world=one_world,
        full=full,
        workers=workers,
        out=out,
    )


@app.command(rich_help_panel=OWN)
def calendar(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of plan or of run.")],
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="DATE", help="First day, YYYY-MM-DD; a plan has its own."),
    ] = None,
    weeks: Annotated[int, typer.Option("--weeks", help="Weeks from the start.")] = 52,
    paper: Annotated[
        str | None, typer.Option("--paper", help="a4 or letter; default: by the units.")
    ] = None,
    work_days: Annotated[
        str,
        typer.Option("--work-days", metavar="DAYS", help="Your days at the bins, such as sat."),
    ] = "wed,sat",
    remind: Annotated[
        str | None,
        typer.Option("--remind", metavar="TIME", help="Ring on work days at this time, as 8:00."),
    ] = None,
    units: Units = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder; default: FOLDER/calendar.")
    ] = None,
) -> None:
    """Write the work as a calendar (.ics), bin labels and a checklist (PDF)."""
    with getting_ready():
        from colony_sim.commands.calendar import run_calendar

    run_calendar(
        folder, start=start, weeks=weeks, paper=paper, out=out, days=work_days, remind=remind,
        units=units,
    )  # fmt: skip


@app.command(rich_help_panel=OWN)
@answers("serve")
def today(
    log: Annotated[Path, typer.Argument(metavar="LOG", help="A keeper's bin log (CSV).")],
    experiment: LogExperiment = None,
    policy: LogPolicy = None,
    on: Annotated[
        str | None,
        typer.Option(
            "--on",
            metavar="DATE",
            help="Today, as YYYY-MM-DD; later rows are left aside. Default: the calendar's day, "
            "or the last row's if that is long past.",
        ),
    ] = None,
    breeders: Annotated[
        int | None,
        typer.Option(
            "--breeders",
            help="Fewest beetles that you want; default: as many as the experiment file begins "
            "with, else as you last counted at a move.",
        ),
    ] = None,
    rule: Annotated[
        list[str] | None,
        typer.Option(
            "--rule",
            metavar="KEY=VALUE",
            help="What if this rule were another from now on; may be given again.",
        ),
    ] = None,
    move_on: Annotated[
        str | None,
        typer.Option(
            "--move-on", metavar="DATE", help="What if the beetles were moved on this day."
        ),
    ] = None,
    units: Units = None,
    profile: ProfileFile = None,
    members: Annotated[
        int | None, typer.Option("--members", help="Possible colonies that live the log (400).")
    ] = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="Live all of the log again, whatever is kept.")
    ] = False,
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the results; default: that of the log.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed (1).")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-today.")
    ] = None,
    serve: Annotated[
        bool,
        typer.Option("--serve", help="Then serve the page, on which rows are logged by tapping."),
    ] = False,
    home: Annotated[
        bool,
        typer.Option("--home", help="Serve the home network as well: a telephone asks for a code."),
    ] = False,
    port: Annotated[
        int | None,
        typer.Option("--port", min=0, max=65535, help="Port (8417); 0: any that is free."),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the served page in the browser.")
    ] = True,
) -> Path:
    """Tell from a keeper's bin log what is in each bin now, what to do, and what comes."""
    from colony_sim.running.processes import one_thread

    one_thread()
    with getting_ready():
        from colony_sim.commands.today import run_today
        from colony_sim.experiment.files import house_of
        from colony_sim.experiment.units import using

    with using(house_of(experiment, units)):
        return run_today(
            shipped_log_too(log) or log,
            experiment=experiment,
            policy=policy,
            on=on,
            breeders=breeders,
            profile=profile,
            members=members,
            anew=anew,
            name=name,
            seed=seed,
            workers=workers,
            out=out,
            serve=serve,
            home=home,
            port=port,
            browse=browser,
            rules=rule or (),
            move_on=move_on,
        )


@app.command(rich_help_panel=OWN)
@answers("template", "check")
def fit(
    log: Annotated[
        Path | None,
        typer.Argument(
            metavar="LOG",
            help="A keeper's bin log (CSV), or demo_log, which comes with the program.",
        ),
    ] = None,
    template: Annotated[
        bool,
        typer.Option(
            "--template", help="Write an empty log with explanations, to LOG or to the screen."
        ),
    ] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Name every fault of the log with its remedy.")
    ] = False,
    experiment: LogExperiment = None,
    policy: LogPolicy = None,
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the profile; default: that of the log.")
    ] = None,
    members: Annotated[
        int | None, typer.Option("--members", help="Possible colonies that live the log (1024).")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the fit (1).")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-fit.")
    ] = None,
) -> Path | None:
    """Fit the model to a keeper's bin log: what it tells, what not, and a profile of the colony."""
    with getting_ready():
        from colony_sim.commands.fit import run_check, run_fit, run_template

    if template:
        run_template(log)
        return None
    if log is None:
        raise InputError("command line", "LOG", "nothing", "a bin log (CSV), or --template")
    log = shipped_log_too(log) or log
    if check:
        run_check(log)
        return None
    return run_fit(
        log,
        experiment=experiment,
        policy=policy,
        name=name,
        members=members,
        seed=seed,
        workers=workers,
        out=out,
    )


@app.command(rich_help_panel=OWN)
@answers()
def trial(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Results folder of colony-sim compare.")
    ],
    racks: Annotated[
        bool,
        typer.Option(
            "--racks", help="Value a year of both ways side by side as well: minutes longer."
        ),
    ] = False,
    only: Annotated[
        str | None,
        typer.Option(
            "--only", metavar="TRIAL", help="Instructions of this one; default: the first."
        ),
    ] = None,
    result: Annotated[
        Path | None,
        typer.Option("--result", metavar="FILE", help="The filled log of a trial: what it says."),
    ] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-trial.")
    ] = None,
) -> Path:
    """Rank small experiments at home by what they tell of a choice, and take a result back."""
    with getting_ready():
        from colony_sim.commands.trial import run_trial

    return run_trial(folder, racks=racks, only=only, result=result, workers=workers, out=out)
