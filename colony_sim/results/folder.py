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
import stat
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import (
    flush_all,
    flush_folder,
    is_full,
    lock_file,
    make_folder,
    move,
    new_file,
    put_text,
    remove,
    remove_abandoned,
    remove_empty,
    remove_tree,
)
from colony_sim.errors import InputError
from colony_sim.running.store import LOCK, read_store, refuse_old
from colony_sim.words.cells import as_csv

MANIFEST = "manifest.json"
_STAGED, _READY = ".staged", ".ready"


def folder_of(name: str, out: str | Path | None = None) -> Path:
    """Where the results of a name go: `out`, or ``results/<name>`` below the working folder."""
    return Path("results") / name if out is None else Path(out)


_PATIENCE, _LOOK_S = 60, 0.05
"""Looks at a folder that is being written, and seconds between them."""
_READINGS = 5
"""Times that what only reads a folder begins anew because its tables were replaced meanwhile."""
T = TypeVar("T")


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
        If the folder cannot be written, holds a file that is not ours under one of these names,
        links that lead out of it or runs of an earlier version, belongs to another experiment or
        is in use by another process. One that is raised in the body, before any run is finished,
        leaves no folder, lock or store behind that was not there.
    """
    where = str(folder)
    _refuse_foreign(folder, experiment, files)
    made = _missing(folder)
    try:
        make_folder(folder)
        ours = not (folder / LOCK).exists()
        handle = lock_file(folder / LOCK)
    except OSError as error:
        if is_full(error):
            raise
        reason = error.strerror or type(error).__name__
        raise InputError(where, "results folder", reason, "a folder that can be written") from None
    try:
        if handle is None:
            raise InputError(
                where, "results folder", "in use by another colony-sim", "one process at a time"
            )
        _refuse_foreign(folder, experiment, files)
        finish_commit(folder)
        _sweep(folder)
        before = {path.name for path in folder.iterdir()} - ({LOCK} if ours else set())
        try:
            yield
        except (InputError, OSError):
            with suppress(InputError, OSError):  # What went wrong first is to be told.
                _take_back(folder, before, made)
            raise
    finally:
        if handle is not None:
            handle.close()


def _missing(folder: Path) -> list[Path]:
    """The folder and those above it that are not there."""
    return [path for path in (folder, *folder.parents) if not path.exists()]


def _take_back(folder: Path, before: set[str], made: list[Path]) -> None:
    """Remove lock and stores that were not there before, unless runs were finished."""
    with read_store(folder) as store:
        if store is not None and store.cost() is not None:
            return
    for path in (*folder.glob("*.sqlite*"), folder / LOCK):
        if path.name not in before:
            remove(path)
    for path in made:
        if not remove_empty(path):
            return


def check_place(argument: str, path: Path, kinds: Collection[str]) -> None:
    """`InputError` unless a file of one of these endings may be written here, or replaced."""
    allowed = f"a file that ends in {', '.join(kinds)}, in a folder that exists"
    if not path.parent.is_dir() or path.suffix.lower() not in kinds:
        raise InputError(f"argument {argument}", "file", str(path), allowed)
    if (path.exists() or path.is_symlink()) and not path.is_file():
        raise InputError(f"argument {argument}", "file", str(path), f"{allowed}, no device or pipe")
    if path.name in _listed(path.parent):
        raise InputError(f"argument {argument}", "file", str(path), "none of a results folder's")


def refuse_links(folder: Path) -> None:
    """`InputError` if a link in a folder leads out of it.

    Whoever reads or writes a folder that came from somebody else would follow it.
    """
    _refuse_name(folder)
    home = Path(os.path.realpath(folder))
    for place, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(place, name)
            mode = path.lstat().st_mode
            if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode) or stat.S_ISLNK(mode)):
                allowed = "a folder of files alone: a pipe would be waited for without end"
                raise InputError(str(path), "file", "no plain file", allowed)
            if path.is_symlink() and not _leads_inside(path, home):
                allowed = "a folder without links that lead out of it"
                raise InputError(str(path), "link", os.readlink(path), allowed)


def _leads_inside(link: Path, home: Path) -> bool:
    """Whether a link leads to something in this folder; one that leads in a circle does not."""
    return link.exists() and Path(os.path.realpath(link)).is_relative_to(home)


def _refuse_name(folder: Path) -> None:
    """`InputError` for a name that is no text: not every library below could open it."""
    try:
        str(folder).encode()
    except UnicodeEncodeError:
        raise InputError(str(folder), "folder", "not UTF-8", "a name in UTF-8") from None


def steadily(folder: Path, read: Callable[[], T]) -> T:
    """Do what only reads a folder, anew if its tables were replaced meanwhile.

    Raises
    ------
    InputError
        They are replaced again and again.
    """
    for _ in range(_READINGS):
        settled(folder)
        before = _stamp(folder)
        try:
            found = read()
        except Exception:
            if before is not None and _stamp(folder) == before:
                raise
        else:
            if before is not None and _stamp(folder) == before:
                return found
    raise InputError(
        str(folder), "tables", "replaced while they were read", "a folder that is not being written"
    )


def _stamp(folder: Path) -> tuple[int, int] | None:
    """What tells the tables of a folder from those before; None: new ones are on their way."""
    try:
        found = (folder / MANIFEST).stat()
        stamp = (found.st_ino, found.st_mtime_ns)
    except OSError:
        stamp = (0, 0)
    return None if (folder / _READY / MANIFEST).exists() else stamp


@contextmanager
def replace_tables(folder: Path) -> Iterator[Path]:
    """Give an empty folder to write new tables to; on leaving, they replace the old ones.

    The manifest must be among them. If the body raises, the old tables stay as they are.
    """
    staged = folder / _STAGED
    remove_tree(staged)
    make_folder(staged)
    try:
        yield staged
        flush_all(staged)
        move(staged, folder / _READY)
        flush_folder(folder)
    except BaseException:
        remove_tree(staged)
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
            remove(folder / name)
        # The manifest moves last: as long as it is in .ready the move is not complete.
        for path in sorted(ready.iterdir(), key=lambda path: path.name == MANIFEST):
            move(path, folder / path.name)
        flush_folder(folder)
    remove_tree(ready)


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
    with new_file(folder / f"{name}.parquet") as file:
        pq.write_table(table, file)
    put_text(folder / f"{name}.csv", as_csv(frame))


def table_if_there(folder: Path, name: str) -> pd.DataFrame:
    """A table that not every study of its kind has; empty where there is none."""
    file = folder / f"{name}.parquet"
    return pd.read_parquet(file) if file.exists() else pd.DataFrame()


def _facts(folder: Path) -> dict[str, Any] | None:
    """The manifest of a folder; None if there is none, empty if it is damaged."""
    path = folder / MANIFEST
    if path.exists() and not path.is_file():
        return {}  # A pipe would not end.
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _listed(folder: Path) -> set[str]:
    """Names of the files that the manifest of a folder lists."""
    names = (_facts(folder) or {}).get("files")
    # A damaged manifest may list anything.
    texts = (name for name in names if isinstance(name, str)) if isinstance(names, list) else ()
    return {name for name in texts if Path(name).name == name and name != ".."}


def _refuse_foreign(folder: Path, experiment: str, files: Collection[str]) -> None:
    where = str(folder)
    refuse_links(folder)
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
    head = facts and facts.get("experiment")
    owner = head.get("name") if isinstance(head, dict) else None
    if owner and owner != experiment:
        raise InputError(
            where, "results folder", f"holds experiment {owner}", f"a folder for {experiment} only"
        )
    refuse_old(folder)


def _sweep(folder: Path) -> None:
    """Remove what a process that was killed left behind; only safe with the folder locked."""
    remove_tree(folder / _STAGED)
    remove_abandoned(folder)
