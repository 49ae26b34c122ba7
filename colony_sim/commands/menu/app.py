"""The program that the commands belong to."""

from __future__ import annotations

from typing import Annotated

import typer

from colony_sim import __version__

app = typer.Typer(
    name="colony-sim",
    help="Individual-based simulator of a mealworm colony: which handling policy does better?",
    add_completion=False,
    pretty_exceptions_enable=False,
)

COMPARE, STUDY = "Compare handling", "Look further"
SHOW, OWN = "Show it", "Your own bins"
"""Headings of the list of commands."""


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
