"""Speaker notes of a talk, in Markdown: one finding a slide, what to say, and its caveat."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.talk.deck import Deck
from colony_sim.worklist import cautions


def notes(folder: Path, found: Deck, stems: Sequence[str], command: str) -> str:
    """The notes of all slides.

    Parameters
    ----------
    folder : Path
        Results folder the talk was asked for.
    found : Deck
    stems : sequence of str
        Stem of the files of each slide.
    command : str
        Command line that made the talk.
    """
    facts = {place: manifest.read(place, ()) for place in dict.fromkeys([folder, *found.folders])}
    head = facts[folder]["experiment"]
    parts = [f"# {_plain(str(head['name']))}: speaker notes"]
    question = str(head.get("question", "")).strip()
    if question:
        parts.append(f"The question: {_plain(question)}")
    parts.append(_provenance(facts, folder))
    parts.append(
        "One slide, one idea. `talk.html` shows the slides full screen in any browser, without a "
        "network (arrow keys, a click or a touch; N opens these notes in a second window). The "
        "pictures are beside this file as PNG and SVG, all slides in `talk.pdf`, the numbers "
        "behind each picture as CSV. This folder is written anew each time: copy it before you "
        "change anything in it."
    )
    for number, (slide, place, stem) in enumerate(
        zip(found.slides, found.folders, stems, strict=True), start=1
    ):
        if number > 1 and not slide.talk and found.slides[number - 2].talk:
            parts.append("# More, if somebody asks")
        parts.append(_slide(number, slide, place, stem, facts[place]))
    parts.append(_cautions())
    parts.append(_how(found, facts, command))
    return "\n\n".join(parts) + "\n"


def _slide(number: int, slide: Slide, place: Path, stem: str, facts: dict[str, Any]) -> str:
    rows = f"{len(slide.data)} row{'' if len(slide.data) == 1 else 's'}"
    lines = [
        f"## {number}. {_plain(slide.title)}",
        f"![Slide {number}, described below]({stem}.png)",
        f"**Say:** {_plain(slide.say)}",
        f"**But:** {_plain(slide.caveat)}",
        f"**In the picture:** {_plain(slide.alt)}",
        f"**Runs:** {_plain(slide.runs or runs_of(facts))}. "
        f"**Numbers:** [{stem}.csv]({stem}.csv) ({rows}). "
        f"**From:** `{place}`.",
    ]
    return "\n\n".join(lines)


def runs_of(facts: dict[str, Any]) -> str:
    """The number of runs a manifest tells of, in words."""
    study, head = facts.get("study", {}), facts.get("experiment", {})
    if study.get("members"):
        return f"{study['members']} possible colonies"
    seeds = study.get("seeds") or head.get("seeds") or []
    count = study.get("replicates") or len(seeds) or head.get("replicates")
    if not count:
        return "number not stored"
    return f"{count} seed{'' if count == 1 else 's'}"


def _provenance(facts: dict[Path, dict[str, Any]], folder: Path) -> str:
    text = "These are statements about a model under its assumptions, not about a real colony."
    if manifest.is_invented(facts[folder]):
        text += " The scenario is invented: it is not data of a real colony."
    return f"**{text}**"


def _cautions() -> str:
    lines = ["## Cautions", "Say these too, if the talk leads to handling insects:"]
    lines += [f"- **{one.name}.** {_plain(one.text)}" for one in cautions.ALL]
    lines.append(cautions.DEFER)
    return "\n\n".join(["\n".join(lines[:1]), lines[1], "\n".join(lines[2:-1]), lines[-1]])


def _how(found: Deck, facts: dict[Path, dict[str, Any]], command: str) -> str:
    lines = ["## How this was made", ""]
    if command:
        lines.append(f"- These slides: `{command}`")
    for place, data in facts.items():
        lines.append(f"- `{place}` ({data['kind']}): {_made(data)}")
    for place, why in found.left_out:
        lines.append(f"- Left out: `{place}`, {_plain(why)}")
    beside = [place for place in facts if place in found.folders][1:]
    if beside:
        text = (
            "Studies were taken in because they lie beside the comparison and are of the same "
            "experiment: same question, policies, climate, founders and biology."
        )
        lines += ["", text]
    return "\n".join(lines)


def _made(data: dict[str, Any]) -> str:
    head, software = data["experiment"], data.get("software", {})
    parts = [f"`{data['command']}`"] if data.get("command") else ["called from Python"]
    parts.append(f"experiment {_plain(str(head['name']))}")
    seed = head.get("seed", data.get("seed"))
    if seed is not None:
        parts.append(f"seed {seed}")
    if head.get("days"):
        parts.append(f"{head['days']} days")
    if software.get("colony_sim"):
        parts.append(f"colony_sim {software['colony_sim']}, Python {software.get('python')}")
    if data.get("commit"):
        parts.append(f"commit {data['commit'][:12]}{'+changes' if '+' in data['commit'] else ''}")
    return "; ".join(parts)


def _plain(text: str) -> str:
    """Text in which nothing is taken for Markdown, on one line."""
    return re.sub(r"([\\`*_\[\]<>#|])", r"\\\1", " ".join(text.split()))
