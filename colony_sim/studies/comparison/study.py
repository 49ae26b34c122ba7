"""The comparison of policies as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.found import Comparison
from colony_sim.studies.comparison.run import compare_plan
from colony_sim.studies.comparison.write import FIGURES, MORE_TABLES, TABLES
from colony_sim.studies.study import Said, Study


def findings(folder: Path, data: dict[str, Any]) -> Any:
    """The tables of a comparison that its figures need."""
    from colony_sim.studies.comparison.results import read

    return read(folder)


def say(result: Comparison, plan: object = None) -> Said:
    """What the runs support, and what that leans on."""
    rest = (result.details, *result.circumstances, *result.answer, result.leaning)
    return Said(result.verdict.rstrip("."), "\n\n".join(part for part in rest if part))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """One slide a question, see ``slides.slides``."""
    from colony_sim.studies.comparison.slides import slides

    return slides(folder, seed)


class _Comparison(Study):
    def draw(self, folder: Path) -> list[Path]:
        """Draw the finding alone; the other slides are drawn for a talk."""
        from colony_sim.studies.comparison import draw

        return draw.draw(folder)


STUDY = _Comparison(
    kind="comparison",
    tables=(*TABLES, *MORE_TABLES),
    figures=FIGURES,
    run=compare_plan,
    findings=findings,
    say=say,
    slides=slides,
)
