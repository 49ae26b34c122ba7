"""A talk from a results folder: pictures, PDF, a page to present, handout, poster, data, notes."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from matplotlib.backends.backend_pdf import PdfPages

from colony_sim.atomic import new_file, put_text, whole_folder
from colony_sim.errors import InputError
from colony_sim.experiment.units import using
from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.running.beside import handed_over
from colony_sim.running.protocol import Executor
from colony_sim.studies.comparison.seven import case
from colony_sim.talk import powerpoint, present, sheet
from colony_sim.talk.deck import Deck, check_seed, gather
from colony_sim.talk.notes import notes
from colony_sim.words.cells import as_csv

FOLDER, NOTES, PDF = "slides", "talk.md", "talk.pdf"
PAGE, POWERPOINT = "talk.html", "talk.pptx"
_OURS = re.compile(
    r"\d\d+-[\w-]+\.(png|svg|csv)|talk\.(md|pdf|html|pptx)|" + "|".join(map(re.escape, sheet.SIZES))
)


@dataclass(frozen=True)
class Talk:
    """What was written.

    Attributes
    ----------
    folder : Path
    slides : list of tuple of str and Slide
        Stem of the files of each slide, and the slide.
    left_out : list of tuple of Path and str
        Folders beside it that could not be drawn, and why.
    sheets : tuple of str
        Names of handouts and poster.
    """

    folder: Path
    slides: list[tuple[str, Slide]]
    left_out: list[tuple[Path, str]]
    sheets: tuple[str, ...] = ()


def write_talk(
    folder: Path,
    out: Path | None = None,
    *,
    beside: bool = True,
    seed: int | None = None,
    pptx: bool = False,
    command: str = "",
    tell: Callable[[str], None] = lambda text: None,
    executor: Executor | None = None,
) -> Talk:
    """Write pictures, PDF, data and notes of all slides of a results folder.

    Parameters
    ----------
    folder : Path
        Results folder.
    out : Path, optional
        Folder to write; default: ``slides`` in the results folder. An earlier talk in it is
        replaced at the end, all at once.
    beside : bool
        For a comparison: also the slides of studies of the same experiment beside it.
    seed : int, optional
        Seed of the run whose bins are shown.
    pptx : bool
        Also as PowerPoint.
    command : str
        Command line, for the notes.
    tell : callable
        Told what is being done.
    executor : Executor, optional
        Draws handout and poster meanwhile; default: this process.

    Raises
    ------
    InputError
        If the folder cannot be drawn, or `out` cannot be written or holds other files.
    MissingExtra
        If a package is missing that PowerPoint needs.
    """
    folder = Path(folder)
    out, facts = check_talk(folder, out, seed=seed, pptx=pptx)
    tell(f"Gathering the slides of {folder}")
    house = manifest.house_of(facts)
    with using(house):
        found = gather(folder, beside, seed)
    with ExitStack() as stack:
        stack.enter_context(using(house))
        try:
            staged = stack.enter_context(whole_folder(out))
        except OSError as error:
            reason = error.strerror or type(error).__name__
            raise InputError(str(out), "folder", reason, "a folder that can be written") from None
        stack.push(partial(_stop, executor))
        sheets: Callable[[], tuple[str, ...]] = tuple
        if facts.get("kind") == "comparison":
            tell("Drawing handout and poster")
            work = partial(sheet.write_in, house, case.read(folder, seed), staged)
            sheets = handed_over(work, executor)
        named = _draw(found, staged, tell)
        text = notes(folder, found, [stem for stem, _ in named], command)
        put_text(staged / NOTES, text)
        title = str(facts["experiment"].get("question") or facts["experiment"]["name"])
        present.write(staged / PAGE, title, named)
        if pptx:
            tell("Writing the slides as PowerPoint")
            powerpoint.write(staged / POWERPOINT, title, named)
        written = sheets()
    return Talk(out, named, found.left_out, written)


def check_talk(
    folder: Path, out: Path | None, *, seed: int | None, pptx: bool
) -> tuple[Path, dict[str, Any]]:
    """The folder that a talk goes to and the manifest; raises what `write_talk` does of these."""
    if pptx:
        powerpoint.library()
    out = folder / FOLDER if out is None else Path(out)
    facts = manifest.read(folder, ())
    check_seed(facts, seed)
    if out.name in ("", ".."):
        raise InputError(str(out), "folder", "has no name", "a new folder or one with a talk")
    _refuse_foreign(out)
    return out, facts


def _draw(found: Deck, staged: Path, tell: Callable[[str], None]) -> list[tuple[str, Slide]]:
    """Write the files of each slide and the PDF of all."""
    named = []
    # Without a date, the same slides give the same bytes.
    about = {"CreationDate": None, "Creator": "colony_sim", "Producer": None}
    with style.theme(), new_file(staged / PDF) as file, PdfPages(file, metadata=about) as pages:
        for number, slide in enumerate(found.slides, start=1):
            tell(f"Drawing slide {number} of {len(found.slides)}: {slide.name}")
            stem = f"{number:02d}-{slide.name}"
            figure = slide.paint()
            style.save(figure, staged, stem)
            pages.savefig(figure)
            put_text(staged / f"{stem}.csv", as_csv(slide.data))
            named.append((stem, slide))
    return named


def _stop(executor: Executor | None, error: object, *_: object) -> None:
    """End what writes beside this process, before what it writes is removed."""
    if executor is not None and error is not None:
        executor.stop(())


def _refuse_foreign(out: Path) -> None:
    """Never replace what this program did not write."""
    if out.exists() and not out.is_dir():
        raise InputError(str(out), "folder", "is a file", "a new folder or one with a talk")
    foreign = [p.name for p in sorted(out.glob("*")) if not _OURS.fullmatch(p.name)]
    if foreign:
        raise InputError(
            str(out), "folder", f"holds {foreign[0]}", "a new folder or one with a talk alone"
        )
