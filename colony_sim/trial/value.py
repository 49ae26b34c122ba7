"""What each trial at home is worth: the expected value of its result for the choice at hand.

Every trial has been lived in every possible colony of a comparison, which also has the gain of one
policy over the other. What a keeper who saw the result, and chose in its light, would gain on
average over one who chooses now is the expected value of sample information (EVSI); it is estimated
by regressing the gains on the results (Strong, Oakley, Brennan and Breeze 2015, Med. Decis. Making
35:570, doi 10.1177/0272989X15575286), with the curve, the errors and the test by permutation of
`statistics.information`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from colony_sim.statistics.information import narrowing
from colony_sim.studies.comparison.leans_on import DAYS_A_YEAR
from colony_sim.trial.boxes import Trial


def ranked(
    trials: Sequence[Trial], summaries: Sequence[np.ndarray], gains: np.ndarray
) -> pd.DataFrame:
    """Trials by what a minute of them is worth, those first that are told apart from luck.

    Parameters
    ----------
    trials : sequence of Trial
    summaries : sequence of float64 arrays, worlds x summaries of each trial
        See `Trial.summary`.
    gains : float64 array, shape (worlds,), g/day

    Returns
    -------
    DataFrame
        One row a trial: `trial`, `label`, `days`, `minutes`, `bran_eur`, `worth` (g a year) and
        `worth_se`, `p_holm` (that permuted gains come to as much), `told_apart`, `turns` (share of
        the possible colonies in which its result would turn the choice), `worth_per_minute`,
        `worth_per_eur` (NaN where it takes no bran), and the ranks by either (1 is the best).
    """
    names = np.repeat([trial.name for trial in trials], [own.shape[1] for own in summaries])
    found = narrowing(names.tolist(), np.column_stack(summaries), gains).table.set_index("key")
    rows = []
    for trial in trials:
        row = found.loc[trial.name]
        worth = DAYS_A_YEAR * row["value"]
        rows.append({
            "trial": trial.name, "label": trial.label, "days": trial.days,
            "minutes": trial.minutes, "bran_eur": round(trial.euro, 2), "worth": worth,
            "worth_se": DAYS_A_YEAR * row["value_se"], "p_holm": row["value_p_holm"],
            "told_apart": bool(row["told_apart"]), "turns": row["turns"],
            "worth_per_minute": worth / trial.minutes,
            "worth_per_eur": worth / trial.euro if trial.euro else np.nan,
        })  # fmt: skip
    table = pd.DataFrame(rows)
    for by in ("minute", "eur"):
        table[f"rank_per_{by}"] = table[f"worth_per_{by}"].rank(ascending=False, method="min")
    return table.sort_values(
        ["told_apart", "worth_per_minute"], ascending=False, kind="stable", ignore_index=True
    )
