"""The results folder: finished runs kept one by one, tables replaced all at once.

``results/<experiment>/``

- ``runs/<content key>.parquet``: the daily series of one finished run. The key is a hash of
  the complete input of the run, so that runs of different input never mix.
- the tables, figures and ``manifest.json`` of the last complete comparison.

Every file is written under a temporary name, flushed to the disk and renamed. The tables of a
comparison are first written to ``.staged``; renaming that to ``.ready`` is the moment at which
the new comparison counts. A process that dies before leaves the old tables as they were; one
that dies after is finished by the next that opens the folder.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import flush, flush_folder, write_atomic
from colony_sim.errors import InputError

MANIFEST = "manifest.json"
TABLES = ("runs", "measures", "policies", "differences", "all_differences", "died_out")
RUN_TABLES = ("daily", "bins_daily", "bin_log")
SWEEP_TABLES = ("sweep", "points", "summary", "ranking", "precision", "failures")
STUDY_TABLES = (
    "assumptions", "breakeven", "crossings", "sensitivity", "sampled", "front", "trials",
    "against_default", "narrowing",
)  # fmt: skip
PLAN_TABLES = (
    "weeks", "purchases", "startup", "candidates", "shortfalls", "remedies", "plan_log",
)  # fmt: skip
"""Tables that only some comparisons and studies have."""
PLAN_FIGURES = ("plan_year", "plan_later", "plan_startup", "plan_purchases", "plan_remedies")
EVIDENCE_TABLES = ("evidence", "keepers", "keepers_grid", "informed")
FIT_TABLES = ("posterior", "learnt", "predictive", "calibration")
FIGURES = (
    "evidence",
    "learnt",
    "predictive",
    "calibration",
    "comparison",
    "sweep",
    "breakeven",
    "tornado",
    "screening",
    "pareto",
)
FILES = (
    *(
        f"{name}.{kind}"
        for name in (
            *TABLES,
            *RUN_TABLES,
            *SWEEP_TABLES,
            *STUDY_TABLES,
            *PLAN_TABLES,
            *EVIDENCE_TABLES,
            *FIT_TABLES,
        )
        for kind in ("parquet", "csv")
    ),
    *(f"{name}.{kind}" for name in (*FIGURES, *PLAN_FIGURES) for kind in ("png", "svg")),
    "verdict.txt",
    "study.txt",
    MANIFEST,
)
_RUNS, _STAGED, _READY, _LOCK = "runs", ".staged", ".ready", ".lock"
_KEPT = (*(f"{name}{end}" for name in ("runs.sqlite", "study.sqlite")
           for end in ("", "-wal", "-shm", "-journal")),
         "slides", "report.html", "calendar")  # fmt: skip
"""Stores of runs and of searches, which grow and are never replaced, and what was made of them."""
_META = b"colony_sim"


@dataclass(frozen=True)
class StoredRun:
    """A finished run read back: its daily series and the day it died out, if it did."""

    daily: pd.DataFrame
    died_out_day: int | None


class RunStore:
    """Finished runs of an experiment, found by content key.

    Parameters
    ----------
    folder : Path
        The results folder; runs are in its ``runs``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder / _RUNS

    def path(self, key: str) -> Path:
        """File of the run with this key."""
        return self.folder / f"{key}.parquet"

    def error_path(self, key: str) -> Path:
        """File with the error of a run that failed."""
        return self.folder / f"{key}.error.txt"

    def has(self, key: str) -> bool:
        """Whether the run is finished and its file is whole and holds this very run."""
        try:
            metadata = pq.read_metadata(self.path(key)).metadata or {}
            return json.loads(metadata[_META])["key"] == key
        except (OSError, pa.ArrowException, KeyError, ValueError):
            return False

    def save(self, key: str, daily: pd.DataFrame, died_out_day: int | None) -> None:
        """Store a finished run; the same run always gives the same bytes."""
        table = pa.Table.from_pandas(daily, preserve_index=False)
        facts = {"key": key, "died_out_day": None if died_out_day is None else int(died_out_day)}
        text = json.dumps(facts, sort_keys=True).encode()
        table = table.replace_schema_metadata({**(table.schema.metadata or {}), _META: text})
        self.folder.mkdir(parents=True, exist_ok=True)
        write_atomic(self.path(key), lambda path: pq.write_table(table, path))
        self.error_path(key).unlink(missing_ok=True)

    def save_error(self, key: str, text: str) -> None:
        """Store why a run failed."""
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.error_path(key)
        write_atomic(path, lambda temporary: temporary.write_text(text, encoding="utf-8"))

    def read(self, key: str) -> StoredRun:
        """Read a finished run back."""
        table = pq.read_table(self.path(key))
        facts = json.loads(table.schema.metadata[_META])
        return StoredRun(table.to_pandas(), facts["died_out_day"])


@contextmanager
def claim(folder: Path, experiment: str) -> Iterator[None]:
    """Hold a results folder for one experiment while runs and tables are written to it.

    Raises
    ------
    InputError
        If the folder cannot be written, holds files that are not results, belongs to another
        experiment or is in use by another process.
    """
    where = str(folder)
    _refuse_foreign(folder, experiment)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = open(folder / _LOCK, "a+b")  # noqa: SIM115 (closed below, it is the lock)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(where, "results folder", reason, "a folder that can be written") from None
    try:
        if not _lock(handle):
            raise InputError(
                where, "results folder", "in use by another colony-sim", "one process at a time"
            )
        _refuse_foreign(folder, experiment)
        finish_commit(folder)
        _sweep(folder)
        yield
    finally:
        handle.close()


@contextmanager
def replace_tables(folder: Path) -> Iterator[Path]:
    """Give an empty folder to write new tables to; on leaving, they replace the old ones.

    The manifest must be among them. If the body raises, the old tables stay as they are.
    """
    staged = folder / _STAGED
    shutil.rmtree(staged, ignore_errors=True)
    staged.mkdir()
    try:
        yield staged
        for path in staged.iterdir():
            flush(path)
        flush_folder(staged)
        os.replace(staged, folder / _READY)
        flush_folder(folder)
    except BaseException:
        shutil.rmtree(staged, ignore_errors=True)
        raise
    finish_commit(folder)


def finish_commit(folder: Path) -> None:
    """Move tables that count but are not yet in their place (see the module's docstring)."""
    ready = folder / _READY
    if not ready.is_dir():
        return
    manifest = ready / MANIFEST
    if manifest.is_file():
        listed = json.loads(manifest.read_text(encoding="utf-8"))["files"]
        for name in set(FILES) - set(listed):
            (folder / name).unlink(missing_ok=True)
        # The manifest moves last: as long as it is in .ready the move is not complete.
        for path in sorted(ready.iterdir(), key=lambda path: path.name == MANIFEST):
            os.replace(path, folder / path.name)
        flush_folder(folder)
    shutil.rmtree(ready, ignore_errors=True)


def write_table(folder: Path, name: str, frame: pd.DataFrame) -> None:
    """Write a table as Parquet and as CSV."""
    table = pa.Table.from_pandas(frame, preserve_index=False)
    pq.write_table(table, folder / f"{name}.parquet")
    frame.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")


def _refuse_foreign(folder: Path, experiment: str) -> None:
    where = str(folder)
    try:
        names = {path.name for path in folder.iterdir()} if folder.exists() else set()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(where, "results folder", reason, "a folder that can be written") from None
    foreign = sorted(names - {*FILES, *_KEPT, _RUNS, _STAGED, _READY, _LOCK})
    foreign = [name for name in foreign if not name.endswith((".tmp", ".profile.toml"))]
    if foreign:
        raise InputError(
            where, "results folder", f"holds {foreign[0]}", "a new folder or one with results"
        )
    if MANIFEST not in names:
        return
    try:
        owner = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["experiment"]["name"]
    except (OSError, ValueError, KeyError, TypeError):
        return  # A damaged manifest of ours is replaced.
    if owner != experiment:
        raise InputError(
            where, "results folder", f"holds experiment {owner}", f"a folder for {experiment} only"
        )


def _sweep(folder: Path) -> None:
    """Remove what a process that was killed left behind; only safe with the folder locked."""
    shutil.rmtree(folder / _STAGED, ignore_errors=True)
    for path in (*folder.glob(".*.tmp"), *(folder / _RUNS).glob(".*.tmp")):
        if path.is_dir():  # Of slides, which are swapped as a whole folder.
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _lock(handle) -> bool:
    # The system drops the lock when the process ends, however it ends.
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
