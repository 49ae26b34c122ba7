"""Commands that ask what a result depends on, and what would be best."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from colony_sim.commands.answering import answers
from colony_sim.commands.early import getting_ready
from colony_sim.commands.menu.app import STUDY, app
from colony_sim.commands.menu.options import (
    File,
    Measure,
    OneWorld,
    ProfileFile,
    Used,
    WarmUp,
    Workers,
)


@app.command(rich_help_panel=STUDY)
@answers()
def breakeven(
    file: File,
    x: Annotated[
        str, typer.Option("--x", metavar="KEY=SPEC", help="Key across: KEY=1,2,3 or LOW:HIGH:STEP.")
    ],
    y: Annotated[str, typer.Option("--y", metavar="KEY=SPEC", help="Key upwards, likewise.")],
    policies: Annotated[
        str | None, typer.Option("--policies", help="Two policies, FIRST,SECOND.")
    ] = None,
    replicates: Annotated[
        int | None,
        typer.Option(
            "--replicates", help="Worlds of each cell (default 32); with --one-world seeds (5)."
        ),
    ] = None,
    measure: Measure = None,
    warm_up: WarmUp = None,
    used: Used = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the study.")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-breakeven.")
    ] = None,
    profile: ProfileFile = None,
    one_world: OneWorld = False,
) -> Path:
    """Map where the ranking of two policies flips, over two keys."""
    with getting_ready():
        from colony_sim.commands.breakeven import run_break_even

    return run_break_even(
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
        one_world=one_world,
    )


@app.command(rich_help_panel=STUDY)
@answers()
def sensitivity(
    file: File,
    method: Annotated[
        str | None,
        typer.Option(
            "--method",
            help="sobol (shares of the variance; default over worlds), morris (moves of one value; "
            "default over ranges) or oneway. Over ranges the first two need SALib.",
        ),
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(
            "--over",
            help="worlds (sets of values that go together) or ranges (each value through its "
            "plausible range; for oneway and --one-world the default).",
        ),
    ] = None,
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
        typer.Option(
            "--size",
            help="Worlds (sobol 128, morris 10); over ranges trajectories (10) or sample (64).",
        ),
    ] = None,
    replicates: Annotated[
        int | None,
        typer.Option("--replicates", help="Seeds of each point; default: 2, oneway 6, shares 1."),
    ] = None,
    warm_up: WarmUp = None,
    used: Used = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the study.")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/NAME-METHOD.")
    ] = None,
    profile: ProfileFile = None,
    one_world: OneWorld = False,
) -> Path:
    """Find the unknowns that would change the result, and what to measure to settle it."""
    with getting_ready():
        from colony_sim.commands.sensitivity import run_sensitivity

    return run_sensitivity(
        file,
        method=method,
        over=over,
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
        one_world=one_world,
    )


@app.command(rich_help_panel=STUDY)
@answers()
def search(
    file: File,
    keys: Annotated[
        str | None,
        typer.Option(
            "--keys",
            metavar="KEY,KEY",
            help="Handling keys: KEY, KEY=LOW:HIGH or KEY=A,B. Default: moves, surplus, clearing, "
            "harvest and the rules that look before they act.",
        ),
    ] = None,
    bins: Annotated[int | None, typer.Option("--bins", help="Bins in the rack.")] = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes-per-week", help="Work at most (minutes a week).")
    ] = None,
    bran: Annotated[
        float | None, typer.Option("--bran-per-week", help="Bran at most (kg a week).")
    ] = None,
    grams: Annotated[
        float | None, typer.Option("--grams-per-day", help="Larvae wanted (g/day), for the birds.")
    ] = None,
    breeders: Annotated[
        int | None, typer.Option("--breeders", help="Beetles to start with.")
    ] = None,
    sure: Annotated[
        float,
        typer.Option("--sure", help="Share of runs in which minutes, bran and grams must be kept."),
    ] = 0.8,
    persist: Annotated[
        float,
        typer.Option("--persist", help="Share of runs in which the colony must not fade."),
    ] = 0.8,
    best_against_best: Annotated[
        bool,
        typer.Option(
            "--best-against-best",
            help="Give each policy of the file the other handling that suits it best under the "
            "same means, and compare these bests.",
        ),
    ] = False,
    candidates: Annotated[
        int | None,
        typer.Option(
            "--candidates", help="Candidates to try (48; 24 a policy, best against best)."
        ),
    ] = None,
    replicates: Annotated[
        int | None, typer.Option("--replicates", help="Worlds each is tried in (8; 6).")
    ] = None,
    fresh: Annotated[
        int | None,
        typer.Option("--fresh-seeds", help="Fresh worlds that the best are judged in (32; 48)."),
    ] = None,
    zone: Annotated[
        float | None,
        typer.Option(
            "--zone", help="With --best-against-best: gains that do not matter (0.5 g/day)."
        ),
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
    one_world: OneWorld = False,
) -> Path:
    """Search for the best handling under limits of room, time, bran and founders."""
    with getting_ready():
        from colony_sim.commands.search import run_search
        from colony_sim.studies.search.limits import Limits

    return run_search(
        file,
        keys=keys,
        limits=Limits(bins, minutes, breeders, persist, bran, grams, sure),
        policy=policy,
        best_against_best=best_against_best,
        candidates=candidates,
        replicates=replicates,
        fresh=fresh,
        zone=zone,
        warm_up=warm_up,
        used=used,
        seed=seed,
        workers=workers,
        out=out,
        profile=profile,
        one_world=one_world,
    )


@app.command(rich_help_panel=STUDY)
@answers()
def evidence(
    values: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="KEY=VALUE",
            help="Run with another value of the biology. May be given several times.",
        ),
    ] = None,
    teeth: Annotated[
        bool,
        typer.Option(
            "--teeth",
            help="Move every value of the biology alone to both ends of its range and list the "
            "published numbers that change (some 15 minutes).",
        ),
    ] = False,
    keys: Annotated[
        str | None, typer.Option("--keys", metavar="KEY,KEY", help="With --teeth: only these.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", help="Seed of the runs (1).")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/evidence.")
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="Print a line for every number.")] = False,
) -> Path:
    """Live the published experiments and count the numbers that come out."""
    with getting_ready():
        from colony_sim.commands.evidence import run_evidence
        from colony_sim.commands.study import split

    return run_evidence(
        values=values or [],
        seed=seed,
        workers=workers,
        out=out,
        bite=teeth,
        keys=split(keys),
        full=full,
    )


@app.command(rich_help_panel=STUDY)
@answers()
def worlds(
    remake: Annotated[
        bool,
        typer.Option("--remake", help="Make them again from the published experiments (an hour)."),
    ] = False,
    ship: Annotated[
        bool, typer.Option("--ship", help="With --remake: put them into this package.")
    ] = False,
    seed: Annotated[int | None, typer.Option("--seed", help="With --remake: seed (1).")] = None,
    workers: Workers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Results folder; default: results/worlds.")
    ] = None,
) -> Path:
    """Show which sets of values and structures the published experiments allow."""
    with getting_ready():
        from colony_sim.commands.worlds import show_worlds

    return show_worlds(anew=remake, into_package=ship, seed=seed, workers=workers, out=out)
