"""The slides of a plan, from its folder."""

from __future__ import annotations

from pathlib import Path

from colony_sim.figures.slide import Slide
from colony_sim.planning import slide_rows as plan_rows
from colony_sim.planning import slide_weeks as plan_weeks
from colony_sim.planning.facts import KIND, read_plan
from colony_sim.results import manifest
from colony_sim.studies.origin import Origin


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slides of a plan: first year, later years, dates, purchases and, if short, remedies.

    `seed` is for kinds of results that show single runs.

    Raises
    ------
    InputError
        If the folder does not hold a plan.
    """
    plan = read_plan(folder)
    origin = Origin.of(manifest.read(folder, (KIND,)))
    found = [
        plan_weeks.first_year(plan, origin),
        plan_weeks.later(plan, origin),
        plan_rows.startup(plan, origin),
        plan_rows.purchases(plan, origin),
        plan_rows.remedies(plan, origin),
    ]
    return [slide for slide in found if slide is not None]
