"""The command line: ``colony-sim``."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Any

import typer

from colony_sim.commands import asking
from colony_sim.commands.ending import Ending, as_options
from colony_sim.commands.menu.app import app
from colony_sim.errors import InputError

for _group in ("runs", "studies", "shown", "own_bins"):
    import_module(f"colony_sim.commands.menu.{_group}")  # Their order is that of the help.


def run() -> None:
    """Entry point: exit code 0 done, 1 failed, 2 bad input, 130 stopped with Ctrl-C."""
    usage_error: Any = typer.BadParameter.__base__  # Typer has no name of its own for it.
    try:
        if len(sys.argv) == 1 and asking.at_a_terminal():
            sys.argv += asking.ask()
        code = app(standalone_mode=False) or 0
        if code == 130:  # Typer turns Ctrl-C into this; the commands raise Ending.
            _tell("Stopped.")
    except Ending as ending:
        code = _tell(str(ending), ending.code)
    except InputError as error:
        code = _tell(as_options(error), 2)
    except usage_error as error:
        code = _tell(error.format_message(), 2)
    except (KeyboardInterrupt, EOFError, typer.Abort):
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
