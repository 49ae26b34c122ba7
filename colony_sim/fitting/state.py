"""The rack on the last day of a log, in the colonies of the fit and as `colony-sim today` tells it.

A draw of the fit is a member whose values are moved to the log. What was in its rack is moved with
them, by a regression on the same numbers among the same members, with the errors of the jackknife+,
so that each draw has values and a rack that belong together. `today` takes the members whose racks
are nearest by the log instead of those whose values are. How far the two may lie apart, and how
often both hold the truth, is counted on members left out, each with its own log.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from colony_sim.assimilation import lived
from colony_sim.assimilation.conditioning import Draws, Kind, Nearness, adjust, kernel
from colony_sim.assimilation.today import nearness_of
from colony_sim.fitting.posterior import Learner, Posterior

STATE = ("larvae", "pupae", "beetles", "g of harvest size")
"""What is compared in the rack."""
TESTS = 100
APART = 0.95
"""Share of the members left out whose two medians lie no further apart than the table says."""
_LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


def rack_of(contents: np.ndarray) -> np.ndarray:
    """What `STATE` names, summed over the rack (members x quantities)."""
    sums = dict(zip(lived.CONTENTS, np.moveaxis(contents.sum(axis=1), 1, 0), strict=True))
    larvae = sums["small_larvae"] + sums["medium_larvae"] + sums["large_larvae"]
    return np.column_stack([larvae, sums["pupae"], sums["beetles"], sums["large_g"]])


def of_posterior(
    features: np.ndarray, racks: np.ndarray, posterior: Posterior, log: np.ndarray
) -> Draws:
    """Racks of the draws of a posterior, in their order (see `rack_of`)."""
    near = posterior.members
    return _moved(features[near], racks[near], posterior.weights, log)


def _moved(features: np.ndarray, racks: np.ndarray, weights: np.ndarray, log: np.ndarray) -> Draws:
    return adjust(features, {"rack": racks}, {"rack": Kind()}, weights, log)


def state_table(
    learner: Learner, contents: np.ndarray, fitted: Draws, log: np.ndarray, tests: int = TESTS
) -> pd.DataFrame:
    """The rack told both ways, and what both are worth on members left out.

    Parameters
    ----------
    learner : Learner
    contents : float64 array, members first
        As in `ensemble.Lived`.
    fitted : Draws
        See `of_posterior`.
    log : float64 array, shape (features,)
    tests : int
        How many members are left out in turn.

    Returns
    -------
    DataFrame
        One row for each of `STATE`: `what`, `told_low`, `told_median`, `told_high`, `fit_low`,
        `fit_median`, `fit_high` (90 %); `apart`: the distance of the medians of log(1 + x) over
        half the width of the interval told, and `apart_limit`, which it exceeds in 1 - `APART` of
        the `tests`; `told_50`, `told_90`, `fit_50`, `fit_90`: share of these held.
    """
    features, racks = learner.features, rack_of(contents)
    by_rack = nearness_of(features, contents)
    told = _moved(features, racks, kernel(by_rack.distances(log)), log)
    one, two = _ends(told), _ends(fitted)
    picked = np.unique(np.linspace(0, len(racks) - 1, min(tests, len(racks))).astype(int))
    far, held = [], []
    for member in picked:
        both = [_of_member(nearness, features, racks, member)
                for nearness in (by_rack, learner.nearness)]  # fmt: skip
        far.append(_apart(*both))
        held.append([_holds(ends, racks[member]) for ends in both])
    shares = np.mean(held, axis=0)
    return pd.DataFrame({
        "what": STATE, "told_low": one[0], "told_median": one[2], "told_high": one[4],
        "fit_low": two[0], "fit_median": two[2], "fit_high": two[4],
        "apart": _apart(one, two), "apart_limit": np.quantile(far, APART, axis=0),
        "tests": len(picked), "told_50": shares[0, 0], "told_90": shares[0, 1],
        "fit_50": shares[1, 0], "fit_90": shares[1, 1],
    })  # fmt: skip


def _of_member(
    nearness: Nearness, features: np.ndarray, racks: np.ndarray, member: int
) -> np.ndarray:
    """Ends told of a member's rack from its own log, the member left out."""
    weights = kernel(nearness.distances_of(member))
    return _ends(_moved(features, racks, weights, features[member]))


def _ends(draws: Draws) -> np.ndarray:
    return draws.quantiles(draws.values["rack"], _LEVELS)


def _apart(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    half = np.maximum((np.log1p(one[4]) - np.log1p(one[0])) / 2, 1e-9)
    found: np.ndarray = np.abs(np.log1p(one[2]) - np.log1p(two[2])) / half
    return found


def _holds(ends: np.ndarray, truth: np.ndarray) -> np.ndarray:
    """Whether the intervals of 50 and of 90 % hold it (2 x quantities); a limit is inside."""
    slack = 1e-6 * (1 + truth)
    low, high = ends[[1, 0]] - slack, ends[[3, 4]] + slack
    found: np.ndarray = (low <= truth) & (truth <= high)
    return found
