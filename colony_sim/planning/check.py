"""The advice of a plan, lived again in colonies that nothing was chosen on.

A remedy is picked as the best of several on the seeds it was tried on, and a handling as the best
of many, so that both are flattered. What is advised in the end is therefore run once more on seeds
and in worlds that no step has seen, and held against what was said of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from colony_sim.planning.chance import share
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.remedies import Remedy, fed
from colony_sim.planning.wants import Have, Want
from colony_sim.statistics.core import t_quantile


@dataclass(frozen=True)
class Check:
    """What was said of the advice, and what fresh runs of it came to.

    Attributes
    ----------
    advice : str
        Name of the remedy; empty: the plan as it is.
    said_runs, said_met, runs, met : int
        Runs before, those that met the want, and the same of the fresh ones.
    said_fed, fed : float
        Share of stretches fed, mean over runs.
    difference, low, high : float
        `fed` minus `said_fed` with a 95 % interval (Welch 1947, Biometrika 34:28).
    """

    advice: str
    said_runs: int
    said_met: int
    said_fed: float
    runs: int
    met: int
    fed: float
    difference: float
    low: float
    high: float


def advised_of(tried: Sequence[Remedy], table: pd.DataFrame | None) -> Remedy | None:
    """The remedy that a plan advises: the first of its table that helps; None where none does."""
    if table is None:
        return None
    helping = table.iloc[1:].query("helps")["remedy"]
    by_name = {remedy.name: remedy for remedy in tried}
    return by_name[helping.iloc[0]] if len(helping) else None


def check(
    advice: Remedy | None,
    plan: Forecast,
    seeds: Seeds,
    unseen: Seeds,
    want: Want,
    have: Have,
    forecaster: Forecaster,
) -> Check | None:
    """Run the advice on unseen seeds; None where there are none.

    Parameters
    ----------
    advice : Remedy or None
        None: the plan as it is.
    plan : Forecast
        Of the plan on its fresh seeds.
    seeds : sequence of (int, int)
        Those that the remedies were tried on.
    unseen : sequence of (int, int)
    """
    if len(unseen) < 2:
        return None
    case: Case = plan.case if advice is None or advice.case is None else advice.case
    stored = 0 if advice is None else advice.stored
    # Those of a remedy are in the store.
    before = plan if advice is None else forecaster.run([case], seeds)[0]
    after = forecaster.run([case], unseen)[0]
    met = [fed(forecast, want, stored) for forecast in (before, after)]
    shares = [each.mean(axis=1) for each in met]
    whole = [
        share(each.all(axis=1) & forecast.in_time(want, have))
        for each, forecast in zip(met, (before, after), strict=True)
    ]
    difference, half = _welch(shares[1], shares[0])
    return Check(
        advice="" if advice is None else advice.name,
        said_runs=whole[0].runs, said_met=whole[0].met, said_fed=float(shares[0].mean()),
        runs=whole[1].runs, met=whole[1].met, fed=float(shares[1].mean()),
        difference=difference, low=difference - half, high=difference + half,
    )  # fmt: skip


def _welch(a: np.ndarray, b: np.ndarray) -> tuple[float, float]:
    """Difference of two means and half its 95 % interval."""
    parts = [float(x.var(ddof=1)) / len(x) for x in (a, b)]
    total = sum(parts)
    if total == 0:
        return float(a.mean() - b.mean()), 0.0
    freedom = total**2 / sum(part**2 / (len(x) - 1) for part, x in zip(parts, (a, b), strict=True))
    return float(a.mean() - b.mean()), float(t_quantile(0.975, freedom + 1)) * total**0.5
