"""The sensitivity analysis as a kind of study."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import catalogue
from colony_sim.results.folder import table_if_there
from colony_sim.studies.fitting_worlds import left_out_in_words
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.profile_words import circumstances, temperatures
from colony_sim.studies.sensitivity import say_worlds
from colony_sim.studies.sensitivity.indices import Noise
from colony_sim.studies.sensitivity.run import Sensitivity, output_words, sensitivity
from colony_sim.studies.sensitivity.say import answer, headline, plain
from colony_sim.studies.study import Said, Study

GROUPS = "groups"
"""Name of the table of shares of groups of keys."""


def facts(result: Sensitivity) -> dict[str, Any]:
    """Settings of a sensitivity analysis, for the manifest; a number that is NaN becomes None."""
    return {
        "method": result.method,
        "policies": list(result.policies),
        "measure": result.measure,
        "keys": list(result.keys),
        "points": len(result.sampled),
        "replicates": result.noise.seeds,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
        "noise_variance": _or_none(result.noise.variance),
        "noise_share": _or_none(result.noise.share),
        "central": [_or_none(value) for value in result.central],
        "drawn_in": result.drawn_in,
        "central_by_seed": [_or_none(value) for value in result.central_by_seed],
        "over": result.over,
        "left_out": result.left_out,
    }


def findings(folder: Path, data: dict[str, Any]) -> Sensitivity:
    """An analysis, read back from its folder."""
    study = data["study"]
    noise = Noise(
        study["replicates"], _number(study["noise_variance"]), _number(study["noise_share"])
    )
    # The only one that draws the result in the middle.
    one = study["method"] == "oneway" or study.get("over") == "worlds"
    central = study["central"] if one else study.get("central", [None] * 4)
    mean, error, low, high = (_number(value) for value in central)
    seeds = study["central_by_seed"] if one else study.get("central_by_seed", [])
    names = tuple(study["policies"])
    return Sensitivity(
        study["method"],
        output_words(names, study["measure"]),
        names,
        catalogue()[study["measure"]].unit,
        Window(study["warm_up_days"], study["days"]),
        (mean, error, low, high),
        noise,
        pd.read_parquet(folder / "sensitivity.parquet"),
        pd.read_parquet(folder / "sampled.parquet"),
        study.get("drawn_in", 0),
        tuple(_number(value) for value in seeds),
        study["measure"],
        study.get("over", "ranges"),
        table_if_there(folder, GROUPS),
        study.get("left_out", 0),
    )


def frames(result: Sensitivity) -> dict[str, pd.DataFrame]:
    """The tables of an analysis."""
    tables = {"sensitivity": result.table, "sampled": result.sampled}
    return tables if result.groups.empty else tables | {GROUPS: result.groups}


def design(result: Sensitivity) -> str:
    """The points, and what was estimated from them."""
    if result.over_worlds:
        what = (
            "First-order shares of the variance were estimated from runs in"
            if result.method == "sobol"
            else "Each value alone was taken from another world, starting from"
        )
        worlds = result.sampled["world"].nunique()
        return (
            f"{what} {worlds} worlds, {result.noise.seeds} seeds each, for {len(result.keys)} "
            f"values, in runs of {result.span.days} days of which the last {result.span.used} were "
            f"measured. Estimand: {result.output}."
        )
    return (
        f"{len(result.keys)} values were varied over their plausible ranges by the method "
        f"“{result.method}” ({len(result.sampled)} points, {result.noise.seeds} seeds each), in "
        f"runs of {result.span.days} days of which the last {result.span.used} were measured. "
        f"Estimand: {result.output}."
    )


def say(result: Sensitivity, plan: Plan) -> Said:
    """Which keys move the result and what it rests on."""
    result = result.in_house()
    if result.over_worlds:
        line, text = say_worlds.answer(result)
        rests_on = temperatures(plan)
        return Said(line, "\n".join([text, *rests_on]), (*say_worlds.plain(result), *rests_on))
    rests_on = circumstances(plan, result.keys, ranges=True)
    rests_on += left_out_in_words(result.left_out)
    text = "\n".join([answer(result), *rests_on])
    return Said(headline(result), text, (*plain(result), *temperatures(plan)))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of an analysis, from its folder."""
    from colony_sim.studies.sensitivity import screening, shares, tornado

    data, result = STUDY.read(folder)
    if result.over_worlds and result.method == "sobol":
        return [shares.slide(result, Origin.of(data))]
    make = tornado if result.method == "oneway" else screening
    return [make.slide(result, Origin.of(data))]


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def _number(value: float | None) -> float:
    return math.nan if value is None else value


STUDY = Study(
    kind="sensitivity",
    tables=("sensitivity", "sampled", GROUPS),
    figures=("tornado", "screening"),
    run=sensitivity,
    findings=findings,
    say=say,
    slides=slides,
    frames=frames,
    facts=facts,
    design=design,
    question="Which unknowns move the result most?",
    beside=True,
)
