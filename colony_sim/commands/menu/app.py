"""The program that the commands belong to."""

from __future__ import annotations

from typing import Annotated

import typer

from colony_sim import __version__

app = typer.Typer(
    name="colony-sim",
    help="A mealworm colony in bins, one insect at a time: which way of handling does better? "
    "Alone, at a terminal, it asks three questions and starts the right command.",
    add_completion=False,
    pretty_exceptions_enable=False,
)

COMPARE, STUDY = (
    "Which handling is better?",
    "What does the answer hang on, and what would be best?",
)
SHOW, OWN = "How do I show it?", "What of my own rack, year and notes?"
"""Headings of the list of commands. Help texts need a backslash before a square bracket."""


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
