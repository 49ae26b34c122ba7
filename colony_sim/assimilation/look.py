"""The one look into a bin that would narrow most what is told of today, and by how much.

Every draw has its own content of each bin and its own answer. What a count or a weighing would show
in a draw, with its error, tells something of the answer of that draw: as much as a regression of
the answers on what would be shown takes away of their spread, each draw left out of its own
(expected value of information by regression: Strong, Oakley and Brennan 2014, Med. Decis. Making
34:311). Nothing is lived again. How well that foretells what a look does:
``python -m tests.verification today``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colony_sim.assimilation import lived
from colony_sim.assimilation.conditioning import Draws
from colony_sim.colony.bins import Phase
from colony_sim.logs.observe import SCALES_G
from colony_sim.logs.words import COUNT_ERROR, WEIGHT_ERROR

LOOKS = {
    Phase.GROWING: {
        "large_g": "sieve and weigh the larvae of harvest size",
        "larvae_g": "weigh all larvae", "pupae": "count the pupae",
    },
    Phase.BREEDING: {"beetles": "count the beetles"},
}  # fmt: skip
"""What may be looked at in a bin, by `lived.CONTENTS`."""
WEEKS_AHEAD = 8


@dataclass(frozen=True)
class Look:
    """A count or a weighing in one bin.

    Attributes
    ----------
    bin : str
    what : str
        Of `lived.CONTENTS`.
    do : str
        In words.
    narrower : dict of str to float
        By answer (see `answers`), the share by which its range is expected to be narrower.
    """

    bin: str
    what: str
    do: str
    narrower: Mapping[str, float]

    @property
    def gain(self) -> float:
        """Mean over the answers."""
        return float(np.mean(list(self.narrower.values())))


def answers(told: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What is to be narrowed, draws first."""
    rack = dict(zip(lived.CONTENTS, told["rack"].T, strict=True))
    return {
        "larvae in the rack": told["rack_larvae"][:, 0],
        "beetles": rack["beetles"],
        "grams of harvest size": rack["large_g"],
        f"harvests of {WEEKS_AHEAD} weeks": told["harvested_g"][:, WEEKS_AHEAD - 1],
    }


def best(draws: Draws, bins: Sequence[tuple[str, Phase]], seed: int) -> Look | None:
    """The look that narrows the answers most on average; None where there is nothing to look at.

    Parameters
    ----------
    draws : Draws
        With the quantities of `today.quantities`.
    bins : sequence of (str, Phase)
        Names and uses by slot.
    seed : int
        Of the errors of counting.
    """
    chance = np.random.default_rng([seed, 23])
    table = np.log1p(np.column_stack(list(answers(draws.values).values())))
    found = []
    for slot, (name, phase) in enumerate(bins):
        for what, do in LOOKS.get(phase, {}).items():
            inside = draws.values["contents"][:, slot, lived.CONTENTS.index(what)]
            gains = narrower(shown(inside, what, chance), table, draws.weights).tolist()
            of_answers = dict(zip(answers(draws.values), gains, strict=True))
            found.append(Look(name, what, do, of_answers))
    return max(found, key=lambda look: look.gain, default=None)


def shown(inside: np.ndarray, what: str, chance: np.random.Generator) -> np.ndarray:
    """Logarithm of what a keeper would write of what is in a bin, with the errors of the log."""
    noise = chance.standard_normal((2, inside.size))
    if what.endswith("_g"):
        said = inside * np.exp(WEIGHT_ERROR * noise[0]) + SCALES_G * noise[1] * (inside > 0)
    else:
        said = np.round(inside * np.exp(COUNT_ERROR * noise[0]))
    return np.log1p(np.maximum(said, 0.0))


def narrower(said: np.ndarray, answers: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Share of the spread of each answer (draws x answers) that a linear regression takes away.

    The residual of a draw is that of the regression without it, so that chance is no gain.
    """
    if np.ptp(said) < 1e-9:
        return np.zeros(answers.shape[1])
    design = np.column_stack([np.ones(said.size), said])
    weighed = design * weights[:, None]
    inverse = np.linalg.inv(design.T @ weighed)
    leverage = weights * np.einsum("ij,jk,ik->i", design, inverse, design)
    residual = (answers - design @ (inverse @ (weighed.T @ answers))) / np.maximum(
        1 - leverage, 1e-9
    )[:, None]
    about = (answers - weights @ answers) / (1 - weights)[:, None]
    before, after = (np.sqrt(weights @ part**2) for part in (about, residual))
    return np.maximum(1 - after / np.maximum(before, 1e-12), 0.0) * (before > 1e-6)
