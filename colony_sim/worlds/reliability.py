"""Do verdicts given a probability come true that often? Tables of forecasts against what came.

Bins with the share that came true (Wilson 1927; several verdicts on one literature count for fewer,
Korn & Graubard 1998), the Brier score in Murphy's parts (1973, J. Appl. Meteorol. 12:595), against
a forecaster who knows only how often it is so, Spiegelhalter's test (1986, Stat. Med. 5:421), and
the slope of Cox (1958, Biometrika 45:562): 1 if probabilities are right, less if they are too sure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import expit

from colony_sim.worlds.verdicts import ROTATIONS, logistic

#: Edges of the bins of p.
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
LEVEL = 0.95
#: All decisions together, those on 14 against 21 days, and those on a first bin.
ALL, MOVES, BIN = "all", "14 or 21 days", "first bin"
#: What stands for the fits that lacked no structure.
NONE = "none"
#: A probability counts as no nearer to 0 or 1 than this, where its logit is asked.
_LEAST = 1e-3


def groups(table: pd.DataFrame) -> Iterator[tuple[str, str, pd.DataFrame]]:
    """Structure left out (or `NONE`), decision and rows of `verdicts.forecasts`."""
    structure = table["structure"].replace("", NONE)
    for name in dict.fromkeys([NONE, *structure]):
        some = table[structure == name]
        yield name, ALL, some
        moves = some["decision"].isin(ROTATIONS)
        for what, rows in ((MOVES, some[moves]), (BIN, some[~moves])):
            if len(rows):
                yield name, what, rows
        if name == NONE:
            for decision, rows in some.groupby("decision", sort=False):
                yield name, str(decision), rows


def bins(table: pd.DataFrame) -> pd.DataFrame:
    """How often verdicts of each probability came true.

    Returns
    -------
    DataFrame
        One row a group and bin that has verdicts: without, decision, low, high (edges of p),
        verdicts, p (their mean), came (share that came true), came_low, came_high (95 % interval)
        and direct (the share in which it was so in worlds that were lived; NaN without).
    """
    rows = []
    for without, decision, some in groups(table):
        at = np.clip(np.digitize(some["p"], EDGES[1:-1]), 0, len(EDGES) - 2)
        for k in range(len(EDGES) - 1):
            here = some[at == k]
            if here.empty:
                continue
            came = here["came"].to_numpy(float)
            low, high = interval(came, here["literature"].to_numpy())
            rows.append({
                "without": without, "decision": decision, "low": EDGES[k], "high": EDGES[k + 1],
                "verdicts": len(here), "p": here["p"].mean(), "came": came.mean(),
                "came_low": low, "came_high": high, "direct": here["direct"].mean(),
            })  # fmt: skip
    return pd.DataFrame(rows)


def scores(table: pd.DataFrame) -> pd.DataFrame:
    """How good verdicts are.

    Returns
    -------
    DataFrame
        One row a group: without, decision, verdicts, literatures, came (share), p (mean), direct,
        brier; reliability, resolution, uncertainty (its parts by the bins, and what is left over,
        within: brier = reliability - resolution + uncertainty + within); climate (the score of who
        knows only how often the others came true), gained (climate - brier) with gained_error; z
        (Spiegelhalter) with p_value; slope (Cox) with slope_error; rank_p_value (see `ranks`).
    """
    rows = []
    for without, decision, some in groups(table):
        p, came = some["p"].to_numpy(), some["came"].to_numpy(float)
        of = some["literature"].to_numpy()
        others = [_others(rows) for _, rows in some.groupby("decision", sort=False)]
        climate = pd.concat(others).loc[some.index].to_numpy()
        more = (climate - came) ** 2 - (p - came) ** 2
        z = spiegelhalter(p, came, of)
        slope, slope_error = cox(p, came, of)
        rows.append({
            "without": without, "decision": decision, "verdicts": len(some),
            "literatures": np.unique(of).size, "came": came.mean(), "p": p.mean(),
            "direct": some["direct"].mean(), **murphy(p, came),
            "climate": float(((climate - came) ** 2).mean()), "gained": more.mean(),
            "gained_error": _clustered_error(more, of), "z": z,
            "p_value": float(2.0 * stats.norm.sf(abs(z))),
            "slope": slope, "slope_error": slope_error, "rank_p_value": ranks(some),
        })  # fmt: skip
    return pd.DataFrame(rows)


def ranks(table: pd.DataFrame) -> float:
    """P value of truths falling evenly among the lived worlds of their literature.

    No surface takes part (Talts et al. 2018). NaN for several decisions at a time, whose ranks go
    together, and where no worlds were lived.
    """
    below = table["below"].dropna()
    if below.empty or table["decision"].nunique() > 1:
        return math.nan
    worlds = int(table["lived"].iloc[0])
    counts = np.bincount(below.astype(int), minlength=worlds + 1)
    return float(stats.chisquare(counts).pvalue)


def _others(rows: pd.DataFrame) -> pd.Series:
    """How often the other rows came true; one half if there are none."""
    came = rows["came"].astype(float)
    return (came.sum() - came + 0.5) / len(rows)


def murphy(p: np.ndarray, came: np.ndarray) -> dict[str, float]:
    """Brier score and its parts by the bins of `EDGES`."""
    brier, base = float(((p - came) ** 2).mean()), float(came.mean())
    at = np.digitize(p, EDGES[1:-1])
    reliability = resolution = 0.0
    for k in np.unique(at):
        here = at == k
        reliability += here.mean() * (p[here].mean() - came[here].mean()) ** 2
        resolution += here.mean() * (came[here].mean() - base) ** 2
    uncertainty = base * (1.0 - base)
    return {
        "brier": brier, "reliability": float(reliability), "resolution": float(resolution),
        "uncertainty": uncertainty, "within": brier - reliability + resolution - uncertainty,
    }  # fmt: skip


def interval(came: np.ndarray, of: np.ndarray) -> tuple[float, float]:
    """Wilson's interval of a share; what came of one literature (`of`) may go together.

    Then the number of verdicts is that of independent ones with the same variance.
    """
    share, literatures = float(came.mean()), np.unique(of).size
    binomial = share * (1.0 - share)
    independent = float(literatures)
    if literatures < came.size and binomial > 0.0:
        worth = binomial / max(_clustered_error(came, of) ** 2, 1e-12)
        independent = min(max(worth, 1.0), float(came.size))
    z = stats.norm.ppf(0.5 + LEVEL / 2.0)
    middle = (share + z**2 / (2.0 * independent)) / (1.0 + z**2 / independent)
    half = z / (1.0 + z**2 / independent)
    half *= math.sqrt(binomial / independent + z**2 / (4.0 * independent**2))
    return max(0.0, middle - half), min(1.0, middle + half)


def _sums(what: np.ndarray, of: np.ndarray) -> np.ndarray:
    """Sums by literature (literatures, ...)."""
    names, at = np.unique(of, return_inverse=True)
    found = np.zeros((names.size, *what.shape[1:]))
    np.add.at(found, at, what)
    return found


def _clustered_error(what: np.ndarray, of: np.ndarray) -> float:
    """Standard error of a mean over verdicts, those of one literature going together."""
    sums = _sums(what - what.mean(), of)
    few = sums.size / max(1, sums.size - 1)
    return float(np.sqrt(few * (sums**2).sum()) / what.size)


def spiegelhalter(p: np.ndarray, came: np.ndarray, of: np.ndarray) -> float:
    """Spiegelhalter's z, standard normal if probabilities are right.

    With several verdicts a literature its variance is as many times larger as sums by literature
    vary more than single verdicts do.
    """
    score = (came - p) * (1.0 - 2.0 * p)
    variance = float(((1.0 - 2.0 * p) ** 2 * p * (1.0 - p)).sum())
    if np.unique(of).size < of.size:
        variance *= float((_sums(score, of) ** 2).sum() / max((score**2).sum(), 1e-300))
    return float(score.sum() / math.sqrt(variance)) if variance > 0.0 else math.nan


def cox(p: np.ndarray, came: np.ndarray, of: np.ndarray) -> tuple[float, float]:
    """Slope of a logistic regression on the logit of p, and its error by literature.

    NaN where what came true can be told apart without a miss, or p is the same everywhere.
    """
    p = np.clip(p, _LEAST, 1.0 - _LEAST)
    x = np.column_stack([np.ones(p.size), np.log(p / (1.0 - p))])
    if np.ptp(p) < 1e-9 or np.ptp(came) == 0.0:
        return math.nan, math.nan
    weights = logistic(x, came)
    if not np.isfinite(weights).all():
        return math.nan, math.nan
    fitted = expit(x @ weights)
    bread = np.linalg.inv((x * (fitted * (1.0 - fitted))[:, None]).T @ x)
    sums = _sums(x * (came - fitted)[:, None], of)
    few = len(sums) / max(1, len(sums) - 1)
    cov = few * bread @ (sums.T @ sums) @ bread
    return float(weights[1]), float(math.sqrt(cov[1, 1]))
