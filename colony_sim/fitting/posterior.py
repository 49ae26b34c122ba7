"""What a log says of the biology: possible colonies weighed by the log, their values moved to it.

The possible colonies of `colony_sim.assimilation` have lived the log and written numbers of their
own. Their values are told from the keeper's numbers as `assimilation.conditioning` tells what is
in a bin: the members nearest the log count, by a kernel, and each value is regressed on the numbers
of the log among them, with the errors of the jackknife+ (Beaumont, Zhang and Balding 2002, Genetics
162:2025; Barber, Candes, Ramdas and Tibshirani 2021, doi 10.1214/20-AOS1965). Numbers are regressed
as normal scores of their ranks among all members, so that none leaves the range of the members;
a structure is that of the member. A draw moves all values of one member together, so that what
goes together in the members goes together in the draws.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from colony_sim.assimilation.conditioning import Nearness, Scale, Weighed, kernel
from colony_sim.assimilation.values import Values
from colony_sim.biology.parameters import Parameters
from colony_sim.errors import InputError
from colony_sim.experiment.worlds import Worlds
from colony_sim.statistics.ridge import ridge

_FURTHEST = 4.0
_HALVINGS = 6


@dataclass(frozen=True)
class Posterior(Weighed):
    """What a log has made of the members.

    Attributes
    ----------
    members : int array, shape (draws,)
        Place of the member behind each draw, from 0.
    weights : float64 array, shape (draws,)
        They add to 1.
    scores : float64 array, shape (draws, numbers)
        Normal scores of `Values`.
    """

    members: np.ndarray
    weights: np.ndarray
    scores: np.ndarray


class Learner:
    """All that is learnt of the members once, before any log is read.

    Parameters
    ----------
    features : float64 array, shape (members, features)
        Of what each member would have written.
    values : Values
    """

    def __init__(self, features: np.ndarray, values: Values) -> None:
        self.features, self.values = features, values
        self.nearness = Nearness.learn(features, values.targets())

    def of_log(self, log: np.ndarray) -> Posterior:
        """The posterior of a log (features,)."""
        return self._of(log, self.nearness.distances(log))

    def of_member(self, member: int) -> Posterior:
        """The posterior of a member's own log, the member left out."""
        return self._of(self.features[member], self.nearness.distances_of(member))

    def _of(self, log: np.ndarray, distances: np.ndarray) -> Posterior:
        weights = kernel(distances)
        near = np.flatnonzero(weights)
        share = weights[near] / weights[near].sum()
        scale = Scale.of(self.features[near], share)
        scores = self.values.scores[near]
        fitted = ridge(scale(self.features[near]), scores, share)
        found = np.clip(fitted.jackknife(scale(log), scores), -_FURTHEST, _FURTHEST)
        return Posterior(near, share, found)


def drawn(
    values: Values, posterior: Posterior, count: int, base: Parameters, seed: int, name: str
) -> Worlds:
    """Equally likely worlds of a posterior, by systematic resampling (Kitagawa 1996).

    A draw that would break the limits or the order of keys goes back half the way to its member,
    which holds together, until it does not.

    Parameters
    ----------
    values : Values
        Of the members.
    posterior : Posterior
    count : int
        How many.
    base : Parameters
        Values of the keys that no world draws.
    seed : int
    name : str
    """
    at = picked(posterior, count, seed)
    rows = values.worlds.draws[posterior.members[at]].copy()
    for row, draw in enumerate(at):
        member = posterior.members[draw]
        own = values.scores[member]
        for halving in range(_HALVINGS):
            moved = own + 0.5**halving * (posterior.scores[draw] - own)
            rows[row, values.numbers] = values.numbers_at(moved)
            try:
                replace(values.worlds, draws=rows[row : row + 1]).check(name, base)
                break
            except InputError:
                rows[row] = values.worlds.draws[member]
    return Worlds(name, values.worlds.keys, rows)


def picked(posterior: Posterior, count: int, seed: int) -> np.ndarray:
    """Which draws the equally likely ones of `drawn` are."""
    chance = np.random.default_rng([seed, 31])
    ends = np.cumsum(posterior.weights)
    at = np.searchsorted(ends, (np.arange(count) + chance.random()) / count * ends[-1])
    return chance.permutation(at)


def structures(values: Values, posterior: Posterior) -> pd.DataFrame:
    """Each form of each structure before and after.

    Returns
    -------
    DataFrame
        One row a form: `key`, `form`, `before`, `after` (shares) and `error` (standard error of
        the latter, as that of a share among the effective number of members).
    """
    frame = values.worlds.frame()
    rows = []
    for entry in values.worlds.entries:
        column = frame[entry.key].astype(str).to_numpy()
        if entry.is_number or len(set(column)) < 2:
            continue
        for form in sorted(set(column)):
            after = float(posterior.weights @ (column[posterior.members] == form))
            error = float(np.sqrt(after * (1 - after) / posterior.effective))
            rows.append({"key": entry.key, "form": form, "before": np.mean(column == form),
                         "after": after, "error": error})  # fmt: skip
    return pd.DataFrame(rows, columns=["key", "form", "before", "after", "error"])
