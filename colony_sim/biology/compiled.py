"""Compiling kernels with numba, and where the compiled code is kept between runs.

Numba's own cache notices a change only in the file that holds a function, not in the files
it calls. The cache folder is therefore named after a hash of all sources that kernels are
made of, so that stale code cannot run.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

_PACKAGE = Path(__file__).resolve().parent.parent
#: A module that gets its names only when numba is loaded.
_SETTINGS: Any = numba.config
_Function = Callable[..., Any]


def _source_hash() -> str:
    digest = hashlib.sha256(numba.__version__.encode())
    for folder in ("biology", "population"):
        for path in sorted((_PACKAGE / folder).glob("*.py")):
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _cache_folder() -> Path | None:
    base = os.environ.get("NUMBA_CACHE_DIR")
    if not base:
        home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
        base = os.path.join(home, "colony_sim")
    folder = Path(base) / f"kernels-{_source_hash()}"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _is_ours(folder):
            return None
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        return None
    return folder


def _is_ours(folder: Path) -> bool:
    """Whether nobody else can have put code into it, which would run at the next loading."""
    if not folder.is_absolute():
        return False
    if not hasattr(os, "geteuid"):
        return True
    found = [path.lstat() for path in (folder, *folder.rglob("*"))]
    mine = all(state.st_uid == os.geteuid() for state in found)
    return mine and not any(stat.S_IMODE(state.st_mode) & stat.S_IWOTH for state in found)


#: Folder of the compiled kernels, or None where no folder can be written.
CACHE_FOLDER = _cache_folder()


def kernel(**options: Any) -> Callable[[_Function], _Function]:
    """Decorator like `numba.njit` that keeps the compiled code in `CACHE_FOLDER`."""

    # Nobody calls a kernel from C, and a way in for that takes a tenth of the compiling.
    options["no_cfunc_wrapper"] = True

    def decorate(function: _Function) -> _Function:
        if CACHE_FOLDER is None:
            return numba.njit(**options)(function)
        before = _SETTINGS.CACHE_DIR
        _SETTINGS.CACHE_DIR = str(CACHE_FOLDER)
        try:
            return numba.njit(cache=True, **options)(function)
        finally:
            # Other packages of this process keep their own cache folder.
            _SETTINGS.CACHE_DIR = before

    return decorate
