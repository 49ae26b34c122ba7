"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def shipped_too(given: Path | None) -> Path | None:
    """A file as given, or one that comes with the program by its name."""
    from colony_sim.experiment.shipped import find

    return None if given is None else find(given)


def shipped_log_too(given: Path | None) -> Path | None:
    """As `shipped_too`, for a keeper's log."""
    from colony_sim.experiment.shipped import LOG, find

    return None if given is None else find(given, LOG)


File = Annotated[
    Path,
    typer.Argument(
        metavar="FILE",
        help="Experiment file (TOML), or the name of one that comes with the program (see copy).",
        callback=shipped_too,
    ),
]
Units = Annotated[
    str | None,
    typer.Option("--units", metavar="WORD", help="metric, or us: °F, inches, pounds, cups."),
]
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
        help="Biology of one colony, from colony-sim fit, or published for the worlds that the "
        "literature allows: one draw for each replicate.",
    ),
]
OneWorld = Annotated[
    bool,
    typer.Option(
        "--one-world",
        help="Take the default values alone, not the worlds that the literature allows: what is "
        "left is chance.",
    ),
]
LogExperiment = Annotated[
    Path | None,
    typer.Option(
        "--experiment",
        metavar="FILE",
        help="Experiment file with the room, bins and rules.",
        callback=shipped_too,
    ),
]
LogPolicy = Annotated[
    str | None, typer.Option("--policy", help="Its policy; default: the baseline.")
]
