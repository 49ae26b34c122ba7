"""The ranking of trials at home as a kind of study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.figures.slide import Slide
from colony_sim.running.runner import Progress
from colony_sim.studies.study import Said, Study
from colony_sim.trial import lived, words
from colony_sim.trial.question import Question
from colony_sim.trial.value import ranked


@dataclass(frozen=True)
class Found:
    """Trials, ranked.

    Attributes
    ----------
    question : Question
    ranking : DataFrame
        See `value.ranked`.
    written : list of float64 array
        What would be written down of each trial of the question (worlds x its numbers).
    """

    question: Question
    ranking: pd.DataFrame
    written: list[np.ndarray]


def run(
    plan: Plan,
    folder: Path,
    *,
    question: Question,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Found:
    """Live all trials in the possible colonies of a question, and rank them."""
    written = lived.live(
        question.trials, question.base, question.worlds, question.numbers.tolist(),
        question.room_c, plan.seed, folder, workers=workers, on_progress=on_progress,
    )  # fmt: skip
    trials = question.trials
    summaries = [trial.summary(rows) for trial, rows in zip(trials, written, strict=True)]
    return Found(question, ranked(trials, summaries, question.gains), written)


def frames(found: Found) -> dict[str, pd.DataFrame]:
    """Tables by name."""
    parts = []
    for trial, rows in zip(found.question.trials, found.written, strict=True):
        for number, column in zip(trial.numbers, rows.T, strict=True):
            parts.append(pd.DataFrame({
                "trial": trial.name, "box": number.box, "what": number.asked,
                "world": found.question.numbers, "number": column,
            }))  # fmt: skip
    gains = pd.DataFrame({"world": found.question.numbers, "gain": found.question.gains})
    return {"ranking": found.ranking, "written": pd.concat(parts, ignore_index=True),
            "gain": gains}  # fmt: skip


def facts(found: Found) -> dict[str, Any]:
    """Settings, for the manifest."""
    question = found.question
    return {
        "comparison": question.plan.name, "policies": list(question.policies),
        "worlds": len(question.gains), "zone": question.zone, "room_c": question.room_c,
    }  # fmt: skip


def findings(folder: Path, data: dict[str, Any]) -> pd.DataFrame:
    """The ranking, read back."""
    return pd.read_parquet(folder / "ranking.parquet")


def say(found: Found, plan: Plan) -> Said:
    """The answer."""
    question, table = found.question, found.ranking
    return Said(
        words.headline(table), words.full(question, table), tuple(words.screen(question, table))
    )


def design(found: Found) -> str:
    """How it was done."""
    return (
        f"Each trial was lived in {len(found.question.gains)} possible colonies by the engine of "
        "the colony and counted with errors. Its worth is the expected value of sample information "
        "for the choice, by regression of the gains on the results."
    )


def plan_of(question: Question) -> Plan:
    """The plan for the manifest."""
    return replace(question.plan, name=f"{question.plan.name}-trial")


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of the ranking."""
    from colony_sim.trial.slides import slides

    return slides(folder)


STUDY = Study(
    kind="trial",
    tables=("ranking", "written", "gain"),
    figures=("ranking",),
    run=run,
    findings=findings,
    say=say,
    slides=slides,
    frames=frames,
    facts=facts,
    design=design,
    question="Which small experiment at home would tell most?",
)
