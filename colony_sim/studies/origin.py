"""Where the figure of a study comes from, and the foot of the slide that tells it."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from colony_sim.figures import style
from colony_sim.results.manifest import is_invented
from colony_sim.studies.comparison.results import MODEL_ONLY

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from colony_sim.studies.points import Window

LINE = 0.24
"""Height of a line at the foot (in)."""


@dataclass(frozen=True)
class Origin:
    """What the foot of every figure of a study tells.

    Attributes
    ----------
    name : str
        Of the study.
    seed : int
        Of the experiment; all seeds follow from it.
    invented : bool
        Whether the scenario was declared to be invented.
    profile : str
        Name of the profile that the biology was drawn from; empty if there was none.
    """

    name: str
    seed: int
    invented: bool
    profile: str = ""

    @classmethod
    def of(cls, manifest: Mapping[str, Any]) -> Origin:
        """From the manifest of a results folder."""
        head = manifest["experiment"]
        profile = str((manifest.get("profile") or {}).get("name", ""))
        return cls(str(head["name"]), int(head["seed"]), is_invented(manifest), profile)

    def foot(self, figure: Figure, how: str, *facts: str) -> float:
        """Write the foot; returns the height (in) of its upper edge.

        Parameters
        ----------
        how : str
            How the numbers came about; lines of its own above the last.
        facts : str
            What follows experiment and seed on the last line, such as the number of runs.
        """
        parts = [self.name, f"seed {self.seed}", *facts]
        parts += [f"with profile {self.profile}"] if self.profile else []
        parts += ["invented scenario"] if self.invented else []
        last = "  ·  ".join(parts)
        lines = [*textwrap.wrap(how, 140), last]
        wide = sum(style.text_width(figure, text, style.FOOT) for text in (last, MODEL_ONLY))
        if wide > style.WIDTH - 1.1:  # The two would run into each other.
            lines = [*lines[:-1], *textwrap.wrap(last, 140), ""]
        places = [(0.4, up, line, "left") for up, line in enumerate(reversed(lines)) if line]
        for x, up, text, ha in (*places, (style.WIDTH - 0.4, 0, MODEL_ONLY, "right")):
            figure.text(x / style.WIDTH, (0.14 + LINE * up) / style.HEIGHT, text, size=style.FOOT,
                        ha=ha, color=style.QUIET, va="bottom")  # fmt: skip
        return 0.14 + LINE * len(lines)


def days(span: Window) -> str:
    """The measured days of a study."""
    return f"days {span.warm_up + 1} to {span.days}"


def count(number: int, noun: str) -> str:
    """A number with its noun in the right form."""
    return f"{number} {noun if number == 1 else noun + 's'}"
