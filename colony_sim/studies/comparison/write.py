"""Measures the stored runs of a comparison and writes its tables and the fields of the result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import new_file
from colony_sim.experiment.asks import Asks, asks_of, in_order
from colony_sim.experiment.plan import Plan, PlannedRun
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.measuring.catalogue import catalogue
from colony_sim.results.folder import write_table
from colony_sim.results.study import files_of
from colony_sim.running.store import OutcomeStore
from colony_sim.statistics.paired import (
    all_paired_differences,
    died_out_comparison,
    policy_summary,
)
from colony_sim.studies.comparison.assumptions import Assumptions, skipped
from colony_sim.studies.comparison.leans_on import (
    from_narrowing,
    leaning_in_words,
    leans_on,
    what_would_tell,
)
from colony_sim.studies.comparison.over_words import (
    answer,
    in_words,
    is_open,
    means_left_over,
)
from colony_sim.studies.comparison.over_worlds import over_worlds
from colony_sim.studies.comparison.stored import measured, place
from colony_sim.studies.comparison.this_colony import this_colony
from colony_sim.studies.comparison.verdict import verdict
from colony_sim.studies.profile_words import (
    circumstances,
    this_colony_in_words,
    with_profile,
)
from colony_sim.words.finding import beside, finding

DAILY = (
    "day", "temperature_c", "eggs", "larvae", "pupae", "adults", "breeders", "larvae_g",
    "bins_in_use", "bran_g", "harvest_larvae", "harvest_g", "eggs_laid", "bran_given_g",
    "work_minutes",
)  # fmt: skip
"""Columns of ``daily.parquet``, besides policy and seed."""


TABLES = ("runs", "measures", "policies", "differences", "all_differences", "died_out")
MORE_TABLES = (
    "daily", "over_worlds", "gains", "standings", "against_default", "leans_on", "assumptions",
    "precision", "handling",
)  # fmt: skip
FIGURES = ("gains", "comparison")
FILES = files_of((*TABLES, *MORE_TABLES), FIGURES)


def write_tables(
    plan: Plan, runs: Sequence[PlannedRun], store: OutcomeStore, folder: Path
) -> dict[str, Any]:
    """Measure the stored runs and write all tables; returns the fields of a Comparison.

    One run at a time is in memory: its daily series goes to ``daily.parquet`` as it is read.
    """
    rows = []
    with _DailyWriter(folder / "daily.parquet") as daily:
        for run in sorted(runs, key=lambda run: _order(plan, run)):
            series, outcome = measured(run, store)
            daily.add(run.policy, run.scenario.seed, series)
            rows.append({**place(plan, run), **outcome})
    table = pd.DataFrame(rows).astype({"died_out_day": "Int64"})
    keys = list(catalogue())
    long = table.melt(["policy", "replicate", "seed"], keys, "measure", "value")
    long["unit"] = long["measure"].map({key: m.unit for key, m in catalogue().items()})
    # Second runs in a world tell chance from worlds; they are no further worlds.
    once = table if "world" not in table else table.drop_duplicates(["policy", "world"])
    summary = policy_summary(once, measures=keys)
    everything = all_paired_differences(once, measures=keys)
    # One family of comparisons for the tables and for the sentence.
    differences = everything[everything["baseline"] == plan.baseline].reset_index(drop=True)
    died = died_out_comparison(once, plan.baseline)
    names = [plan.baseline] + [p.name for p in plan.policies if p.name != plan.baseline]
    sentence = f"{finding(names, summary, everything)}{with_profile(plan.profile)}."
    if len(names) == 2:
        asks = asks_of(plan.asks, plan.policies)
        work = None if asks is None else asks is Asks.WORTH
        sentence = f"{sentence} {beside(in_order(plan.policies), everything, work)}".rstrip()
    pairs = everything if len(plan.policies) > 2 else differences
    details = verdict("", _quoted(summary), _quoted(pairs), _quoted(died))
    for name, frame in (
        ("runs", table),
        ("measures", long),
        ("policies", summary),
        ("differences", differences),
        ("all_differences", everything),
        ("died_out", died),
    ):
        write_table(folder, name, frame)
    rests_on = tuple(circumstances(plan))
    return {
        "name": plan.name,
        "verdict": sentence,
        "details": details,
        "runs": table,
        "policies": summary,
        "differences": differences,
        "died_out": died,
        "circumstances": rests_on,
    }


def write_answer(
    plan: Plan,
    pair: tuple[str, str] | None,
    runs: pd.DataFrame,
    zone: float,
    store: OutcomeStore,
    run: Callable[[Plan], None] | None,
    folder: Path,
    equal: bool = False,
) -> dict[str, Any]:
    """Add the answer over the worlds of a plan to the tables; fields of a Comparison.

    `zone` is the half width (g/day) of gains that count as none. A keeper's profile is held
    against the default, which `run` runs; None leaves that out. `equal` says that every policy has
    the handling that suits it best.
    """
    if plan.profile is None or pair is None or runs["world"].nunique() < 2:
        return {}
    names = [policy.name for policy in plan.policies]
    over = over_worlds(runs, names, pair, zone)
    tables = {"over_worlds": over.table, "gains": over.gains, "standings": over.standings}
    evpi = min(over.first.regret_a, over.first.regret_b)
    lines = []
    if plan.profile.name == SHIPPED or run is None:
        leaning = leans_on(runs, plan.profile, pair, evpi)
    else:
        found = this_colony(plan, plan.profile, pair, runs, store, run)
        leaning = from_narrowing(found.narrowing, pair, evpi)
        lines = this_colony_in_words(found, plan.profile)
        tables["against_default"] = found.against
    tables["leans_on"] = leaning.table
    for name, table in tables.items():
        write_table(folder, name, table)
    asks = asks_of(plan.asks, plan.policies)
    sentence = answer(over, asks, in_order(plan.policies))
    if is_open(over):
        sentence += f" {what_would_tell(leaning)}"
    return {
        "verdict": sentence,
        "found": over,
        "profile": plan.profile.name,
        "answer": (*in_words(over, plan.profile.name), *lines[1:]),
        "advice": tuple(lines[:1]),
        "turning": leaning_in_words(leaning),
        "left_over": tuple(means_left_over(plan.policies, runs, equal)),
        **tables,
    }


def write_assumptions(lean: Assumptions | None, without: str, folder: Path) -> dict[str, Any]:
    """Add the assumptions to the tables; returns fields of a Comparison."""
    text = skipped(without) if lean is None else lean.text
    if lean is not None:
        write_table(folder, "assumptions", lean.table)
    return {"leaning": text, "assumptions": None if lean is None else lean.table}


def _quoted(table: pd.DataFrame) -> pd.DataFrame:
    """The table with policy names in quotes, so that a sentence shows where a name ends."""
    names = {c: "“" + table[c] + "”" for c in ("policy", "baseline") if c in table}
    return table.assign(**names)


def _order(plan: Plan, run: PlannedRun) -> tuple[int, int]:
    names = [policy.name for policy in plan.policies]
    return names.index(run.policy), run.replicate


class _DailyWriter:
    """Streams the daily series of one run after the other into one Parquet file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._writer: pq.ParquetWriter | None = None
        self._open = ExitStack()

    def __enter__(self) -> _DailyWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def add(self, policy: str, seed: int, daily: pd.DataFrame) -> None:
        table = pa.Table.from_pandas(daily[list(DAILY)], preserve_index=False)
        rows = table.num_rows
        table = table.add_column(0, "policy", pa.array([policy] * rows, pa.string()))
        table = table.add_column(1, "seed", pa.array([seed] * rows, pa.int64()))
        table = table.replace_schema_metadata(None)
        if self._writer is None:
            file = self._open.enter_context(new_file(self._path))
            self._writer = self._open.enter_context(pq.ParquetWriter(file, table.schema))
        self._writer.write_table(table.cast(self._writer.schema))
