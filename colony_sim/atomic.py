"""Files that are there whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path


def write_atomic(path: Path, write: Callable[[Path], object]) -> None:
    """Let ``write`` fill a temporary file, flush it to the disk and rename it to ``path``.

    Readers see either no file (or the one before) or the whole file, never a part.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        write(temporary)
        flush(temporary)
        os.replace(temporary, path)
        flush_folder(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


def flush(path: Path) -> None:
    """Wait until a file is on the disk."""
    with open(path, "rb+") as handle:
        os.fsync(handle.fileno())


def flush_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    if os.name == "nt":  # Windows cannot open a folder to flush it.
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
