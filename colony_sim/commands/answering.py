"""The option ``--json``: the answer of a study as data on standard output, and nothing else.

A command that writes a results folder returns it. With ``--json`` its words go to standard error,
where progress is, and ``answer.json`` of the folder is printed (`results.answer` says what is in
it); bad input ends it as ever, with one line on standard error and nothing printed.
"""

from __future__ import annotations

import functools
import inspect
import sys
from collections.abc import Callable
from contextlib import redirect_stdout
from pathlib import Path
from typing import Annotated, Any

import typer

from colony_sim.commands.ending import Ending
from colony_sim.errors import InputError

NAME = "json"
Json = Annotated[
    bool,
    typer.Option(
        f"--{NAME}",
        help="Print the answer as data: one JSON document, nothing else; words go to standard "
        "error.",
    ),
]


def answers(*excluding: str) -> Callable[[Callable[..., Path | None]], Callable[..., None]]:
    """Give a command that returns its results folder the option ``--json``.

    Parameters
    ----------
    *excluding : str
        Arguments of the command with which it writes no results: not together with ``--json``.
    """

    def with_option(command: Callable[..., Path | None]) -> Callable[..., None]:
        @functools.wraps(command)
        def run(**options: Any) -> None:
            if not options.pop(NAME):
                command(**options)
                return
            for name in excluding:
                if options[name]:
                    option = f"--{name.replace('_', '-')}"
                    raise InputError("command line", option, True, f"not together with --{NAME}")
            _print_answer(lambda: command(**options))

        # Typer reads the options of a command from its signature.
        signature = inspect.signature(command, eval_str=True)
        option = inspect.Parameter(
            NAME, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=Json
        )
        parameters = [*signature.parameters.values(), option]
        own: Any = run
        own.__signature__ = signature.replace(parameters=parameters, return_annotation=None)
        own.__annotations__ = {each.name: each.annotation for each in parameters}
        return run

    return with_option


def _print_answer(command: Callable[[], Path | None]) -> None:
    """Run a command with its words on standard error, then print the answer."""
    from colony_sim.results import answer

    unfinished: Ending | None = None
    with redirect_stdout(sys.stderr):
        try:
            folder = command()
        except Ending as ending:
            folder, unfinished = ending.folder, ending
    if folder is not None:
        sys.stdout.write(answer.as_text(answer.read(folder)))
    if unfinished is not None:
        raise unfinished
