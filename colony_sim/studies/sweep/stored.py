"""A finished sweep as its folder holds it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq

from colony_sim.errors import InputError
from colony_sim.measuring.catalogue import YIELD, catalogue
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.statistics.pointwise import FAILED, STATUSES
from colony_sim.words.finding import measures_in_house
from colony_sim.words.units import here

LOSS = "adult_losses_per_100_per_day"
MEASURES = (YIELD, LOSS)
"""Measures that are drawn, the first one first."""
MOST_RUNS = 300_000
"""Runs that are read at once; a larger sweep is told in tables alone."""
APART = tuple(word for word in (*STATUSES, FAILED) if word != "settled")


@dataclass(frozen=True)
class StoredSweep:
    """The tables of a sweep, for the measures that are drawn.

    Attributes
    ----------
    manifest : dict
    policies : tuple of str
        Baseline first.
    keys : tuple of str
        Keys that take more than one value; the only key of the sweep if none does.
    grid : bool
        Whether the design is factorial: every combination of listed values.
    points : DataFrame
        Values of all keys, by point.
    runs : DataFrame
        One row a run: point, policy, seed, status and `MEASURES`, NaN where without meaning.
    summary : DataFrame
        Mean and interval per point, policy and measure, over all runs.
    differences : DataFrame
        Paired, to the baseline, per point, policy and measure; empty with one policy.
    """

    manifest: dict[str, Any]
    policies: tuple[str, ...]
    keys: tuple[str, ...]
    grid: bool
    points: pd.DataFrame
    runs: pd.DataFrame
    summary: pd.DataFrame
    differences: pd.DataFrame

    def in_house(self) -> StoredSweep:
        """The same with `MEASURES` in the units of the house; keys stay as they are."""
        units = {measure: catalogue()[measure].unit for measure in MEASURES}
        return replace(
            self,
            runs=self.runs.assign(**{m: here(self.runs[m], unit) for m, unit in units.items()}),
            summary=measures_in_house(self.summary, units),
            differences=measures_in_house(self.differences, units),
        )

    def values(self, key: str) -> list[Any]:
        """Values of a key that occur, rising where they are numbers, else in order of the design.

        Plain Python values.
        """
        found = list(dict.fromkeys(self.points[key].tolist()))
        return sorted(found) if is_number(self.points[key]) else found

    def in_order(self) -> list[int]:
        """Points in the order of the values of the first key."""
        place = {value: i for i, value in enumerate(self.values(self.keys[0]))}
        return self.points[self.keys[0]].map(place).sort_values(kind="stable").index.tolist()

    def means(self, measure: str, policy: str) -> pd.DataFrame:
        """Rows of the summary of one measure under one policy, by point."""
        rows = self.summary
        rows = rows[(rows["measure"] == measure) & (rows["policy"] == policy)]
        return rows.set_index("point").reindex(self.points.index)

    def paired(self, measure: str) -> pd.DataFrame:
        """Rows of the differences of one measure."""
        return self.differences[self.differences["measure"] == measure].reset_index(drop=True)

    def wide(self, measure: str) -> pd.DataFrame:
        """Values of the runs by point and policy (rows) and seed (columns)."""
        return self.runs.pivot(index=["point", "policy"], columns="seed", values=measure)

    def apart(self) -> dict[str, int]:
        """How many runs did not settle, died out or failed, where there are any."""
        counts = self.runs["status"].value_counts()
        return {word: int(counts[word]) for word in APART if counts.get(word, 0)}


def is_number(column: pd.Series) -> bool:
    """Whether the values of a key are numbers (True and False are none)."""
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)


def read(folder: Path) -> StoredSweep:
    """Read a sweep back from its folder.

    Raises
    ------
    InputError
        If the folder is not that of a sweep, is damaged, or holds too many runs to be drawn.
    """
    folder = Path(folder)
    data = manifest.read(folder, ("sweep",))
    where = str(folder / MANIFEST)
    if too_many(data):
        allowed = f"at most {MOST_RUNS}; the tables hold them all"
        raise InputError(where, "runs to draw", data["sweep"]["n_runs"], allowed)
    try:
        baseline = data["experiment"]["baseline"]
        names = [entry["name"] for entry in data["policies"]]
        factors = [factor["key"] for factor in data["sweep"]["factors"]]
        points = pd.read_parquet(folder / "points.parquet").set_index("point")[factors]
        columns = ["point", "policy", "seed", "status", *MEASURES]
        runs = pd.read_parquet(folder / "sweep.parquet", columns=columns)
        varied = [key for key in factors if points[key].nunique() > 1]
        return StoredSweep(
            manifest=data,
            policies=(baseline, *(name for name in names if name != baseline)),
            keys=tuple(varied or factors[:1]),
            grid=data["sweep"]["design"] == "factorial",
            points=points,
            runs=runs,
            summary=_measured(folder / "summary.parquet"),
            differences=_measured(folder / "differences.parquet"),
        )
    except OSError as error:
        raise InputError(where, "tables", error.strerror or "missing", "those of a sweep") from None
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(where, "sweep", f"damaged ({error})", "a sweep as written") from None


def too_many(data: dict[str, Any]) -> bool:
    """Whether a sweep, by its manifest, has more runs than are drawn."""
    return int(data["sweep"]["n_runs"]) > MOST_RUNS


def _measured(path: Path) -> pd.DataFrame:
    """A table with the rows of `MEASURES`; empty if the sweep has no such table."""
    if not path.exists():
        return pd.DataFrame(columns=["point", "policy", "measure"])
    table = pq.read_table(path, filters=[("measure", "in", list(MEASURES))]).to_pandas()
    return table.replace({np.inf: np.nan, -np.inf: np.nan})
