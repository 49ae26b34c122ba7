"""Best against best as a kind of study."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.over_worlds import over_worlds
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.profile_words import temperatures
from colony_sim.studies.search.best import Best, best_against_best
from colony_sim.studies.search.best_words import headline, in_words
from colony_sim.studies.search.limits import Limits
from colony_sim.studies.study import Said, Study


def facts(result: Best) -> dict[str, Any]:
    """Settings, for the manifest."""
    return {
        "policies": list(result.policies), "limits": asdict(result.limits),
        "given_minutes": result.given_minutes, "warm_up_days": result.span.warm_up,
        "days": result.span.days, "candidates_each": result.candidates_each,
        "search_seeds": result.search_seeds, "fresh_seeds": result.fresh, "zone": result.over.zone,
    }  # fmt: skip


def findings(folder: Path, data: dict[str, Any]) -> Best:
    """What was found, read back from its folder."""
    study = data["study"]
    tables = {name: pd.read_parquet(folder / f"{name}.parquet")
              for name in ("handling", "candidates", "judged", "runs")}  # fmt: skip
    names = tuple(study["policies"])
    return Best(
        names, Limits(**study["limits"]), study["given_minutes"],
        Window(study["warm_up_days"], study["days"]), study["candidates_each"],
        study["search_seeds"], study["fresh_seeds"],
        over_worlds(tables["runs"], names, (names[1], names[0]), study["zone"]), **tables,
    )  # fmt: skip


def design(result: Best) -> str:
    """How the best of each was found, and how they were compared."""
    return (
        "For each policy the handling in which the policies do not differ was searched under the "
        f"same means: {result.candidates_each} candidates proposed by a tree-structured Parzen "
        f"estimator were run in {result.search_seeds} worlds, the best quarter in twice as many "
        "more, and the best mean was taken. The bests were then compared in "
        f"{result.fresh} worlds and with seeds that no selection had seen, in runs of "
        f"{result.span.days} days of which the last {result.span.used} were measured."
    )


def say(result: Best, plan: Plan) -> Said:
    """What was found and what it rests on."""
    profile = None if plan.profile is None else plan.profile.name
    return Said(headline(result), "\n".join([*in_words(result, profile), *temperatures(plan)]))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of the gains, from its folder."""
    from colony_sim.studies.search.best_draw import slide

    data, result = STUDY.read(folder)
    return [slide(result, Origin.of(data))]


STUDY = Study(
    kind="best against best",
    tables=("over_worlds", "handling", "judged", "candidates", "gains", "runs"),
    figures=("best",),
    run=best_against_best,
    findings=findings,
    say=say,
    slides=slides,
    frames=lambda result: {
        "over_worlds": result.over.table,
        "handling": result.handling,
        "judged": result.judged,
        "candidates": result.candidates.astype({"chosen": bool}),
        "gains": result.over.gains,
        "runs": result.runs,
    },  # fmt: skip
    facts=facts,
    design=design,
    question="Which is better once each has the handling that suits it best?",
    beside=True,
)
