"""Commands that compare handling policies."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from colony_sim.commands.answering import answers
from colony_sim.commands.early import getting_ready, workers_ahead
from colony_sim.commands.menu.app import COMPARE, STUDY, app
from colony_sim.commands.menu.options import (
    File,
    Least,
    Most,
    OneWorld,
    ProfileFile,
    Until,
    Workers,
)


@app.command(rich_help_panel=COMPARE)
@answers()
def compare(
    file: File,
    quick: Annotated[
        bool, typer.Option("--quick", help="Fewer days, a coarser answer, into NAME-quick.")
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
        int | None,
        typer.Option(
            "--replicates",
            help="Runs of each policy in each possible colony (default: one, more if luck is "
            "large), or in all with --one-world.",
        ),
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the comparison.")] = None,
    assumptions: Annotated[
        bool | None,
        typer.Option(
            "--assumptions/--no-assumptions",
            help="With --one-world: move the uncertain values one at a time and rank what the "
            "verdict leans on (default there, but not with --quick).",
        ),
    ] = None,
    until: Until = None,
    least: Least = None,
    most: Most = None,
    profile: ProfileFile = None,
    one_world: OneWorld = False,
    worlds: Annotated[
        int | None,
        typer.Option("--worlds", metavar="N", help="Possible colonies to live in, at most."),
    ] = None,
    error: Annotated[
        float | None,
        typer.Option(
            "--error",
            metavar="SHARE",
            help="Go on until the probability that a policy is ahead is known to this standard "
            "error (0.05; 0.1 with --quick; with --worlds: live in all of them).",
        ),
    ] = None,
    zone: Annotated[
        float | None,
        typer.Option(
            "--zone",
            metavar="GRAMS",
            help="Difference that is too small to care about (0.5 g/day).",
        ),
    ] = None,
    equal_means: Annotated[
        bool,
        typer.Option(
            "--equal-means",
            help="First give each policy the other handling that suits it best, with the same "
            "bins, beetles and minutes; takes some minutes (extra search: Optuna).",
        ),
    ] = False,
    full: Annotated[
        bool, typer.Option("--full", help="Print the tables of every measure as well.")
    ] = False,
) -> Path:
    """Compare the policies of an experiment in the same possible colonies, with the same seeds."""
    with ExitStack() as opened:
        with getting_ready():
            executor = opened.enter_context(workers_ahead(file, workers))
            from colony_sim.commands.compare import run_compare

        return run_compare(
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
            one_world=one_world,
            worlds=worlds,
            error=error,
            zone=zone,
            equal_means=equal_means,
            full=full,
            executor=executor,
        )


@app.command("run", rich_help_panel=COMPARE)
@answers()
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
        typer.Option("--draw", help="Number of a draw of the profile; default: the central one."),
    ] = None,
) -> Path:
    """Simulate one policy once and write its daily series and bin log."""
    with getting_ready():
        from colony_sim.commands.run import run_single

    return run_single(
        file, policy=policy, seed=seed, days=days, out=out, profile=profile, draw=draw
    )


@app.command(rich_help_panel=STUDY)
@answers("dry_run")
def sweep(
    file: File,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=SPEC",
            help="A key and its values: KEY=1,2,3 or KEY=LOW:HIGH:STEP, or, with --design lhs or "
            "sobol, KEY=LOW:HIGH. May be given several times. Default: \\[sweep] of the file.",
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
        int | None,
        typer.Option("--replicates", help="Worlds, or runs, of each policy at each point."),
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
    one_world: OneWorld = False,
) -> Path | None:
    """Run every policy at many values of one or more keys, over paired seeds."""
    with getting_ready():
        from colony_sim.commands.sweep import run_sweep_command

    return run_sweep_command(
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
        one_world=one_world,
    )


@app.command(rich_help_panel=COMPARE)
def repeat(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
    workers: Workers = None,
) -> None:
    """Run a comparison again from its manifest and confirm that every table is identical."""
    with getting_ready():
        from colony_sim.commands.repeat import run_repeat

    run_repeat(folder, workers=workers)
