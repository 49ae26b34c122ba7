"""The slides of a results folder, whatever was studied in it."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.studies.registry import KINDS, studies, study


@dataclass(frozen=True)
class Deck:
    """The slides of a talk and where they come from.

    Attributes
    ----------
    slides : list of Slide
        In the order of the talk; no two have the same name.
    folders : list of Path
        The results folder of each slide.
    left_out : list of tuple of Path and str
        Folders of studies of the same experiment that could not be drawn, and why.
    """

    slides: list[Slide]
    folders: list[Path]
    left_out: list[tuple[Path, str]]


def deck(folder: Path, beside: bool = True) -> list[Slide]:
    """The slides of a results folder.

    Parameters
    ----------
    folder : Path
        Results folder of any kind that can be drawn.
    beside : bool
        For a comparison: also those of studies of the same experiment in the same parent folder.

    Raises
    ------
    InputError
        If the folder holds no results, or results that cannot be drawn.
    """
    return gather(folder, beside).slides


def gather(folder: Path, beside: bool = True, seed: int | None = None) -> Deck:
    """As `deck`, with the folder of each slide; `seed`: of the runs whose bins are shown."""
    folder = Path(folder)
    facts = manifest.read(folder, ())
    options = {} if seed is None else {"seed": seed}
    check_seed(facts, seed)
    found = [(slide, folder) for slide in _slides(folder, facts, **options)]
    left_out = []
    others = studies_beside(folder, facts) if beside and facts.get("kind") == "comparison" else []
    for other in others:
        try:
            found += [(slide, other) for slide in _slides(other, manifest.read(other, ()))]
        except InputError as error:
            left_out.append((other, error.line))
    return Deck(_named([slide for slide, _ in found]), [place for _, place in found], left_out)


def check_seed(facts: dict[str, Any], seed: int | None) -> None:
    """`InputError` for a seed of what shows no single runs."""
    if seed is not None and facts.get("kind") != "comparison":
        raise InputError(ARGUMENT, "seed", seed, "none: only comparisons show single runs")


def studies_beside(folder: Path, facts: dict[str, Any]) -> list[Path]:
    """Folders of studies of the same experiment in the same parent folder, in a fixed order."""
    found = []
    here = Path(os.path.realpath(folder))
    for path in sorted(here.parent.glob(f"*/{MANIFEST}")):
        if path.parent == here:
            continue
        try:
            other = manifest.read(path.parent, KINDS)
        except InputError:
            continue
        # Of what is not shown no study is loaded.
        if _same_experiment(facts, other) and (of := study(other["kind"])) and of.beside:
            found.append((KINDS.index(of.kind), Path(folder).parent / path.parent.name))
    return [path for _, path in sorted(found)]


def _same_experiment(one: dict[str, Any], other: dict[str, Any]) -> bool:
    head, second = one.get("experiment", {}), other.get("experiment", {})
    name = str(head.get("name"))
    if not str(second.get("name")).startswith(f"{name}-"):
        return False
    same = all(head.get(key) == second.get(key) for key in ("question", "breeders", "larvae"))
    same = same and all(one.get(key) == other.get(key) for key in ("climate", "biology", "profile"))
    # A sweep leaves out policies that differ in nothing but the key varied.
    studied = other.get("policies") or []
    return bool(same and studied and all(entry in one.get("policies", ()) for entry in studied))


def _slides(folder: Path, facts: dict[str, Any], **options: Any) -> list[Slide]:
    found = study(facts.get("kind"))
    if found is None or found.slides is None:
        allowed = "the folder of a " + " or ".join(each.kind for each in studies() if each.slides)
        raise InputError(str(folder / MANIFEST), "kind", facts.get("kind"), allowed)
    return found.slides(folder, **options)


def _named(slides: list[Slide]) -> list[Slide]:
    """The slides with names that differ: a second one of a name gets a number."""
    seen: dict[str, int] = {}
    found = []
    for slide in slides:
        seen[slide.name] = seen.get(slide.name, 0) + 1
        count = seen[slide.name]
        found.append(slide if count == 1 else replace(slide, name=f"{slide.name}-{count}"))
    return found
