"""Tables of the page: rounded numbers with their intervals, from the tables of the folder."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import catalogue as parameters
from colony_sim.errors import InputError
from colony_sim.measuring.catalogue import YIELD, Measure
from colony_sim.measuring.catalogue import catalogue as measures
from colony_sim.statistics.paired import separated
from colony_sim.words.estimate import (
    NOTHING,
    Estimate,
    dashed,
    number,
    percent_of,
    probability,
    typeset,
)
from colony_sim.words.units import differs, here, named, plain, symbol

MAIN = (
    YIELD, "yield_g_per_kg_bran", "adult_losses_per_100_per_day", "eggs_eaten_share",
    "pupae_eaten_or_injured_share", "work_hours_per_week", "bins_in_use",
)  # fmt: skip
"""Measures of the table at the top; all others follow below it."""
MEANS = "Mean of all runs, steady state"
BOLD = (
    "In bold: the interval leaves out 0 and the p value, adjusted for the number of policies "
    "compared, is below 0.05. Among many measures some are bold by chance alone; the question is "
    "asked of the yield."
)
MOST_ROWS = 200
"""Rows of the numbers behind a figure that the page holds; the whole table is in the folder."""


@dataclass(frozen=True)
class Row:
    """A row: what it is about, its cells, its unit, and the places of the cells in bold."""

    label: str
    cells: tuple[str, ...]
    unit: str = ""
    strong: tuple[int, ...] = ()


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
    return typeset(number(math.nan if x is None else x))


def cell(mean: float, low: float, high: float) -> str:
    """``12.3 (11.9 to 12.8)``."""
    return typeset(Estimate(mean, low, high).cell)


def policies_table(
    handling: dict[str, dict[str, Any]],
    summary: pd.DataFrame | None,
    differences: pd.DataFrame | None,
) -> Table | None:
    """Policies side by side: the keys of handling that differ, runs, and `MAIN` measures.

    Parameters
    ----------
    handling : dict
        Keys and values of handling by policy, baseline first.
    summary, differences : DataFrame or None
        From `policy_summary` and `paired_differences`; None: only the handling. Of two policies
        the paired difference stands beside the means; for more, see `yield_table`.
    """
    names = tuple(handling)
    groups = []
    differing = [
        key
        for key in handling[names[0]]
        if len({repr(handling[name].get(key)) for name in names}) > 1
    ]
    beside = differences is not None and len(names) == 2
    empty = ("",) if beside else ()
    if differing:
        rows = tuple(_handling(handling, differing, empty))
        groups.append(Group("Handling that differs", rows))
    if summary is None:
        return Table("Handling", ("", *names), tuple(groups)) if groups else None
    groups.append(Group("Runs", tuple(_runs(summary, names, empty))))
    rows = tuple(_means(summary, names, differences if beside else None, MAIN))
    groups.append(Group(MEANS, rows))
    last = ("Paired difference",) if beside else ()
    meaning = f"; difference: {names[1]} minus {names[0]}" if beside else ""
    caption = "Handling, runs and main measures "
    caption += f"({level_of(summary)} intervals in brackets{meaning})"
    return Table(caption, ("", *names, *last), tuple(groups), BOLD if beside else "")


def measures_table(summary: pd.DataFrame, names: Sequence[str]) -> Table:
    """All measures of all policies."""
    caption = f"All measures by policy ({level_of(summary)} intervals in brackets)"
    return Table(caption, ("", *names), (Group("", tuple(_means(summary, names))),))


def yield_table(differences: pd.DataFrame) -> Table:
    """Paired difference in yield of every policy to the baseline."""
    rows = differences[differences["measure"] == YIELD]
    baseline = rows["baseline"].iloc[0]
    found = tuple(
        Row(
            str(row["policy"]),
            _difference_cells(row, measures()[YIELD]),
            strong=(0,) if separated(row) else (),
        )
        for _, row in rows.iterrows()
    )
    unit = named(measures()[YIELD].unit)
    caption = f"Paired difference in yield ({unit}) to {baseline} ({level_of(rows)} intervals)"
    return Table(caption, _difference_head(baseline), (Group("", found),), BOLD)


def _handling(
    handling: dict[str, dict[str, Any]], keys: Sequence[str], empty: tuple[str, ...]
) -> Iterable[Row]:
    entries = parameters()
    for key in keys:
        entry = entries.get(key)
        about = first_sentence(entry.about) if entry else key
        unit = named(entry.unit) if entry and entry.is_number else ""
        cells = (_of_key(key, values.get(key)) for values in handling.values())
        yield Row(f"{about} ({key})", (*cells, *empty), unit)


def first_sentence(text: str) -> str:
    """What comes before the first full stop that ends a sentence."""
    return re.split(r"\.\s+(?=[A-Z])", text)[0].rstrip(".")


def _plain(x: Any) -> str:
    if isinstance(x, bool):
        return "yes" if x else "no"
    return dashed(f"{x:g}") if isinstance(x, float) else NOTHING if x is None else str(x)


def _of_key(key: str, x: Any) -> str:
    """A value of a key in the unit of the house."""
    known = parameters().get(key)
    if known is None or x is None or not differs(known.unit):
        return _plain(x)
    return dashed(plain(here(x, known.unit)))


def _runs(summary: pd.DataFrame, names: Sequence[str], empty: tuple[str, ...]) -> Iterable[Row]:
    first = summary.drop_duplicates("policy").set_index("policy")
    for label, column in (
        ("Steady", "n_settled"),
        ("Died out", "n_died_out"),
        ("Never steady", "n_unsettled"),
    ):
        cells = (f"{first.loc[name, column]} of {first.loc[name, 'n_runs']}" for name in names)
        yield Row(label, (*cells, *empty), "runs")


def _means(
    summary: pd.DataFrame,
    names: Sequence[str],
    differences: pd.DataFrame | None = None,
    keys: Sequence[str] = (),
) -> Iterable[Row]:
    rows = summary.set_index(["measure", "policy"])
    pairs = None if differences is None else differences.set_index("measure")
    for key, measure in measures().items():
        if keys and key not in keys:
            continue
        found = [rows.loc[(key, name)] for name in names]
        unit = named(measure.unit)
        cells = tuple(_cell_of(row, "mean", measure) for row in found)
        if pairs is None:
            yield Row(measure.label, cells, unit)
            continue
        row = pairs.loc[key]
        strong = (len(cells),) if separated(row) else ()
        yield Row(measure.label, (*cells, _cell_of(row, "difference", measure)), unit, strong)


def _cell_of(row: pd.Series, mean: str, measure: Measure) -> str:
    """A row of a measure with its interval, in the unit of the house."""
    return cell(*(here(row[column], measure.unit) for column in (mean, "low", "high")))


def difference_tables(differences: pd.DataFrame) -> list[Table]:
    """Paired differences to the baseline in all measures, one table a policy."""
    tables = []
    for policy, rows in differences.groupby("policy", sort=False):
        baseline = rows["baseline"].iloc[0]
        if not (rows["n_pairs"] > 0).any():
            continue
        caption = f"Paired difference: {policy} minus {baseline} ({level_of(rows)} intervals)"
        found = []
        for _, row in rows.iterrows():
            measure = measures()[row["measure"]]
            strong = (0,) if separated(row) else ()
            cells = _difference_cells(row, measure)
            found.append(Row(measure.label, cells, named(measure.unit), strong))
        tables.append(Table(caption, _difference_head(baseline), (Group("", tuple(found)),), BOLD))
    return tables


def _difference_head(baseline: str) -> tuple[str, ...]:
    return ("", "Difference", f"In % of {baseline}", "p (Holm)", "Pairs")


def _difference_cells(row: pd.Series, measure: Measure) -> tuple[str, ...]:
    return (
        _cell_of(row, "difference", measure),
        cell(row["relative_percent"], row["relative_low"], row["relative_high"]),
        probability(row["p_holm"]),
        f"{row['n_pairs']} of {row['n_pairs'] + row['n_dropped']}",
    )


def level_of(table: pd.DataFrame) -> str:
    """Confidence level of a table, such as "95 %"."""
    return percent_of(float(table["level"].iloc[0]))


def assumptions_table(table: pd.DataFrame, most: int = 8) -> Table:
    """The assumptions with the largest changes, from ``assumptions.parquet``."""
    rows = []
    for rank, ends in table.groupby("rank", sort=True):
        if rank > most:
            break
        first = ends.iloc[0]
        cells = [_at_end(ends, end) for end in ("low", "high")]
        turns = {str(row["end"]) for _, row in ends.iterrows() if row["sign_turns"]}
        rows.append(
            Row(
                f"{first_sentence(str(first['about']))} ({first['key']})",
                (
                    _of_key(first["key"], float(first["default"])),
                    *cells,
                    f"{first['basis']}; {first['confidence']}",
                ),
                named(str(first["unit"])),
                tuple(i for i, end in enumerate(("low", "high"), start=1) if end in turns),
            )
        )
    total = table["key"].nunique()
    return Table(
        f"The {len(rows)} of {total} uncertain values that move the difference most",
        ("", "Value", "Difference at its low end", "At its high end", "Basis; confidence"),
        (Group("", tuple(rows)),),
        f"Differences in {symbol('g')} of yield per day with 95 % intervals. In bold: the sign "
        "turns. The whole list, with sources, is in assumptions.csv of the folder.",
    )


def _at_end(ends: pd.DataFrame, end: str) -> str:
    row = ends[ends["end"] == end]
    if row.empty:
        return NOTHING
    row = row.iloc[0]
    value = _of_key(row["key"], float(row["value"]))
    return f"at {value}: {_cell_of(row, 'difference', measures()[YIELD])}"


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
