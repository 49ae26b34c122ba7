"""``colony-sim figures``: the slides of a talk, with notes and data."""

from __future__ import annotations

import sys
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import Ending
from colony_sim.commands.show import console
from colony_sim.extras import MissingExtra
from colony_sim.results import manifest
from colony_sim.running.runner import compile_kernels
from colony_sim.talk.write import NOTES, PDF, write_talk


def run_figures(folder: Path, *, out: Path | None, alone: bool, seed: int | None) -> None:
    """Write the slides and tell what was written."""
    try:
        if manifest.read(folder, ()).get("kind") == "comparison":
            compile_kernels()  # One of its runs is lived again.
        talk = write_talk(
            folder, out, beside=not alone, seed=seed, command=command_line(), tell=_tell
        )
    except MissingExtra as error:
        raise Ending(str(error), 2) from None
    except KeyboardInterrupt:
        raise Ending("Stopped. Nothing was written.", 130) from None
    to = console()

    def say(text: str) -> None:
        to.print(text, highlight=False, markup=False, soft_wrap=True)

    files = f"PNG, SVG and CSV of each, {PDF} and {NOTES} with what to say"
    say(f"{len(talk.slides)} slides are ready in {talk.folder}: {files}.")
    for stem, slide in talk.slides:
        say(f"{stem}: {slide.title}")
    for place, why in talk.left_out:
        say(f"Left out: {place} ({why})")


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
