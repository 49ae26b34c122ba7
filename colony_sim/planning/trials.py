"""The candidates of a plan as a table."""

from __future__ import annotations

import pandas as pd

from colony_sim.planning.chance import next_run, share
from colony_sim.planning.choose import Chosen, lacking, shortage
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.wants import Have, Want


def trial_table(chosen: Chosen, want: Want, have: Have) -> pd.DataFrame:
    """One row per candidate tried, and one per attempt on fresh seeds.

    Returns
    -------
    pandas.DataFrame
        stage, runs, the keys of the handling, sure_g_per_day (poorest stretch, mean over runs),
        next_run_g_per_day (what the next run reaches with the probability asked for),
        mean_g_per_day, minutes_per_week, bins_in_use, met, lacking (0: promises the want),
        shortage (what it lacks over all stretches), chosen. Fresh seeds first, then best
        first.
    """
    rows = [
        _row(tried.forecast, tried.stage, want, have, tried.choice == chosen.choice)
        for tried in chosen.tried
    ]
    table = pd.DataFrame(rows).sort_values(
        ["shortage", "lacking", "minutes_per_week"], kind="stable", ignore_index=True
    )
    fresh = pd.DataFrame([
        _row(a.forecast, "fresh seeds", want, have, a.choice == chosen.choice)
        for a in chosen.attempts
    ])  # fmt: skip
    return pd.concat([fresh, table], ignore_index=True)


def _row(
    forecast: Forecast, stage: str, want: Want, have: Have, is_chosen: bool
) -> dict[str, object]:
    sure = forecast.sure(want.after_days)
    met = share(forecast.met(want, have))
    return {
        "stage": stage,
        "chosen": is_chosen,
        "runs": forecast.runs,
        **forecast.case.values,
        "sure_g_per_day": float(sure.mean()),
        "next_run_g_per_day": next_run(sure, want.probability),
        "mean_g_per_day": float(forecast.mean_yield(want.after_days).mean()),
        "minutes_per_week": float(forecast.minutes(want.after_days).mean()),
        "bins_in_use": float(forecast.weeks("bins").mean()),
        "met": met.met,
        "met_share": met.value,
        "lacking": lacking(forecast, want, have),
        "shortage": shortage(forecast, want, have),
    }
