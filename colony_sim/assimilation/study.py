"""The state of a rack today as a kind of study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.assimilation import page, words
from colony_sim.assimilation.asked import Asked
from colony_sim.assimilation.onward import Course
from colony_sim.assimilation.tables import TABLES, frames
from colony_sim.assimilation.today import KINDS, MEMBERS, First, State, assimilate
from colony_sim.assimilation.told import Floor, Told, tell
from colony_sim.experiment.plan import Plan
from colony_sim.logs.log_rows import Layout
from colony_sim.logs.logbook import read_log_text
from colony_sim.running.runner import Progress
from colony_sim.studies.study import Said, Study

KIND = "today"
QUESTION = "What is in each bin today, what is to be done, and what comes?"


@dataclass(frozen=True)
class Found:
    """A question about a rack with its answer."""

    asked: Asked
    state: State
    told: Told


def run(
    plan: Plan,
    folder: Path,
    *,
    asked: Asked,
    members: int = MEMBERS,
    anew: bool = False,
    floor: Floor | None = None,
    what_if: Course | None = None,
    workers: int = 1,
    on_first: Callable[[First], object] = lambda first: None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Found:
    """As `today.assimilate`, with what is told of it."""
    state = assimilate(
        asked.ensemble, members, folder, anew=anew, what_if=what_if, workers=workers,
        on_first=on_first, on_progress=on_progress,
    )  # fmt: skip
    return Found(asked, state, tell(asked, state, floor))


def facts(found: Found) -> dict[str, Any]:
    """Settings and single numbers, for the manifest."""
    told, asked = found.told, found.asked
    state, misfit = found.state, found.told.misfit
    return {
        "log": asked.logbook.path.name,
        "log_sha256": asked.logbook.digest,
        "rows": asked.rows,
        "on": asked.on.isoformat(),
        "bins": [bin_.name for bin_ in told.bins],
        "notes": list(asked.notes),
        "worlds": asked.ensemble.worlds.name,
        "members": told.members,
        "near": told.near,
        "effective": round(told.effective, 2),
        "resumed": told.resumed,
        "known": dict(told.known),
        "quantities": sorted(KINDS),
        "misfit": None if misfit is None else {
            "p": misfit.p, "p_total": misfit.p_total, "p_bin": misfit.p_use,
            "bins": [{"bin": use.bin, "since": use.since.isoformat(),
                      "until": use.until.isoformat()} for use in misfit.strange],
        },
        "take": {
            "fraction": told.take.fraction, "probability": told.take.probability,
            "by_the_rule": told.take.rule, "breeders": told.take.floor.beetles,
            "breeders_why": told.take.floor.why,
        },
        "what_if": None if told.what_if is None else {
            "move_in_days": told.what_if.course.move_on, "rules": dict(told.what_if.course.rules),
            "grams": asdict(told.what_if.grams), "hatched": asdict(told.what_if.hatched),
            "beetles": asdict(told.what_if.beetles),
        },
        "buy": {
            "probability": told.buy.probability, "already": told.buy.already,
            "beetles": told.buy.beetles,
            "on": None if told.buy.on is None else told.buy.on.isoformat(),
        },
        "look": None if told.look is None else asdict(told.look) | {"gain": told.look.gain},
        "other_courses": 0 if state.otherwise is None else len(state.otherwise.weights),
    }  # fmt: skip


def design(found: Found) -> str:
    """How the state was told."""
    told = found.told
    return (
        f"{told.members} possible colonies, joint draws of the biology and of what a keeper's "
        "hands lose and miss, lived the log day by day and went on by the handling rules. What "
        "is in each bin, and what comes, was told from the numbers each would have written by "
        "data-space inversion (Sun and Durlofsky 2017) with a local regression adjustment "
        f"(Beaumont, Zhang and Balding 2002) among the {told.near} nearest; intervals are those of "
        "the jackknife+ (Barber, Candes, Ramdas and Tibshirani 2021)."
    )


def findings(folder: Path, data: dict[str, Any]) -> dict[str, pd.DataFrame]:
    """The tables by name."""
    return {name: pd.read_parquet(folder / f"{name}.parquet") for name in TABLES}


def say(found: Found, plan: Plan) -> Said:
    """Whether to move the beetles, and all that is told."""
    return Said(words.headline(found.told), words.in_full(found.told))


def draw(found: Found, folder: Path) -> None:
    """Write the page."""
    layout = Layout.of(read_log_text(found.asked.logbook.path))
    page.write(found.told, layout, folder / page.FILE)


STUDY = Study(
    kind=KIND,
    tables=TABLES,
    figures=(),
    run=run,
    findings=findings,
    say=say,
    frames=lambda found: frames(found.asked, found.state, found.told),
    facts=facts,
    design=design,
)
FILES = STUDY.files | {page.FILE}
"""All files it may write."""
