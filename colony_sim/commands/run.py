"""``colony-sim run``: one policy, once, with everything that happened in every bin."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import HOW, console, show_page
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import named, single
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import profile_of
from colony_sim.results.folder import folder_of
from colony_sim.studies.single.study import in_words
from colony_sim.studies.single.study import run_single as single_run


def run_single(
    file: Path,
    *,
    policy: str | None,
    seed: int | None,
    days: int | None,
    out: Path | None,
    profile: Path | None = None,
    draw: int | None = None,
) -> Path:
    """Simulate one policy of an experiment file once, write and sum up what happened."""
    experiment, fitted = load(file), profile_of(profile)
    run = single(experiment, policy=policy, seed=seed, days=days, profile=fitted, draw=draw)
    name = f"{named(experiment.name, fitted)}-run-{_slug(run.policy)}"
    folder = folder_of(name, out)
    try:
        record = single_run(run, folder, name, profile=fitted, draw=draw, command=command_line())
    except KeyboardInterrupt:
        raise Ending("Stopped. The run was not finished; nothing was kept.", STOPPED) from None
    with using(run.house):
        first, *more = in_words(run, record)
    more.append("One run is the luck of one colony; how sure a rule is better, compare tells.")
    if fitted is not None:
        draws = f"draw {draw}" if draw else "central draw"
        more.append(f"Biology: {draws} of profile “{fitted.name}”.")
    more += run.scenario.climate.notes
    how = f"{HOW}: the manifest and the tables of the results (seed {run.scenario.seed})."
    show_page(console(), [first], more, [how, f"Results: {folder}"])
    return folder


def _slug(name: str) -> str:
    """A part of a folder's name; names whose letters it cannot have stay apart by a number."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "policy"
    lost = any(letter.isalnum() and not letter.isascii() for letter in name)
    return f"{slug}-{hashlib.sha256(name.encode()).hexdigest()[:6]}" if lost else slug
