"""What the commands of many runs share: progress, endings, words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from colony_sim.commands.ending import Ending
from colony_sim.commands.show import progress_bar
from colony_sim.extras import MissingExtra, require
from colony_sim.results.folder import claim
from colony_sim.running.runner import Interrupted, Progress
from colony_sim.studies.points import PointsFailed


def needed(module: str, package: str, extra: str) -> None:
    """End in one line if a package of an extra is missing, before any folder is touched."""
    try:
        require(module, package, extra)
    except MissingExtra as error:
        raise Ending(str(error), 2) from None


@contextmanager
def held(folder: Path, name: str) -> Iterator[Callable[[Progress], None]]:
    """Hold a results folder, show progress and turn what can go wrong into one line."""
    try:
        with claim(folder, name), progress_bar(name) as on_progress:
            yield on_progress
    except KeyboardInterrupt as stopped:
        count = f" {stopped}," if isinstance(stopped, Interrupted) else ""
        raise Ending(
            f"Stopped.{count} kept in {folder}; the same command goes on from there.", 130
        ) from None
    except PointsFailed as error:
        raise Ending(f"{error}; finished runs are kept in {folder}", 1) from None
    except MissingExtra as error:
        raise Ending(str(error), 2) from None


def draw(folder: Path) -> None:
    """Draw the figure of a study into its folder, from its tables and manifest."""
    from colony_sim.studies import slides as study_slides

    study_slides.draw(folder)


def split(text: str | None) -> list[str] | None:
    """Names separated by commas."""
    if text is None:
        return None
    return [part.strip() for part in text.split(",") if part.strip()]
