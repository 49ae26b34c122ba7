"""The break-even map as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST, table_if_there
from colony_sim.studies.breakeven.run import (
    Axis,
    BreakEven,
    break_even,
    crossings,
    headline,
    in_words,
    own_values,
)
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window
from colony_sim.studies.profile_words import circumstances
from colony_sim.studies.study import Said, Study

GAINS = "gains"
"""Name of the table of gains in worlds."""


def facts(result: BreakEven) -> dict[str, Any]:
    """Settings of a map, for the manifest."""
    return {
        "first": result.first,
        "second": result.second,
        "x": {"key": result.x.key, "values": list(result.x.values)},
        "y": {"key": result.y.key, "values": list(result.y.values)},
        "measure": result.measure,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
        "seeds": list(result.seeds),
        "own_values": list(result.default),
        "worlds_left_out": result.left_out,
    }


def findings(folder: Path, data: dict[str, Any]) -> BreakEven:
    """A map, read back from its folder."""
    study = data["study"]
    x, y = (Axis(study[name]["key"], tuple(study[name]["values"])) for name in "xy")
    own = study.get("own_values")
    if own is None:
        plan = manifest.plan_from(data, str(folder / MANIFEST))
        own = own_values(plan, study["first"], x, y)
    return BreakEven(
        study["first"],
        study["second"],
        x,
        y,
        study["measure"],
        Window(study["warm_up_days"], study["days"]),
        tuple(study["seeds"]),
        pd.read_parquet(folder / "breakeven.parquet"),
        tuple(own),
        table_if_there(folder, GAINS),
        study.get("worlds_left_out", 0),
    )


def frames(result: BreakEven) -> dict[str, pd.DataFrame]:
    """The tables of a map."""
    tables = {"breakeven": result.table, "crossings": crossings(result)}
    return tables | ({GAINS: result.gains} if result.over_worlds else {})


def design(result: BreakEven) -> str:
    """The grid, and what was estimated in each cell."""
    over = "" if not result.over_worlds else (
        " Each seed lived in a world of its own, the same in every cell; estimands over worlds: "
        "the probability that the first policy is ahead, the expected gain, and where along the "
        "first key the one is one half and the other 0, with a bootstrap of worlds."
    )  # fmt: skip
    return (
        f"Policies “{result.first}” and “{result.second}” were run on a grid of "
        f"{len(result.x.values)} values of {result.x.key} and {len(result.y.values)} of "
        f"{result.y.key}, with the same {len(result.seeds)} seeds in every cell, for "
        f"{result.span.days} days of which the last {result.span.used} were measured. Estimand: "
        f"mean paired difference in {result.measure}, first minus second, with its 95 % t interval "
        f"for each cell alone.{over}"
    )


def say(result: BreakEven, plan: Plan) -> Said:
    """What the map shows and what it rests on."""
    rests_on = circumstances(plan, (result.x.key, result.y.key))
    return Said(headline(result), "\n".join([in_words(result), *rests_on]))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slide of a map, from its folder."""
    from colony_sim.studies.breakeven.draw import slide

    data, result = STUDY.read(folder)
    return [slide(result, Origin.of(data))]


STUDY = Study(
    kind="break-even map",
    tables=("breakeven", "crossings", GAINS),
    figures=("breakeven",),
    run=break_even,
    findings=findings,
    say=say,
    slides=slides,
    frames=frames,
    facts=facts,
    design=design,
    question="Where does the order of the two policies turn?",
    beside=True,
)
