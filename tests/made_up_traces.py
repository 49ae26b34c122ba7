"""Made-up runs with bins, by formula: they stay as they are when the model changes."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd

from colony_sim.colony.simulate import RunRecord
from colony_sim.studies.comparison.relive import Traces

DAYS, BINS, LIFE, MOIST = 300, 7, 90, 25
"""Days of a run, bins of the rack, days from the beetles leaving to the clearing and to moisture.
"""


def record(interval: int, days: int = DAYS, life: int = LIFE, scale: float = 1.0) -> RunRecord:
    """A run in which a bin is filled every `interval` days and cleared `life` days after."""
    rows, log = [], []
    free_from = np.zeros(BINS + 1)
    for start in range(0, days, interval):
        chosen = next((b for b in range(1, BINS + 1) if free_from[b] <= start), None)
        if chosen is None:
            continue
        out, end = start + interval, start + interval + life
        free_from[chosen] = end
        wobble = scale * (1 + 0.1 * ((start // interval) % 5 - 2))
        for day in range(max(start, 1), min(end, days + 1)):
            age, inside = day - out, day < out
            skins = 40 * max(day - start - 5, 0)
            mass = wobble * 60 * np.exp(-(((age - 55) / 22) ** 2))
            if not inside and age % 7 == 0 and age > 40:
                log.append((day, chosen, "harvest", start, out, 0.1 * mass, ""))
            if age == MOIST:
                log.append((day, chosen, "moisture started", start, out, np.nan, ""))
            rows.append({
                "day": day, "bin": chosen, "phase": "breeding" if inside else "growing",
                "date_in": start, "date_out": np.nan if inside else out,
                "eggs": int(wobble * 90 * max(interval - abs(age), 0) / interval * 10),
                "larvae": int(wobble * 9 * (100 - max(age, 0)) / (1 + np.exp(-(age - 5) / 3))),
                "pupae": int(10 * max(age - 50, 0) / 40), "adults": 60 if inside else 0,
                "larvae_g": mass, "skins": skins, "visible_skins": skins // 2,
            })  # fmt: skip
        if end <= days:
            log.append((end, chosen, "cleared", start, out, np.nan, "as spent"))
    table = pd.DataFrame(rows)
    every = pd.MultiIndex.from_product(
        [range(1, days + 1), range(1, BINS + 1)], names=["day", "bin"]
    )
    table = table.set_index(["day", "bin"]).reindex(every).reset_index()
    counts = ["eggs", "larvae", "pupae", "adults", "larvae_g", "skins", "visible_skins"]
    table[counts] = table[counts].fillna(0)
    table["phase"] = table["phase"].astype(object).where(table["phase"].notna(), "free")
    columns = ["day", "bin", "action", "date_in", "date_out", "grams", "reason"]
    log = pd.DataFrame(log, columns=columns)
    daily = pd.DataFrame({"day": range(1, days + 1)})
    return RunRecord(daily, log.sort_values("day").reset_index(drop=True), table, None)


def traces(**intervals: int) -> Traces:
    """A made-up run of each policy, named by keyword, with its interval; warm-up of 20 days."""
    return Traces(
        seed=7,
        plan=SimpleNamespace(days=DAYS),
        records={name: record(interval) for name, interval in intervals.items()},
        warm_up=dict.fromkeys(intervals, 20),
    )
