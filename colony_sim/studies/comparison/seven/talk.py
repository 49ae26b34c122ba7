"""The slides of the talk in their order."""

from __future__ import annotations

from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.seven import answer, change, cost, question, rack, sure, why
from colony_sim.studies.comparison.seven.case import Case


def slides(case: Case) -> list[Slide]:
    """Question, rack, answer, how sure, why, cost, what would change it: those that there are."""
    found = (part.slide(case) for part in (question, rack, answer, sure, why, cost, change))
    return [slide for slide in found if slide is not None]
