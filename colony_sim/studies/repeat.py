"""Run a comparison again from its manifest alone and look for any difference."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.errors import InputError
from colony_sim.results import findings, manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.running.executor import open_executor
from colony_sim.running.runner import Progress, check_workers
from colony_sim.running.store import open_store
from colony_sim.studies.comparison.assumptions import compared, find_assumptions
from colony_sim.studies.comparison.found import Comparison
from colony_sim.studies.comparison.live import RunsFailed, run_series
from colony_sim.studies.comparison.stored import planned
from colony_sim.studies.comparison.write import (
    TABLES,
    write_answer,
    write_assumptions,
    write_tables,
)
from colony_sim.studies.points import PointRunner

_TEXTS = (*(f"{name}.csv" for name in TABLES), "verdict.txt")
_KEYS = ("policy", "replicate", "seed", "day", "measure")


def repeat(
    folder: Path,
    *,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> str | None:
    """Run the comparison of a results folder again, without any of its stored runs.

    The folder is only read; new results go to a temporary folder.

    Returns
    -------
    str or None
        The first difference in one line; None if every table is identical.

    Raises
    ------
    InputError
        If the folder holds no usable manifest.
    RunsFailed
        If a run raised.
    """
    workers = check_workers(workers)
    data = manifest.read(folder, whole=False)
    plan = manifest.plan_from(data, str(folder / MANIFEST))
    runs = list(planned(plan))
    with (
        tempfile.TemporaryDirectory(prefix="colony-sim-repeat-") as name,
        open_store(again := Path(name)) as store,
        open_executor(workers) as executor,
    ):
        run = partial(
            run_series, folder=again, store=store, executor=executor, on_progress=on_progress
        )
        try:
            run(plan)
        except RunsFailed as error:  # Its file goes with the temporary folder.
            raise RunsFailed(error.failures, error.total, None) from None
        tables = write_tables(plan, runs, store, again)
        pair = compared(plan, tables["policies"])
        over = data.get("over_worlds") or {}
        later = None if over.get("stopped") else run
        zone = float(over.get("zone", 0.0))
        equal = "handling.parquet" in data.get("files", ())
        tables |= write_answer(plan, pair, tables["runs"], zone, store, later, again, equal)
        asked = data.get("assumptions", {})
        lean = None
        if asked.get("looked_for") and pair is not None:
            points = PointRunner(store, executor)
            lean = find_assumptions(plan, pair, points, on_progress=on_progress)
        if asked:
            tables |= write_assumptions(lean, asked.get("why_not", ""), again)
        findings.write_text(again, Comparison(folder=again, **tables).findings, plan.question)
        difference = first_difference(folder, again)
    if difference is None:
        return None
    changed = manifest.differing_software(data)
    return f"{difference} (differs: {'; '.join(changed)})" if changed else difference


def first_difference(recorded: Path, repeated: Path) -> str | None:
    """The first difference between the tables of two folders, in one line, or None.

    Parquet tables are compared value by value (a missing value equals a missing value), texts
    byte by byte.
    """
    some = ("over_worlds", "gains", "standings", "against_default", "leans_on", "assumptions")
    more = [name for name in some if (repeated / f"{name}.parquet").exists()]
    for name in ("runs", "daily", *TABLES[1:], *more):
        file = f"{name}.parquet"
        try:
            old, new = pq.read_table(recorded / file), pq.read_table(repeated / file)
        except FileNotFoundError:
            return f"{file}: missing in {recorded}"
        except (OSError, pa.ArrowException) as error:
            return f"{file}: cannot be read ({type(error).__name__})"
        difference = _table_difference(old, new)
        if difference:
            return f"{file}: {difference}"
    for file in (*_TEXTS, *(f"{name}.csv" for name in more)):
        try:
            old, new = (recorded / file).read_bytes(), (repeated / file).read_bytes()
        except FileNotFoundError:
            return f"{file}: missing in {recorded}"
        except OSError as error:
            raise InputError(str(recorded / file), "file", error.strerror, "a file") from None
        if old != new:
            pairs = zip(old.splitlines() + [b""], new.splitlines() + [b""], strict=False)
            number = next((i for i, (a, b) in enumerate(pairs, start=1) if a != b), None)
            return f"{file}: " + (f"line {number}" if number else "number or ends of lines")
    return None


def _table_difference(old: pa.Table, new: pa.Table) -> str | None:
    if old.column_names != new.column_names:
        odd = sorted(set(old.column_names) ^ set(new.column_names))
        return f"columns {', '.join(odd) or 'in another order'}"
    if old.num_rows != new.num_rows:
        return f"{old.num_rows} rows recorded, {new.num_rows} repeated"
    for name in old.column_names:
        first, second = old[name], new[name]
        if first.type != second.type:
            return f"column {name}: type {first.type} recorded, {second.type} repeated"
        unequal = _unequal(first, second)
        if unequal.any():
            row = int(np.argmax(unequal))
            keys = [key for key in _KEYS if key in old.column_names and key != name]
            place = ", ".join(f"{key} {old[key][row].as_py()}" for key in keys)
            found = f"{first[row].as_py()!r} recorded, {second[row].as_py()!r} repeated"
            return f"row {row + 1} ({place}), {name}: {found}"
    return None


def _unequal(first: pa.ChunkedArray, second: pa.ChunkedArray) -> np.ndarray:
    a, b = first.is_null().to_numpy(), second.is_null().to_numpy()
    left, right = first.to_numpy(), second.to_numpy()
    same = left == right
    if pa.types.is_floating(first.type):
        same |= np.isnan(left) & np.isnan(right)
    return (a != b) | ~(a | np.asarray(same, dtype=bool))
