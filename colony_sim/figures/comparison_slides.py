"""The slides of a comparison of policies."""

from __future__ import annotations

from pathlib import Path

from colony_sim.figures import comparison
from colony_sim.figures.slide import Slide


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """One slide a question, the overview first."""
    results = comparison.read(Path(folder))
    return [comparison.slide(results)]
