"""Tables of the page: rounded numbers with their intervals, from the tables of the folder."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import catalogue as parameters
from colony_sim.errors import InputError
from colony_sim.experiment.finding import dashed
from colony_sim.experiment.measures import catalogue as measures
from colony_sim.experiment.wording import number, separated

NOTHING = "–"
MOST_ROWS = 200
"""Rows of the numbers behind a figure that the page holds; the whole table is in the folder."""


@dataclass(frozen=True)
class Row:
    """A row: what it is about, its unit, its cells; `strong` where a difference is supported."""

    label: str
    cells: tuple[str, ...]
    unit: str = ""
    strong: bool = False


@dataclass(frozen=True)
class Group:
    """Rows under a heading of their own (empty: none)."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Table:
    """A table as it is shown; the first of `head` is that of the row labels."""

    caption: str
    head: tuple[str, ...]
    groups: tuple[Group, ...]
    note: str = ""


def read(folder: Path, name: str) -> pd.DataFrame:
    """A Parquet table of a results folder.

    Raises
    ------
    InputError
        If it is missing or damaged.
    """
    path = folder / f"{name}.parquet"
    try:
        return pd.read_parquet(path)
    except (OSError, ValueError) as error:
        reason = type(error).__name__
        raise InputError(str(path), "file", reason, "a table as colony-sim wrote it") from None


def value(x: float) -> str:
    """A number with three significant digits and a true minus sign; a dash if there is none."""
    return NOTHING if x is None or not math.isfinite(x) else dashed(number(x))


def interval(mean: float, low: float, high: float) -> str:
    """``12.3 (11.9 to 12.8)``, the interval rounded outward."""
    if not (math.isfinite(mean) and math.isfinite(low) and math.isfinite(high)):
        return value(mean)
    ends = number(low, ROUND_FLOOR), number(high, ROUND_CEILING)
    return dashed(f"{number(mean)} ({ends[0]} to {ends[1]})")


def policies_table(
    handling: dict[str, dict[str, Any]], summary: pd.DataFrame | None
) -> Table | None:
    """Policies side by side: the keys of handling that differ, runs, and measures.

    Parameters
    ----------
    handling : dict
        Keys and values of handling by policy, baseline first.
    summary : DataFrame or None
        From `policy_summary`; None: only the handling.
    """
    names = tuple(handling)
    groups = []
    differing = [
        key
        for key in handling[names[0]]
        if len({repr(handling[name].get(key)) for name in names}) > 1
    ]
    if differing:
        groups.append(Group("Handling that differs", tuple(_handling(handling, differing))))
    if summary is not None:
        groups.append(Group("Runs", tuple(_runs(summary, names))))
        groups.append(Group("Steady state, mean of settled runs", tuple(_means(summary, names))))
    if not groups:
        return None
    caption = "Policies side by side"
    caption += "" if summary is None else f" ({level_of(summary)} intervals in brackets)"
    return Table(caption, ("", *names), tuple(groups))


def _handling(handling: dict[str, dict[str, Any]], keys: Sequence[str]) -> Iterable[Row]:
    entries = parameters()
    for key in keys:
        entry = entries.get(key)
        about = entry.about.split(".")[0] if entry else key
        unit = entry.unit if entry and entry.kind in ("number", "integer") else ""
        yield Row(f"{about} ({key})", tuple(_plain(h.get(key)) for h in handling.values()), unit)


def _plain(x: Any) -> str:
    if isinstance(x, bool):
        return "yes" if x else "no"
    return f"{x:g}" if isinstance(x, float) else NOTHING if x is None else str(x)


def _runs(summary: pd.DataFrame, names: Sequence[str]) -> Iterable[Row]:
    first = summary.drop_duplicates("policy").set_index("policy")
    for label, column in (
        ("Settled", "n_settled"),
        ("Died out", "n_died_out"),
        ("Never settled", "n_unsettled"),
    ):
        cells = (f"{first.loc[name, column]} of {first.loc[name, 'n_runs']}" for name in names)
        yield Row(label, tuple(cells), "runs")


def _means(summary: pd.DataFrame, names: Sequence[str]) -> Iterable[Row]:
    rows = summary.set_index(["measure", "policy"])
    for key, measure in measures().items():
        if key not in rows.index.get_level_values(0):
            continue
        found = [rows.loc[(key, name)] for name in names]
        cells = tuple(interval(row["mean"], row["low"], row["high"]) for row in found)
        yield Row(measure.label, cells, measure.unit)


def difference_tables(differences: pd.DataFrame) -> list[Table]:
    """Paired differences to the baseline, one table a policy."""
    tables = []
    for policy, rows in differences.groupby("policy", sort=False):
        baseline = rows["baseline"].iloc[0]
        if not (rows["n_pairs"] > 0).any():
            continue
        caption = f"Paired difference: {policy} minus {baseline} ({level_of(rows)} intervals)"
        head = ("", "Difference", f"In % of {baseline}", "p (Holm)", "Pairs")
        found = tuple(_difference(row) for _, row in rows.iterrows())
        note = (
            "In bold: the interval leaves out 0 and the p value, adjusted for the number of "
            "policies compared, is below 0.05. Among many measures some are bold by chance alone; "
            "the question is asked of the yield."
        )
        tables.append(Table(caption, head, (Group("", found),), note))
    return tables


def _difference(row: pd.Series) -> Row:
    measure = measures()[row["measure"]]
    return Row(
        measure.label,
        (
            interval(row["difference"], row["low"], row["high"]),
            interval(row["relative_percent"], row["relative_low"], row["relative_high"]),
            NOTHING if math.isnan(row["p_holm"]) else probability(row["p_holm"]),
            f"{row['n_pairs']} of {row['n_pairs'] + row['n_dropped']}",
        ),
        measure.unit,
        strong=separated(row),
    )


def probability(p: float) -> str:
    """A p value, never 0."""
    return f"{p:.2g}" if p >= 0.001 else "< 0.001"


def level_of(table: pd.DataFrame) -> str:
    """Confidence level of a table, such as "95 %"."""
    return f"{100 * float(table['level'].iloc[0]):.3g} %"


def assumptions_table(table: pd.DataFrame, most: int = 8) -> Table:
    """The assumptions with the largest changes, from ``assumptions.parquet``."""
    rows = []
    for rank, ends in table.sort_values(["rank"], kind="stable").groupby("rank", sort=True):
        if rank > most:
            break
        first = ends.iloc[0]
        about = str(first["about"]).split(".")[0]
        cells = [_at_end(ends, end) for end in ("low", "high")]
        rows.append(
            Row(
                f"{about} ({first['key']})",
                (value(first["default"]), *cells, f"{first['basis']}; {first['confidence']}"),
                str(first["unit"]),
                strong=bool(ends["sign_turns"].any()),
            )
        )
    total = table["key"].nunique()
    return Table(
        f"The {len(rows)} of {total} uncertain values that move the difference most",
        ("", "Value", "Difference at its low end", "At its high end", "Basis; confidence"),
        (Group("", tuple(rows)),),
        "Differences in g of yield per day with 95 % intervals. In bold: the sign turns. The whole "
        "list, with sources, is in assumptions.csv of the folder.",
    )


def _at_end(ends: pd.DataFrame, end: str) -> str:
    row = ends[ends["end"] == end]
    if row.empty:
        return NOTHING
    row = row.iloc[0]
    return f"at {value(row['value'])}: {interval(row['difference'], row['low'], row['high'])}"


def numbers_table(data: pd.DataFrame, caption: str, file: str) -> Table:
    """The numbers behind a figure, as they are, six digits of each."""
    shown = data.head(MOST_ROWS)
    rows = tuple(
        Row(_cell(row[0]), tuple(_cell(x) for x in row[1:]))
        for row in shown.itertuples(index=False, name=None)
    )
    note = "" if len(data) <= MOST_ROWS else f"The first {MOST_ROWS} of {len(data)} rows; {file}"
    return Table(caption, tuple(str(c) for c in data.columns), (Group("", rows),), note)


def _cell(x: Any) -> str:
    if x is None or x is pd.NA or (isinstance(x, float) and math.isnan(x)):
        return NOTHING
    if isinstance(x, bool | np.bool_):
        return _plain(bool(x))
    return dashed(f"{x:.6g}") if isinstance(x, float) else dashed(str(x))
