"""The sweep as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from colony_sim.figures.slide import Slide
from colony_sim.studies.study import Said, Study
from colony_sim.studies.sweep.run import FIGURES, TABLES, Sweep, run_sweep


def findings(folder: Path, data: dict[str, Any]) -> Any:
    """The tables of a sweep, for the measures that are drawn."""
    from colony_sim.studies.sweep.stored import read

    return read(folder)


def say(result: Sweep, plan: object = None) -> Said:
    """What was found, sentence by sentence."""
    return Said("", "\n".join(result.finding))


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """Yield first, then adult losses, see ``slides.slides``."""
    from colony_sim.studies.sweep.slides import slides

    return slides(folder, seed)


class _Sweep(Study):
    def draw(self, folder: Path) -> list[Path]:
        """Draw the first slide alone, unless there are too many runs."""
        from colony_sim.studies.sweep.slides import draw

        with self.in_house(folder):
            return draw(folder)


STUDY = _Sweep(
    kind="sweep",
    tables=TABLES,
    figures=FIGURES,
    run=run_sweep,
    findings=findings,
    say=say,
    slides=slides,
    question="What changes with the keys that were varied?",
    beside=True,
)
