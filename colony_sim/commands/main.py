"""The command line: ``colony-sim``. Heavy modules are imported inside the commands only."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from colony_sim import __version__
from colony_sim.commands.ending import Ending
from colony_sim.errors import InputError

app = typer.Typer(
    name="colony-sim",
    help="Individual-based simulator of a mealworm colony: which handling policy does better?",
    add_completion=False,
    pretty_exceptions_enable=False,
)

File = Annotated[Path, typer.Argument(metavar="FILE", help="Experiment file (TOML).")]
Workers = Annotated[
    int | None, typer.Option("--workers", help="Worker processes; default: one per core.")
]

Until = Annotated[
    list[str] | None,
    typer.Option(
        "--until",
        metavar="MEASURE=HALFWIDTH",
        help="Add replicates until the paired 95 % interval of this measure has at most this half "
        "width, in its unit. May be given several times.",
    ),
]
Least = Annotated[
    int | None, typer.Option("--least", help="With --until: replicates at least (10).")
]
Most = Annotated[int | None, typer.Option("--most", help="With --until: replicates at most (200).")]

Measure = Annotated[
    str | None, typer.Option("--measure", help="Measure; default: yield_g_per_day.")
]
WarmUp = Annotated[int | None, typer.Option("--warm-up", help="Days left out.")]
Used = Annotated[int | None, typer.Option("--used", help="Days measured.")]
ProfileFile = Annotated[
    Path | None,
    typer.Option(
        "--profile",
        metavar="FILE",
        help="Biology of one colony, from colony-sim fit: one draw for each replicate.",
    ),
]


def _show_version(asked: bool) -> None:
    if asked:
        typer.echo(f"colony-sim {__version__}")
        raise typer.Exit()


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Show the version and stop.", callback=_show_version, is_eager=True
        ),
    ] = False,
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
        raise typer.Exit()


@app.command()
def compare(
    file: File,
    quick: Annotated[
        bool, typer.Option("--quick", help="Fewer days and replicates, into NAME-quick.")
    ] = False,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME.")
    ] = None,
    fresh: Annotated[
        bool,
        typer.Option("--fresh/--resume", help="Run all again, or reuse finished runs (default)."),
    ] = False,
    replicates: Annotated[
        int | None, typer.Option("--replicates", help="Runs of each policy.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the comparison.")] = None,
    assumptions: Annotated[
        bool,
        typer.Option(
            "--assumptions/--no-assumptions",
            help="Look for the assumptions that the verdict leans on most (not with --quick).",
        ),
    ] = True,
    until: Until = None,
    least: Least = None,
    most: Most = None,
    profile: ProfileFile = None,
) -> None:
    """Compare the policies of an experiment over paired, replicated runs."""
    from colony_sim.commands.compare import run_compare

    run_compare(
        file,
        quick=quick,
        workers=workers,
        out=out,
        fresh=fresh,
        replicates=replicates,
        seed=seed,
        assumptions=assumptions,
        until=until or [],
        least=least,
        most=most,
        profile=profile,
    )


@app.command()
def sweep(
    file: File,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=SPEC",
            help="A key and its values: KEY=1,2,3 or KEY=LOW:HIGH:STEP, or, with --design lhs or "
            "sobol, KEY=LOW:HIGH. May be given several times. Default: [sweep] of the file.",
        ),
    ] = None,
    design: Annotated[
        str | None, typer.Option("--design", help="factorial (default), lhs or sobol.")
    ] = None,
    points: Annotated[
        int | None, typer.Option("--points", help="Points of an lhs or sobol design.")
    ] = None,
    design_seed: Annotated[
        int | None, typer.Option("--design-seed", help="Seed of an lhs or sobol design.")
    ] = None,
    replicates: Annotated[
        int | None, typer.Option("--replicates", help="Runs of each policy at each point.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the replicates.")] = None,
    policy: Annotated[
        str | None, typer.Option("--policy", help="Sweep this policy only; default: all.")
    ] = None,
    until: Until = None,
    least: Least = None,
    most: Most = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Fewer days and replicates, into NAME-sweep-quick.")
    ] = False,
    workers: Workers = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Run on the workers of a Dask scheduler, such as tcp://10.0.0.1:8786.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-sweep.")
    ] = None,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Tell the number of runs, time and memory; write nothing."),
    ] = False,
    profile: ProfileFile = None,
) -> None:
    """Run every policy at many values of one or more keys, over paired seeds."""
    from colony_sim.commands.sweep import run_sweep_command

    run_sweep_command(
        file,
        vary=vary or [],
        design=design,
        points=points,
        design_seed=design_seed,
        replicates=replicates,
        seed=seed,
        policy=policy,
        quick=quick,
        until=until or [],
        least=least,
        most=most,
        workers=workers,
        cluster=cluster,
        out=out,
        dry_run=dry_run,
        profile=profile,
    )


@app.command("run")
def run_one(
    file: File,
    policy: Annotated[
        str | None, typer.Option("--policy", help="Name of the policy; default: the baseline.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option("--seed", help="Seed of the run; default: that of replicate 1.")
    ] = None,
    days: Annotated[int | None, typer.Option("--days", help="Simulated days.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder; default: results/NAME-run-POLICY.")
    ] = None,
    profile: ProfileFile = None,
    draw: Annotated[
        int | None,
        typer.Option("--draw", help="Number of a draw of the profile; default: its medians."),
    ] = None,
) -> None:
    """Simulate one policy once and write its daily series and bin log."""
    from colony_sim.commands.run import run_single

    run_single(file, policy=policy, seed=seed, days=days, out=out, profile=profile, draw=draw)


@app.command()
def repeat(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
    workers: Workers = None,
) -> None:
    """Run a comparison again from its manifest and confirm that every table is identical."""
    from colony_sim.commands.repeat import run_repeat

    run_repeat(folder, workers=workers)


@app.command()
def breakeven(
    file: File,
    x: Annotated[
        str, typer.Option("--x", metavar="KEY=SPEC", help="Key across: KEY=1,2,3 or LOW:HIGH:STEP.")
    ],
    y: Annotated[str, typer.Option("--y", metavar="KEY=SPEC", help="Key upwards, likewise.")],
    policies: Annotated[
        str | None, typer.Option("--policies", help="Two policies, FIRST,SECOND.")
    ] = None,
    replicates: Annotated[int, typer.Option("--replicates", help="Seeds of each cell.")] = 5,
    measure: Measure = None,
    warm_up: WarmUp = None,
    used: Used = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the study.")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-breakeven.")
    ] = None,
    profile: ProfileFile = None,
) -> None:
    """Map where the ranking of two policies flips, over two keys."""
    from colony_sim.commands.breakeven import run_break_even

    run_break_even(
        file,
        x=x,
        y=y,
        policies=policies,
        replicates=replicates,
        measure=measure,
        warm_up=warm_up,
        used=used,
        seed=seed,
        workers=workers,
        out=out,
        profile=profile,
    )


@app.command()
def sensitivity(
    file: File,
    method: Annotated[
        str, typer.Option("--method", help="morris, sobol (need SALib) or oneway.")
    ] = "morris",
    keys: Annotated[
        str | None, typer.Option("--keys", metavar="KEY,KEY", help="Keys to vary.")
    ] = None,
    group: Annotated[
        str | None,
        typer.Option("--group", help="Keys to vary: biology (its uncertain values) or handling."),
    ] = None,
    policies: Annotated[
        str | None,
        typer.Option("--policies", help="One policy, or FIRST,SECOND for their difference."),
    ] = None,
    measure: Measure = None,
    size: Annotated[
        int | None,
        typer.Option("--size", help="Trajectories (default 10) or Sobol' base sample (64)."),
    ] = None,
    replicates: Annotated[
        int | None,
        typer.Option("--replicates", help="Seeds of each point; default: 2, oneway 6."),
    ] = None,
    warm_up: WarmUp = None,
    used: Used = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the study.")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-METHOD.")
    ] = None,
    profile: ProfileFile = None,
) -> None:
    """Find the unknowns that would change the result, and what to measure to settle it."""
    from colony_sim.commands.sensitivity import run_sensitivity

    run_sensitivity(
        file,
        method=method,
        keys=keys,
        group=group,
        policies=policies,
        measure=measure,
        size=size,
        replicates=replicates,
        warm_up=warm_up,
        used=used,
        seed=seed,
        workers=workers,
        out=out,
        profile=profile,
    )


@app.command()
def search(
    file: File,
    keys: Annotated[
        str,
        typer.Option(
            "--keys", metavar="KEY,KEY", help="Handling keys: KEY, KEY=LOW:HIGH or KEY=A,B."
        ),
    ],
    bins: Annotated[int | None, typer.Option("--bins", help="Bins in the rack.")] = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes-per-week", help="Work at most (minutes a week).")
    ] = None,
    breeders: Annotated[
        int | None, typer.Option("--breeders", help="Beetles to start with.")
    ] = None,
    persist: Annotated[
        float, typer.Option("--persist", help="Share of runs in which the colony must live on.")
    ] = 0.95,
    trials: Annotated[int, typer.Option("--trials", help="Candidates to try.")] = 100,
    replicates: Annotated[int, typer.Option("--replicates", help="Seeds of each.")] = 3,
    fresh: Annotated[
        int | None,
        typer.Option("--fresh-seeds", help="Seeds of the front's runs; default: 59 for 95 %."),
    ] = None,
    policy: Annotated[
        str | None,
        typer.Option("--policy", help="Policy with the other keys; default: the baseline."),
    ] = None,
    warm_up: WarmUp = None,
    used: Used = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the search.")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-search.")
    ] = None,
    profile: ProfileFile = None,
) -> None:
    """Search for the best handling under limits of room, time and founders."""
    from colony_sim.commands.search import run_search
    from colony_sim.experiment.search import Limits

    run_search(
        file,
        keys=keys,
        limits=Limits(bins, minutes, breeders, persist),
        trials=trials,
        replicates=replicates,
        fresh=fresh,
        policy=policy,
        warm_up=warm_up,
        used=used,
        seed=seed,
        workers=workers,
        out=out,
        profile=profile,
    )


@app.command()
def plan(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Plan file (TOML); options stand above it."),
    ] = None,
    grams: Annotated[
        float | None, typer.Option("--grams-per-day", help="Live larvae wanted (g a day).")
    ] = None,
    birds: Annotated[
        int | None, typer.Option("--birds", help="Birds to feed, in place of grams.")
    ] = None,
    larvae_each: Annotated[
        float | None,
        typer.Option(
            "--larvae-each",
            help="Larvae a bird a day; default 10, cautious (common practice, no source).",
        ),
    ] = None,
    larva_mg: Annotated[
        float | None, typer.Option("--larva-mg", help="Mass of a larva (mg); default 85.")
    ] = None,
    bins: Annotated[int | None, typer.Option("--bins", help="Bins in the rack.")] = None,
    bin_area: Annotated[
        float | None, typer.Option("--bin-area", help="Floor of a bin (dm2); default 12.")
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
        float | None, typer.Option("--temperature", help="Room, the same all year (C).")
    ] = None,
    coldest: Annotated[
        float | None, typer.Option("--coldest", help="Daily mean of the coldest day (C).")
    ] = None,
    warmest: Annotated[
        float | None, typer.Option("--warmest", help="Daily mean of the warmest day (C).")
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
            help="Temperatures of a logger; to fill gaps, use [climate] of a plan file.",
        ),
    ] = None,
    start: Annotated[
        str | None, typer.Option("--start", metavar="DATE", help="Day 1, such as 2030-03-01.")
    ] = None,
    probability: Annotated[
        float | None,
        typer.Option("--probability", help="Share of runs that must be fed; default 0.8."),
    ] = None,
    after_days: Annotated[
        int | None,
        typer.Option("--after-days", help="Days from the start to be fed from; default 365."),
    ] = None,
    years: Annotated[int | None, typer.Option("--years", help="Years run; default 3.")] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the plan.")] = None,
    profile: ProfileFile = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Fewer candidates and runs, into NAME-plan-quick.")
    ] = False,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-plan.")
    ] = None,
) -> None:
    """Size the rack and plan the year: what is wanted against what is there."""
    from colony_sim.commands.plan import run_plan

    run_plan(
        file,
        {
            "grams_per_day": grams,
            "birds": birds,
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
        },
        quick=quick,
        profile=profile,
        workers=workers,
        out=out,
    )


@app.command()
def calendar(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of plan or of run.")],
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="DATE", help="First day, YYYY-MM-DD; a plan has its own."),
    ] = None,
    weeks: Annotated[int, typer.Option("--weeks", help="Weeks from the start.")] = 52,
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder; default: FOLDER/calendar.")
    ] = None,
) -> None:
    """Write the work as a calendar (.ics), bin labels and a checklist (PDF)."""
    from colony_sim.commands.calendar import run_calendar

    run_calendar(folder, start=start, weeks=weeks, paper=paper, out=out)


@app.command()
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
    from colony_sim.commands.report import run_report

    run_report(folder, out=out, policies=policies, days=days, alone=alone)


@app.command()
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
) -> None:
    """Draw the slides of a talk (PNG, SVG, PDF), with speaker notes and the data behind them."""
    from colony_sim.commands.figures import run_figures

    run_figures(folder, out=out, alone=alone, seed=seed)


@app.command()
def explore(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="Experiment file; default: an invented scenario."),
    ] = None,
    policy: Annotated[
        str | None, typer.Option("--policy", help="Policy to start from; default: the baseline.")
    ] = None,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port; default: any that is free.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Try rules on a running colony: a page in your browser, served to this machine only."""
    from colony_sim.commands.explore import run_explore

    run_explore(file, policy=policy, port=port, browse=browser)


@app.command()
def fit(
    log: Annotated[
        Path | None, typer.Argument(metavar="LOG", help="A keeper's bin log (CSV).")
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
    experiment: Annotated[
        Path | None,
        typer.Option(
            "--experiment", metavar="FILE", help="Experiment file with the room, bins and rules."
        ),
    ] = None,
    policy: Annotated[
        str | None, typer.Option("--policy", help="Its policy; default: the baseline.")
    ] = None,
    keys: Annotated[
        str | None, typer.Option("--keys", metavar="KEY,KEY", help="Keys of the biology to fit.")
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the profile; default: that of the log.")
    ] = None,
    simulations: Annotated[
        int | None, typer.Option("--simulations", help="Simulated logs to learn from (3000).")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the fit (1).")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-fit.")
    ] = None,
) -> None:
    """Fit the model to a keeper's bin log: what it tells, what not, and a profile of the colony."""
    from colony_sim.commands.fit import run_check, run_fit, run_template

    if template:
        return run_template(log)
    if log is None:
        raise InputError("command line", "LOG", "nothing", "a bin log (CSV), or --template")
    if check:
        return run_check(log)
    run_fit(
        log,
        experiment=experiment,
        policy=policy,
        keys=keys,
        name=name,
        simulations=simulations,
        seed=seed,
        workers=workers,
        out=out,
    )


def run() -> None:
    """Entry point: exit code 0 done, 1 failed, 2 bad input, 130 stopped with Ctrl-C."""
    usage_error = typer.BadParameter.__base__
    try:
        code = app(standalone_mode=False) or 0
        if code == 130:  # Typer turns Ctrl-C into this; the commands raise Ending.
            _tell("Stopped.")
    except Ending as ending:
        code = _tell(str(ending), ending.code)
    except InputError as error:
        code = _tell(error.line, 2)
    except usage_error as error:
        code = _tell(error.format_message(), 2)
    except (KeyboardInterrupt, typer.Abort):
        code = _tell("Stopped.", 130)
    except BrokenPipeError:
        # The reader of a pipe has gone; what is left to print goes nowhere, without an error.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 1
    except OSError as error:
        code = _tell(str(error), 1)
    sys.exit(code)


def _tell(line: str, code: int = 0) -> int:
    typer.echo(f"colony-sim: {' '.join(line.split())}", err=True)
    return code
