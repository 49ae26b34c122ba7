"""Tables of a sweep, written from the store a few points at a time.

``sweep`` (one row a run), ``points``, ``summary`` (a row per point, policy and measure),
``differences`` (paired, to the baseline), ``ranking``, ``failures`` and ``precision`` where there
is any; over worlds ``gains`` (in yield, a row per point, world and pair of runs) and
``over_worlds`` (how surely a policy is ahead at a point). No more than a chunk of points is in
memory, and no row depends on how or where the runs were done: the same sweep gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import new_file
from colony_sim.experiment.plan import Plan
from colony_sim.measuring.catalogue import catalogue
from colony_sim.measuring.outcome import FACTS, IN_WORDS
from colony_sim.results import findings, manifest
from colony_sim.results.findings import Finding as Paragraph
from colony_sim.results.folder import write_table
from colony_sim.running.executor import PointRun
from colony_sim.running.store import OutcomeStore
from colony_sim.statistics.pointwise import FAILED, differences, ranking, summarise
from colony_sim.statistics.worlds_pointwise import gains_in_worlds, verdicts_at_points
from colony_sim.studies import precision
from colony_sim.studies.fitting_worlds import left_out_in_words
from colony_sim.studies.profile_words import circumstances
from colony_sim.studies.sweep.findings import Finding
from colony_sim.words.cells import as_csv

if TYPE_CHECKING:
    from colony_sim.studies.sweep.run import SweepPlan

CHUNK_RUNS = 2000
"""Runs in memory at a time; more only where one point has more."""
PRIMARY = "yield_g_per_day"


@dataclass
class Written:
    """What a sweep came to, counted while its tables were written."""

    n_runs: int = 0
    n_failed: int = 0
    first_failure: str = ""
    finding: list[str] = field(default_factory=list)


def write(
    sweep: SweepPlan,
    runs: Iterable[PointRun],
    store: OutcomeStore,
    folder: Path,
    command: str,
    draw: Callable[[Path], object] | None = None,
) -> Written:
    """Write all tables and the manifest of a sweep to a folder, and let `draw` add its figure."""
    plan, measures = sweep.plan, list(catalogue())
    names = [policy.name for policy in plan.policies]
    written, found = Written(), Finding(sweep)
    with ExitStack() as stack:
        tables = {
            name: stack.enter_context(_Table(folder, name))
            for name in (
                "sweep", "summary", "differences", "ranking", "gains", "over_worlds", "precision",
                "failures",
            )
        }  # fmt: skip
        for chunk in chunks(runs, store, plan):
            tables["sweep"].add(_tidy(chunk, sweep))
            part = differences(chunk, names, plan.baseline, measures)
            tables["summary"].add(summarise(chunk, names, measures))
            if len(names) > 1:
                tables["differences"].add(part)
                tables["ranking"].add(ranking(chunk, names, PRIMARY, more=True))
            if len(names) > 1 and plan.profile is not None:
                gains = gains_in_worlds(chunk, names, plan.baseline, PRIMARY)
                ahead = verdicts_at_points(gains)
                tables["gains"].add(_with_keys(gains, sweep))
                tables["over_worlds"].add(_with_keys(ahead, sweep))
                found.add_worlds(ahead)
            if sweep.rule is not None:
                table = precision.reached(chunk, names, plan.baseline, sweep.rule)
                tables["precision"].add(table)
                found.add_precision(table)
            found.add(chunk, part)
            failed = chunk[chunk["status"] == FAILED]
            written.n_runs += len(chunk)
            if len(failed):
                if not written.n_failed:
                    written.first_failure = _where(failed.iloc[0], sweep)
                written.n_failed += len(failed)
                tables["failures"].add(_failures(failed, sweep))
    write_table(folder, "points", sweep.points.reset_index())
    varied = list(sweep.points.columns)
    written.finding = [
        *found.sentences(),
        *circumstances(plan, varied),
        *left_out_in_words(sweep.left_out),
    ]
    data = _manifest(sweep, written, command)
    manifest.write(folder, data)
    if draw is not None:
        draw(folder)
        manifest.write(folder, data)
    return written


def chunks(runs: Iterable[PointRun], store: OutcomeStore, plan: Plan) -> Iterator[pd.DataFrame]:
    """Stored runs of whole points, some thousand at a time, as one table.

    Columns: point, policy, replicate, world (with a profile alone), seed, `FACTS`, the measures,
    error and parameters (of a failed run). A run that is not in the store has failed.
    """
    rows: list[dict[str, Any]] = []
    for run in runs:
        if len(rows) >= CHUNK_RUNS and rows[-1]["point"] != run.point:
            yield _frame(rows, plan)
            rows = []
        rows.append(_row(run, store, plan.world(run.replicate)))
    if rows:
        yield _frame(rows, plan)


def _row(run: PointRun, store: OutcomeStore, world: int) -> dict[str, Any]:
    place = {
        "point": run.point, "policy": run.policy, "replicate": run.replicate, "world": world,
        "seed": run.scenario.seed,
    }  # fmt: skip
    outcome = store.get(run.key)
    if outcome is not None:
        return {**place, **outcome, "error": "", "parameters": ""}
    error = store.error(run.key) or "the run is missing from the store"
    inputs = {
        **run.scenario.parameters.as_dict(), "days": run.scenario.days,
        "start.breeders": run.scenario.breeders, "start.larvae": run.scenario.larvae,
        "climate": run.scenario.climate.as_dict(),
    }  # fmt: skip
    return {
        **place, "status": FAILED, "died_out_day": None, "warm_up_days": 0, "days_used": 0,
        "note": error.strip().splitlines()[-1], "error": error, "parameters": json.dumps(inputs),
    }  # fmt: skip


def _frame(rows: list[dict[str, Any]], plan: Plan) -> pd.DataFrame:
    world = [] if plan.profile is None else ["world"]
    names = ["point", "policy", "replicate", *world, "seed", *FACTS, *catalogue(), "error",
             "parameters"]  # fmt: skip
    table = pd.DataFrame(rows, columns=names)
    table[list(catalogue())] = table[list(catalogue())].astype(float)
    return table.astype({"died_out_day": "Int64"})


def _with_keys(table: pd.DataFrame, sweep: SweepPlan) -> pd.DataFrame:
    """The table with the keys of its points after the column ``point``."""
    keys = sweep.points.loc[table["point"].to_numpy()].reset_index(drop=True)
    table = table.reset_index(drop=True)
    return pd.concat([table[["point"]], keys, table.drop(columns="point")], axis=1)


def _tidy(chunk: pd.DataFrame, sweep: SweepPlan) -> pd.DataFrame:
    return _with_keys(chunk.drop(columns=["error", "parameters"]), sweep)


def _failures(failed: pd.DataFrame, sweep: SweepPlan) -> pd.DataFrame:
    columns = ["point", "policy", "replicate", "seed", "note", "error", "parameters"]
    table = failed[columns].rename(columns={"note": "error", "error": "traceback"})
    return _with_keys(table, sweep)


def _where(row: pd.Series, sweep: SweepPlan) -> str:
    keys = ", ".join(f"{k} = {v}" for k, v in sweep.points.loc[row["point"]].items())
    return f"point {row['point']} ({keys}), policy {row['policy']}, seed {row['seed']}: " + str(
        row["note"]
    )


def _manifest(sweep: SweepPlan, written: Written, command: str) -> dict[str, Any]:
    data = manifest.build(sweep.plan, [], command)
    del data["runs"]
    first, *rest = written.finding
    said = [Paragraph("answer", first), *(Paragraph("detail", text) for text in rest)]
    factors = [
        {"key": f.key, "values": list(f.values)}
        if f.values
        else {"key": f.key, "low": f.low, "high": f.high}
        for f in sweep.factors
    ]
    return {
        **data,
        "kind": "sweep",
        "findings": findings.as_data(said),
        "design": _design(sweep, written),
        "sweep": {
            "design": sweep.design,
            "design_seed": sweep.design_seed,
            "factors": factors,
            "points": len(sweep.points),
            "replicates": sweep.replicates,
            "precision": sweep.rule.as_dict() if sweep.rule else None,
            "n_runs": written.n_runs,
            "n_failed": written.n_failed,
            "worlds_left_out": sweep.left_out,
        },
    }


def _design(sweep: SweepPlan, written: Written) -> str:
    """The points, and what was estimated at each."""
    keys = ", ".join(factor.key for factor in sweep.factors)
    over = "" if sweep.plan.profile is None else (
        f" Each replicate lived in a world of its own of “{sweep.plan.profile.name}”, the same at "
        "every point; estimands over worlds: the probability that a policy is ahead, and its "
        "expected gain, with Monte Carlo standard errors."
    )  # fmt: skip
    return (
        f"Varied: {keys}, over {len(sweep.points)} points of a {sweep.design} design, "
        f"{written.n_runs} runs of {sweep.plan.days} days in all, with the same seeds at every "
        f"point and policy. {IN_WORDS} "
        "Estimands: means over all runs and differences paired by seed, at each point, with "
        f"95 % t intervals.{over}"
    )


class _Table:
    """Streams one table into a Parquet and a CSV file; none if nothing is added."""

    def __init__(self, folder: Path, name: str) -> None:
        self._parquet, self._csv = folder / f"{name}.parquet", folder / f"{name}.csv"
        self._writer: pq.ParquetWriter | None = None
        self._open = ExitStack()

    def __enter__(self) -> _Table:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def add(self, table: pd.DataFrame) -> None:
        """Append rows."""
        if table.empty:
            return
        arrow = pa.Table.from_pandas(table, preserve_index=False).replace_schema_metadata(None)
        writer = self._writer
        first = writer is None
        if writer is None:
            # A first part without any value must not fix a column as one of nothing.
            fields = [
                pa.field(f.name, pa.string()) if pa.types.is_null(f.type) else f
                for f in arrow.schema
            ]
            enter = self._open.enter_context
            self._text = enter(new_file(self._csv))
            sink = enter(new_file(self._parquet))
            writer = self._writer = enter(pq.ParquetWriter(sink, pa.schema(fields)))
        writer.write_table(arrow.cast(writer.schema))
        self._text.write(as_csv(table, head=first).encode())
