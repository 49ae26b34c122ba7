"""What the commands of many runs share: progress, endings, words."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from rich.table import Table

from colony_sim.commands.ending import FAILED, STOPPED, Ending
from colony_sim.commands.show import HOW, console, progress_bar, show_page
from colony_sim.results import manifest
from colony_sim.results.manifest import reading
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Interrupted, Progress, compile_kernels
from colony_sim.studies.comparison import relive
from colony_sim.studies.points import PointsFailed
from colony_sim.studies.study import StudyResult

_Options = ParamSpec("_Options")
_Given = TypeVar("_Given")


def reads_folder(
    command: Callable[Concatenate[Path, _Options], _Given],
) -> Callable[Concatenate[Path, _Options], _Given]:
    """A command whose first argument is a results folder, which may be damaged in any way."""

    @functools.wraps(command)
    def run(folder: Path, /, *more: _Options.args, **options: _Options.kwargs) -> _Given:
        with reading(folder):
            return command(folder, *more, **options)

    return run


def begin_to_live_again(folder: Path, executor: Executor, seed: int | None = None) -> None:
    """Compile first, and say so, what a comparison needs, of which one pair of runs is lived again.

    The executor lives one of the pair meanwhile.

    Raises
    ------
    InputError
        If the folder holds no results.
    """
    if manifest.read(folder, ()).get("kind") == "comparison":
        compile_kernels()
        relive.begin(folder, executor, seed)


@contextmanager
def shown(folder: Path, name: str) -> Iterator[Callable[[Progress], None]]:
    """Show progress and turn what can go wrong into one line."""
    with ended_in_one_line(folder), progress_bar(name) as on_progress:
        yield on_progress


@contextmanager
def ended_in_one_line(folder: Path) -> Iterator[None]:
    """Turn what can go wrong in a study of this folder into one line."""
    try:
        yield
    except KeyboardInterrupt as stopped:
        count = f" {stopped}," if isinstance(stopped, Interrupted) else ""
        raise Ending(
            f"Stopped.{count} kept in {folder}; the same command goes on from there.", STOPPED
        ) from None
    except PointsFailed as error:
        raise Ending(f"{error}; finished runs are kept in {folder}", FAILED) from None


def tell(result: StudyResult, full: Table | bool = False, more: bool = False) -> Path:
    """Print what was found and where it is; returns where.

    One screen of it, or all words with `full`, below a table if it is one; `more` offers them.
    """
    headline = f"{result.headline[:1].upper()}{result.headline[1:]}."
    folder = f"Results: {result.folder}"
    if full is False:
        where = "verdict.txt and the tables of the results"
        last = [f"{HOW}: {'--full, or ' * more}{where}.", folder]
        show_page(console(), [headline], result.plain, last)
        return result.folder
    to = console(wide=True)
    to.print(headline, style="bold", highlight=False, markup=False)
    to.print(f"\n{HOW}", style="bold")
    if isinstance(full, Table):
        to.print(full, highlight=False)
    for line in (result.text, folder):
        to.print(line, highlight=False, markup=False, soft_wrap=True)
    return result.folder


def split(text: str | None) -> list[str] | None:
    """Names separated by commas."""
    if text is None:
        return None
    return [part.strip() for part in text.split(",") if part.strip()]
