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
) -> None:
    """Simulate one policy once and write its daily series and bin log."""
    from colony_sim.commands.run import run_single

    run_single(file, policy=policy, seed=seed, days=days, out=out)


@app.command()
def repeat(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Results folder.")],
    workers: Workers = None,
) -> None:
    """Run a comparison again from its manifest and confirm that every table is identical."""
    from colony_sim.commands.repeat import run_repeat

    run_repeat(folder, workers=workers)


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
