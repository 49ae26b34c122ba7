"""The command line: ``colony-sim``."""

from __future__ import annotations

import sys
from contextlib import suppress
from importlib import import_module
from typing import Any

import typer

from colony_sim.commands import asking, output
from colony_sim.commands.ending import (
    DONE,
    FAILED,
    REFUSED,
    STOPPED,
    Ending,
    as_options,
    of_the_system,
    one_line,
)
from colony_sim.commands.menu.app import app
from colony_sim.errors import InputError
from colony_sim.extras import MissingExtra
from colony_sim.lazy import put_off

for _group in ("runs", "studies", "shown", "own_bins"):
    import_module(f"colony_sim.commands.menu.{_group}")  # Their order is that of the help.


def run() -> None:
    """Entry point; the exit codes are those of `ending`."""
    usage_error: Any = typer.BadParameter.__base__  # Typer has no name of its own for it.
    output.forgive()
    try:
        if len(sys.argv) == 1 and asking.at_a_terminal():
            try:
                sys.argv += asking.ask()
            except EOFError:
                raise KeyboardInterrupt from None
        _refuse_no_text(sys.argv)
        if "--help" in sys.argv:
            with put_off("rich.markdown", "rich.traceback"):
                import_module("typer.rich_utils")
        code = app(standalone_mode=False) or DONE
        if code == STOPPED:  # Typer turns Ctrl-C into this; the commands raise Ending.
            _tell("Stopped.")
        sys.stdout.flush()
    except Ending as ending:
        code = _tell(str(ending), ending.code)
    except InputError as error:
        code = _tell(as_options(error), REFUSED)
    except MissingExtra as error:
        code = _tell(str(error), REFUSED)
    except usage_error as error:
        code = _tell(error.format_message(), REFUSED)
    except (KeyboardInterrupt, typer.Abort):
        code = _tell("Stopped.", STOPPED)
    except BrokenPipeError:
        # The reader of a pipe has gone; what is left to print goes nowhere, without an error.
        output.discard()
        code = FAILED
    except OSError as error:
        if error.filename is None:  # It may be that of the output itself.
            output.discard()
        code = _tell(*of_the_system(error))
    except MemoryError:
        code = _tell("Memory ran out; fewer runs, bins or days need less.", FAILED)
    sys.exit(code)


def _refuse_no_text(words: list[str]) -> None:
    """`InputError` for a word that is no text: it could not be kept with the results."""
    for word in words:
        try:
            word.encode()
        except UnicodeEncodeError:
            raise InputError("command line", "word", word, "text in UTF-8") from None


def _tell(line: str, code: int = DONE) -> int:
    with suppress(OSError):  # The code tells as well.
        typer.echo(f"colony-sim: {one_line(line)}", err=True)
    return code
