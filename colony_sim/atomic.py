"""The one module that writes: files and folders that are there whole or not at all.

Everything that this program changes on the disk goes through here (a test looks for anything
else), except what SQLite keeps in its own files (``running.store``).
"""

from __future__ import annotations

import errno
import glob
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

_SWAPS = 20
_LOOKS, _LOOK_S = 3, 0.02
"""Looks at a lock that is held, and seconds between them."""
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
moment: Callable[[str, Path], object] | None = None
"""Told what is about to be changed, or has been: for tests that end the process right there."""


def at(what: str, path: Path) -> None:
    """A moment at which a process may end; does nothing unless a test listens."""
    if moment is not None:
        moment(what, path)


def is_full(error: OSError) -> bool:
    """Whether the disk is full or broken, whatever was to be written."""
    return error.errno in _FULL


@contextmanager
def whole_file(path: Path) -> Iterator[IO[bytes]]:
    """A temporary file to be filled; on leaving it is flushed to the disk and renamed to `path`.

    Readers see either no file (or the one before) or the whole file, never a part. If the body
    raises, all stays as it was; what a process that was killed left beside `path` is removed.
    """
    remove_abandoned(path.parent, f".{glob.escape(path.name)}.*.tmp")
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    held = None
    try:
        held = _hold(temporary)
        with new_file(temporary) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        move(temporary, path)
        flush_folder(path.parent)
    except OSError as error:
        if error.filename != str(temporary):  # Which nobody knows.
            raise
        raise type(error)(error.errno, error.strerror, str(path)) from None
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        if held is not None:
            os.close(held)


@contextmanager
def new_file(path: Path) -> Iterator[IO[bytes]]:
    """A file to be filled, for a folder that nobody reads before it is moved to its place."""
    at("create", path)
    try:
        with open(path, "wb") as file:
            yield file if moment is None else _Told(file, path)  # type: ignore[misc]
    except OSError as error:
        # The system names no file whose writing failed.
        if error.errno is None or error.filename is not None:
            raise
        raise type(error)(error.errno, error.strerror, str(path)) from None
    at("close", path)


def write_text(path: Path, text: str) -> None:
    """Write a text in UTF-8, whole or not at all."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, data: bytes) -> None:
    """Write bytes, whole or not at all."""
    with whole_file(path) as file:
        file.write(data)


def put_text(path: Path, text: str) -> None:
    """As `new_file`, for a text in UTF-8."""
    with new_file(path) as file:
        file.write(text.encode())


@contextmanager
def whole_folder(path: Path) -> Iterator[Path]:
    """An empty folder to be filled; on leaving it takes the place of `path`.

    If the body raises, all stays as it was. A process that is killed between the two renames
    leaves no folder, and the next that writes it is rid of what is left.

    Raises
    ------
    OSError
        The folder cannot be written.
    """
    make_folder(path.parent)
    remove_abandoned(path.parent, f".{glob.escape(path.name)}.*.tmp")
    staged = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    remove_tree(staged)
    at("make", staged)
    held = _hold(staged, folder=True)
    try:
        yield staged
        flush_all(staged)
        _swap(staged, path)
        flush_folder(path.parent)
    finally:
        remove_tree(staged)
        if held is not None:
            os.close(held)


def _swap(staged: Path, path: Path) -> None:
    """Put the new folder in the place of the old one; the old one comes back if that fails."""
    old = path.with_name(f".{path.name}.old.{os.getpid()}.tmp")
    for tried in range(1, _SWAPS + 1):
        remove_tree(old)
        with suppress(FileNotFoundError):
            move(path, old)
        try:
            move(staged, path)
        except OSError:
            # Another process may have put its own there meanwhile.
            if tried == _SWAPS or not path.exists():
                if old.exists() and not path.exists():
                    move(old, path)
                raise
        else:
            break
    remove_tree(old)


@contextmanager
def copied(path: Path, *more: Path) -> Iterator[Path]:
    """A copy of a file elsewhere, with others beside it, as long as the block runs."""
    with tempfile.TemporaryDirectory() as home:
        for each in (path, *more):
            shutil.copyfile(each, Path(home, each.name))
        yield Path(home, path.name)


def make_folder(path: Path) -> None:
    """Make a folder and those above it, unless it is there."""
    if not path.is_dir():
        at("make", path)
        path.mkdir(parents=True, exist_ok=True)


def move(old: Path, new: Path) -> None:
    """Rename a file or a folder; `new` is replaced if it is a file."""
    at("rename", new)
    os.replace(old, new)
    at("renamed", new)


def remove(path: Path) -> None:
    """Delete a file, if it is there."""
    at("delete", path)
    path.unlink(missing_ok=True)


def remove_tree(path: Path) -> None:
    """Delete a folder with all in it, if it is there; of a link the link alone."""
    if path.is_symlink() or path.is_file():
        path.unlink()
    elif path.exists():
        at("delete", path)
        shutil.rmtree(path, ignore_errors=True)


def remove_empty(folder: Path) -> bool:
    """Delete a folder if nothing is in it; whether it was."""
    with suppress(OSError):
        folder.rmdir()
        return True
    return False


def remove_abandoned(folder: Path, pattern: str = ".*.tmp") -> None:
    """Delete temporary files and folders of processes that have ended."""
    for path in folder.glob(pattern):
        if _abandoned(path):
            remove_tree(path) if path.is_dir() else remove(path)


def lock_file(path: Path) -> IO[bytes] | None:
    """Open a file that is nothing but a lock, and hold it until it is closed; None: another does.

    Raises
    ------
    OSError
        It cannot be written.
    """
    tries = _LOOKS
    while True:
        handle = open(path, "a+b")  # noqa: SIM115 (it is closed by the caller)
        if not _locked(handle):
            handle.close()
            if tries := tries - 1:
                time.sleep(_LOOK_S)  # Who asks whether it is held takes it for a moment.
                continue
            return None
        if _is_at(handle.fileno(), path):
            return handle
        handle.close()  # It was deleted by who held it before.


def is_held(path: Path) -> bool:
    """Whether a process holds a lock."""
    return path.exists() and not _abandoned(path)


def _is_at(descriptor: int, path: Path) -> bool:
    """Whether what is open is still what lies there."""
    with suppress(OSError):
        return os.path.samestat(os.fstat(descriptor), os.stat(path))
    return False


def flush(path: Path) -> None:
    """Wait until a file is on the disk."""
    with open(path, "rb+") as handle:
        os.fsync(handle.fileno())


def flush_all(folder: Path) -> None:
    """Wait until the files of a folder, and their names, are on the disk."""
    for path in folder.iterdir():
        flush(path)
    flush_folder(folder)


def flush_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    if sys.platform == "win32":  # It cannot open a folder.
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class _Told:
    """A file that tells of every write; what was written before is on its way to the disk."""

    def __init__(self, file: IO[bytes], path: Path) -> None:
        self._file, self._path = file, path

    def write(self, data: bytes) -> int:
        self._file.flush()
        at("write", self._path)
        return self._file.write(data)

    def __getattr__(self, name: str) -> object:
        return getattr(self._file, name)


# Who writes holds a lock, which the system drops when the process ends, however it ends.
if sys.platform == "win32":
    import msvcrt

    def _locked(handle: IO[bytes]) -> bool:
        with suppress(OSError):
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
            return True
        return False

    def _hold(path: Path, folder: bool = False) -> int | None:
        if folder:
            path.mkdir(exist_ok=True)
        return None  # What is open cannot be renamed.

    def _abandoned(path: Path) -> bool:
        return False  # So nobody knows; what a killed process left stays.

else:
    import fcntl

    _ALONE = fcntl.LOCK_EX | fcntl.LOCK_NB

    def _locked(handle: IO[bytes]) -> bool:
        with suppress(OSError):
            fcntl.flock(handle, _ALONE)
            return True
        return False

    def _hold(path: Path, folder: bool = False) -> int | None:
        """Make a file or a folder, and hold it until what is returned is closed."""
        while True:
            if folder:
                path.mkdir(exist_ok=True)
            descriptor = os.open(path, os.O_RDONLY if folder else os.O_RDWR | os.O_CREAT, 0o666)
            with suppress(OSError):  # Some network disks know no locks.
                fcntl.flock(descriptor, _ALONE)
            if _is_at(descriptor, path):
                return descriptor
            os.close(descriptor)  # Another took it for abandoned before it was held.

    def _abandoned(path: Path) -> bool:
        """Whether no process holds it."""
        with suppress(OSError):
            descriptor = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            try:
                fcntl.flock(descriptor, _ALONE)
            finally:
                os.close(descriptor)
            return True
        return False
