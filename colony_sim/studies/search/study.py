"""The search for good handling as a kind of study."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.plan import Plan
from colony_sim.figures.slide import Slide
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.profile_words import circumstances, temperatures
from colony_sim.studies.search.limits import Limits
from colony_sim.studies.search.run import Search, search
from colony_sim.studies.search.say import headline, in_words, plain
from colony_sim.studies.study import Said, Study


def options_of(
    best_against_best: bool, policy: str | None, numbers: Mapping[str, Any]
) -> dict[str, Any]:
    """Options of the one study or the other; those that are None are left out.

    Raises
    ------
    InputError
        An option that the other study has.
    """
    options = {name: value for name, value in numbers.items() if value is not None}
    if best_against_best and policy is not None:
        raise InputError(ARGUMENT, "policy", policy, "not together with `best_against_best`")
    if not best_against_best and "zone" in options:
        raise InputError(ARGUMENT, "zone", options["zone"], "only with `best_against_best`")
    return options if best_against_best else {**options, "policy": policy}


def facts(result: Search) -> dict[str, Any]:
    """Settings of a search, for the manifest."""
    return {
        "keys": list(result.keys),
        "limits": asdict(result.limits),
        "candidates": len(result.candidates),
        "search_seeds": result.search_seeds,
        "fresh_seeds": result.fresh_seeds,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
    }


def findings(folder: Path, data: dict[str, Any]) -> Search:
    """A search, read back from its folder."""
    study = data["study"]
    return Search(
        tuple(study["keys"]),
        Limits(**study["limits"]),
        Window(study["warm_up_days"], study["days"]),
        study["search_seeds"],
        study["fresh_seeds"],
        pd.read_parquet(folder / "candidates.parquet"),
        pd.read_parquet(folder / "front.parquet"),
    )


def design(result: Search) -> str:
    """How candidates were tried, and how the best were judged."""
    return (
        f"{len(result.candidates)} candidates for {', '.join(result.keys)} were proposed by a "
        f"tree-structured Parzen estimator and tried in {result.search_seeds} worlds, in runs of "
        f"{result.span.days} days of which the last {result.span.used} were measured; the "
        f"non-dominated ones were run again in {result.fresh_seeds} fresh worlds, from which all "
        "means are given."
    )


def say(result: Search, plan: Plan) -> Said:
    """What the search found and what it rests on."""
    text = "\n".join([in_words(result), *circumstances(plan)])
    return Said(headline(result), text, (*plain(result), *temperatures(plan)))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of a search, from its folder."""
    from colony_sim.studies.search.draw import slide

    data, result = STUDY.read(folder)
    return [slide(result, Origin.of(data))]


STUDY = Study(
    kind="search",
    tables=("front", "candidates"),
    figures=("pareto",),
    run=search,
    findings=findings,
    say=say,
    slides=slides,
    frames=lambda result: {"candidates": result.candidates, "front": result.front},
    facts=facts,
    design=design,
    question="Which handling gives much, takes little work and keeps the colony?",
    beside=True,
)
