"""What is told of a rack, as tables of the results folder."""

from __future__ import annotations

import datetime
from dataclasses import asdict

import numpy as np
import pandas as pd

from colony_sim.assimilation import lived
from colony_sim.assimilation.asked import Asked
from colony_sim.assimilation.today import State
from colony_sim.assimilation.told import LEVELS, BinTold, Range, Told, bin_names

TABLES = ("contents", "weeks", "steps", "work", "waiting", "residuals")


def frames(asked: Asked, state: State, told: Told) -> dict[str, pd.DataFrame]:
    """Tables by name.

    `contents`: what is in each bin, on the tray and in the whole rack today; `weeks`: grams
    harvested in each week to come by the rules, and of harvest size at its end; `steps`: when
    something first happens to a bin; `work`: the steps of the next seven days; `waiting`: what
    waiting with the move costs; `residuals`: the numbers of the log against what the others of it
    let expect.
    """
    steps = _steps(told)
    return {
        "contents": _contents(told),
        "weeks": _weeks(asked, state),
        "steps": steps,
        "work": steps[(steps["day_median"] <= 7) & (steps["probability"] > 0.5)].reset_index(
            drop=True
        ),
        "waiting": _waiting(told),
        "residuals": _residuals(asked, told),
    }


def _contents(told: Told) -> pd.DataFrame:
    rows = []
    for bin_ in (*told.bins, told.tray):
        for what, one in bin_.contents.items():
            known = None if bin_.known is None else bin_.known.get(what)
            rows.append(_label(bin_) | {"what": what} | asdict(one) | {"known": known})
    for what, one in told.rack.items():
        row = {"bin": "rack", "phase": "", "beetles_in": None, "beetles_out": None}
        rows.append(row | {"what": what} | asdict(one) | {"known": told.known.get(what)})
    return pd.DataFrame(rows).astype({"known": float})


def _label(bin_: BinTold) -> dict[str, object]:
    return {
        "bin": bin_.name, "phase": bin_.phase, "beetles_in": _iso(bin_.beetles_in),
        "beetles_out": _iso(bin_.beetles_out),
    }  # fmt: skip


def _weeks(asked: Asked, state: State) -> pd.DataFrame:
    draws, rows = state.draws, []
    names = bin_names(asked.ensemble.schedule.bins, draws.values["harvest_g"].shape[2])
    ends = {what: draws.quantiles(draws.values[what], LEVELS) for what in ("harvest_g", "large_g")}
    for what, found in ends.items():
        for week in range(lived.WEEKS):
            until = asked.on + datetime.timedelta(days=7 * (week + 1))
            for slot, name in enumerate(names):
                rows.append(
                    {"bin": name, "week": week + 1, "until": until.isoformat(), "what": what}
                    | asdict(Range.of(found[:, week, slot]))
                )
    for what in ("harvested_g", "beetles", "hatched"):
        found = draws.quantiles(draws.values[what], LEVELS)
        for week in range(lived.WEEKS):
            until = asked.on + datetime.timedelta(days=7 * (week + 1))
            rows.append(
                {"bin": "rack", "week": week + 1, "until": until.isoformat(), "what": what}
                | asdict(Range.of(found[:, week]))
            )
    return pd.DataFrame(rows)


def _steps(told: Told) -> pd.DataFrame:
    columns = ["bin", "what", "probability", "date", "day_median", "day_low_90", "day_high_90"]
    rows = []
    for bin_ in told.bins:
        for step in bin_.steps:
            date = told.on + datetime.timedelta(days=round(step.days.median))
            rows.append([
                bin_.name, step.what, step.probability, date.isoformat(), step.days.median,
                step.days.low_90, step.days.high_90,
            ])  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _waiting(told: Told) -> pd.DataFrame:
    rows = [
        {"days": wait.days, "what": what} | asdict(one)
        for wait in told.waits
        for what, one in (("harvested_g", wait.grams), ("hatched", wait.hatched))
    ]
    names = ["days", "what", *(name for name in Range.__dataclass_fields__)]
    return pd.DataFrame(rows, columns=names)


def _residuals(asked: Asked, told: Told) -> pd.DataFrame:
    observed = asked.ensemble.schedule.observed
    found = np.full(len(observed), np.nan) if told.misfit is None else told.misfit.residuals
    return pd.DataFrame({
        "row": [one.entry.row for one in observed],
        "date": [one.entry.date.isoformat() for one in observed],
        "bin": [one.entry.bin for one in observed],
        "action": [one.entry.action.value for one in observed],
        "stage": [one.entry.stage for one in observed],
        "unit": [one.unit for one in observed],
        "written": [one.value for one in observed],
        "standard_deviations": found,
    })  # fmt: skip


def _iso(date: datetime.date | None) -> str | None:
    return None if date is None else date.isoformat()
