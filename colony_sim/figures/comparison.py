"""The figure of a comparison: what was found, and the runs that show it, on one slide."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from colony_sim.experiment import manifest
from colony_sim.experiment.compare import handling_period
from colony_sim.experiment.paired import t_interval
from colony_sim.figures import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

YIELD = "yield_g_per_day"
LOSS = "adult_losses_per_100_per_day"
MONTH = 30


@dataclass(frozen=True)
class Results:
    """The tables of a results folder that the figure needs; policies baseline first."""

    manifest: dict[str, Any]
    policies: tuple[str, ...]
    runs: pd.DataFrame
    summary: pd.DataFrame
    differences: pd.DataFrame
    all_differences: pd.DataFrame
    daily: pd.DataFrame

    def of(self, policy: str, measure: str = YIELD) -> pd.Series:
        """Mean, interval and run counts of one measure under one policy."""
        rows = self.summary
        return rows[(rows["policy"] == policy) & (rows["measure"] == measure)].iloc[0]


def draw(folder: Path) -> list[Path]:
    """Draw the comparison in a results folder into that folder.

    Parameters
    ----------
    folder : Path
        Holds ``manifest.json`` and the Parquet tables of a comparison.

    Returns
    -------
    list of Path
        ``comparison.png`` (2000 x 1125 pixels) and ``comparison.svg``; the same tables always
        give the same bytes with the same versions of Matplotlib and seaborn.

    Raises
    ------
    InputError
        If the manifest is missing or not that of a comparison.
    """
    results = read(Path(folder))
    with style.theme():
        return style.save(_figure(results), Path(folder), "comparison")


def read(folder: Path) -> Results:
    """Read the tables of a results folder."""
    facts = manifest.read(folder)

    def table(name: str, columns: list[str] | None = None) -> pd.DataFrame:
        return pd.read_parquet(folder / f"{name}.parquet", columns=columns)

    return Results(
        manifest=facts,
        policies=tuple(entry["name"] for entry in facts["policies"]),
        runs=table("runs"),
        summary=table("policies"),
        differences=table("differences"),
        all_differences=table("all_differences"),
        daily=table("daily", ["policy", "seed", "day", "harvest_g"]),
    )


def finding(results: Results, most: int = 60) -> str:
    """The finding on yield in one sentence, no stronger than the paired intervals allow.

    One policy is put above another only where the interval of the paired difference leaves out
    0 and the Holm-adjusted p value is below 1 - level. With more than two policies the best is
    chosen after the fact, so the adjustment is over all pairs. Policy names are cut to `most`
    characters.
    """
    rows = {policy: results.of(policy) for policy in results.policies}
    quoted = {policy: f"“{style.shortened(policy, most)}”" for policy in rows}
    gone = [p for p, row in rows.items() if row["n_died_out"] == row["n_runs"]]
    known = [p for p, row in rows.items() if math.isfinite(row["mean"])]
    if len(gone) == len(rows):
        where = f"under {quoted[gone[0]]}" if len(rows) == 1 else "under every policy"
        return f"The colony died out in every run {where}"
    start = ""
    if len(gone) > 1:
        start = f"The colony died out in every run under {len(gone)} of {len(rows)} policies; "
    elif gone:
        start = f"{quoted[gone[0]]} died out in all {rows[gone[0]]['n_runs']} runs; "
    if not known:
        return f"{start or 'No '}{'no ' if start else ''}run settled, so no yields can be compared"
    if len(known) == 1:
        row = rows[known[0]]
        only = "" if gone or len(rows) == 1 else "Only "
        verb = "settled: it yields" if only else "yields"
        return f"{start}{only}{quoted[known[0]]} {verb} {_mean_text(row)}"
    if len(known) == 2:
        return start + _two(results, known, quoted)
    ranked = sorted(known, key=lambda p: -rows[p]["mean"])
    return start + _many(results, ranked, quoted, capital=not start)


def separated(row: pd.Series) -> bool:
    """Whether a row of a table of paired differences supports a difference."""
    leaves_out_zero = row["low"] > 0 or row["high"] < 0
    return bool(leaves_out_zero and row["p_holm"] < 1 - row["level"])


def _two(results: Results, known: list[str], quoted: dict[str, str]) -> str:
    second, first = known
    table = results.differences if len(results.policies) == 2 else results.all_differences
    row = _row(table, first, second)
    if separated(row) and row["difference"] < 0:
        first, second = second, first
        row = _row(results.all_differences, first, second) if table is not results.differences \
            else _turned(row)
    if separated(row):
        return f"{quoted[first]} yields more than {quoted[second]}: {_change(row)}"
    if row["n_pairs"] < 2:
        return f"Too few settled pairs of runs to compare {quoted[first]} with {quoted[second]}"
    return f"The runs do not separate {quoted[first]} from {quoted[second]}: {_change(row)}"
