"""The results folder: tables and figures replaced all at once, nothing else touched.

``results/<experiment>/``

- ``runs.sqlite``: the finished runs (``running.store``), which grow and are never replaced.
- the tables, figures, texts and ``manifest.json`` of the last complete study. The manifest lists
  them; files it does not list are not ours: they stay, and are in the way only of a file of the
  same name.

Every file is written under a temporary name, flushed to the disk and renamed. The tables of a
study are first written to ``.staged``; renaming that to ``.ready`` is the moment at which the new
study counts. A process that dies before leaves the old tables as they were; one that dies after
is finished by the next that opens the folder.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import flush, flush_folder
from colony_sim.errors import InputError
from colony_sim.running.store import refuse_old
from colony_sim.words.cells import without_formulas

MANIFEST = "manifest.json"
_STAGED, _READY, _LOCK = ".staged", ".ready", ".lock"


def folder_of(name: str, out: str | Path | None = None) -> Path:
    """Where the results of a name go: `out`, or ``results/<name>`` below the working folder."""
    return Path("results") / name if out is None else Path(out)


_PATIENCE, _LOOK_S = 60, 0.05
"""Looks at a folder that is being written, and seconds between them."""


@contextmanager
def claim(folder: Path, experiment: str, files: Collection[str]) -> Iterator[None]:
    """Hold a results folder for one experiment while runs and tables are written to it.

    Parameters
    ----------
    folder : Path
    experiment : str
        Whom the folder belongs to.
    files : collection of str
        Names of all files that may be written.

    Raises
    ------
    InputError
        If the folder cannot be written, holds a file that is not ours under one of these names or
        runs of an earlier version, belongs to another experiment or is in use by another process.
    """
    where = str(folder)
    _refuse_foreign(folder, experiment, files)
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
        _refuse_foreign(folder, experiment, files)
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
        for name in _listed(folder) - _listed(ready):
            (folder / name).unlink(missing_ok=True)
        # The manifest moves last: as long as it is in .ready the move is not complete.
        for path in sorted(ready.iterdir(), key=lambda path: path.name == MANIFEST):
            os.replace(path, folder / path.name)
        flush_folder(folder)
    shutil.rmtree(ready, ignore_errors=True)


def settled(folder: Path) -> None:
    """Wait until tables that another process puts in their place are there; nothing is changed.

    Raises
    ------
    InputError
        They do not come: the process was stopped meanwhile.
    """
    ready = folder / _READY / MANIFEST
    for _ in range(_PATIENCE):
        if not ready.is_file():
            return
        time.sleep(_LOOK_S)
    raise InputError(
        str(folder), "tables", "half in their place",
        "a finished folder: the command that wrote it was stopped; run it once more",
    )  # fmt: skip


def write_table(folder: Path, name: str, frame: pd.DataFrame) -> None:
    """Write a table as Parquet and as CSV."""
    table = pa.Table.from_pandas(frame, preserve_index=False)
    pq.write_table(table, folder / f"{name}.parquet")
    without_formulas(frame).to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")


def table_if_there(folder: Path, name: str) -> pd.DataFrame:
    """A table that not every study of its kind has; empty where there is none."""
    file = folder / f"{name}.parquet"
    return pd.read_parquet(file) if file.exists() else pd.DataFrame()


def _facts(folder: Path) -> dict[str, Any] | None:
    """The manifest of a folder; None if there is none, empty if it is damaged."""
    try:
        facts = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _listed(folder: Path) -> set[str]:
    """Names of the files that the manifest of a folder lists."""
    names = (_facts(folder) or {}).get("files", ())
    return {name for name in names if Path(name).name == name}


def _refuse_foreign(folder: Path, experiment: str, files: Collection[str]) -> None:
    where = str(folder)
    try:
        names = {path.name for path in folder.iterdir()} if folder.exists() else set()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(where, "results folder", reason, "a folder that can be written") from None
    facts = _facts(folder)
    # A damaged manifest of ours is replaced, with all that it may have listed.
    ours = set(files) if facts == {} else _listed(folder) | _listed(folder / _READY)
    ours |= {MANIFEST} if facts and "experiment" in facts else set()
    foreign = sorted(names & set(files) - ours)
    if foreign:
        allowed = "a folder without a file of that name"
        raise InputError(where, "results folder", f"holds {foreign[0]}", allowed)
    owner = facts and (facts.get("experiment") or {}).get("name")
    if owner and owner != experiment:
        raise InputError(
            where, "results folder", f"holds experiment {owner}", f"a folder for {experiment} only"
        )
    refuse_old(folder)


def _sweep(folder: Path) -> None:
    """Remove what a process that was killed left behind; only safe with the folder locked."""
    shutil.rmtree(folder / _STAGED, ignore_errors=True)
    for path in folder.glob(".*.tmp"):
        if path.is_dir():  # Of slides, which are swapped as a whole folder.
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _lock(handle: IO[Any]) -> bool:
    # The system drops the lock when the process ends, however it ends.
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
