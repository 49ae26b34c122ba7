"""What the commands of many runs share: progress, endings, words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from colony_sim.commands.ending import Ending
from colony_sim.commands.show import console, progress_bar
from colony_sim.extras import MissingExtra, require
from colony_sim.running.runner import Interrupted, Progress
from colony_sim.studies.points import PointsFailed
from colony_sim.studies.study import StudyResult


def needed(module: str, package: str, extra: str) -> None:
    """End in one line if a package of an extra is missing, before any folder is touched."""
    try:
        require(module, package, extra)
    except MissingExtra as error:
        raise Ending(str(error), 2) from None


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
            f"Stopped.{count} kept in {folder}; the same command goes on from there.", 130
        ) from None
    except PointsFailed as error:
        raise Ending(f"{error}; finished runs are kept in {folder}", 1) from None
    except MissingExtra as error:
        raise Ending(str(error), 2) from None


def tell(result: StudyResult) -> Path:
    """Print what was found and where it is; returns where."""
    to = console()
    if result.headline:
        to.print(f"{result.headline}.", style="bold", highlight=False, markup=False)
    to.print(result.text, highlight=False, markup=False)
    to.print(f"Results: {result.folder}", highlight=False, markup=False, soft_wrap=True)
    return result.folder


def split(text: str | None) -> list[str] | None:
    """Names separated by commas."""
    if text is None:
        return None
    return [part.strip() for part in text.split(",") if part.strip()]
