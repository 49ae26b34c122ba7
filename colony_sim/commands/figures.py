"""``colony-sim figures``: the slides of a talk, with notes and data."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import console
from colony_sim.commands.study import begin_to_live_again, reads_folder
from colony_sim.results.folder import steadily
from colony_sim.running.protocol import Executor
from colony_sim.talk import present as show
from colony_sim.talk.write import NOTES, PAGE, PDF, POWERPOINT, check_talk, write_talk


@reads_folder
def run_figures(
    folder: Path,
    *,
    executor: Executor,
    out: Path | None,
    alone: bool,
    seed: int | None,
    present: bool = False,
    pptx: bool = False,
) -> None:
    """Write the slides, tell what was written, and open them if that is asked for."""
    try:
        check_talk(folder, out, seed=seed, pptx=pptx)
        begin_to_live_again(folder, executor, seed)
        write = partial(write_talk, folder, out, beside=not alone, seed=seed, pptx=pptx)
        write = partial(write, command=command_line(), tell=_tell, executor=executor)
        talk = steadily(folder, write)
    except KeyboardInterrupt:
        raise Ending("Stopped. Nothing was written.", STOPPED) from None
    to = console()

    def say(text: str) -> None:
        to.print(text, highlight=False, markup=False, soft_wrap=True)

    whole = [PDF, PAGE, *([POWERPOINT] if pptx else []), *talk.sheets]
    files = f"PNG, SVG and CSV of each, {', '.join(whole)}, and {NOTES} with what to say"
    say(f"{len(talk.slides)} slides are ready in {talk.folder}: {files}.")
    for stem, slide in talk.slides:
        say(f"{stem}: {slide.title}")
    for place, why in talk.left_out:
        say(f"Left out: {place} ({why})")
    if present:
        page = talk.folder / PAGE
        if show.present(page):
            say(f"Opened in the browser: {page} (arrow keys; N for the notes, F for full screen)")
        else:
            say(f"No browser to be seen from here; the talk to open: {page}")


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
