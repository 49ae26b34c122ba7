"""``colony-sim check``: is a results folder whole?"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from colony_sim.commands.ending import FAILED, Ending
from colony_sim.commands.show import console, show_page
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST, steadily
from colony_sim.running.store import NAME, look_into

_NAMED = 8


def _files(folder: Path) -> tuple[dict[str, Any], list[str]]:
    """The manifest, and the files that are not as it says."""
    data = manifest.read(folder, kinds=(), whole=False, sealed=False)
    return data, manifest.damaged(folder, data)


def run_check(folder: Path) -> None:
    """Compare every file and every stored run with its checksum; nothing is changed."""
    data, bad = steadily(folder, lambda: _files(folder))
    runs = 0
    broken: list[str] = []
    if (folder / NAME).is_file():
        try:
            with look_into(folder) as store:
                runs, broken = store.damaged()
        except sqlite3.DatabaseError:
            bad.append(NAME)
    sums = data.get("sha256")
    if not (sums and isinstance(sums, dict)):
        raise Ending(f"{folder / MANIFEST}: an older version wrote it, without checksums: make it "
                     "again", FAILED)  # fmt: skip
    files = len(sums) + 1  # The manifest has a sum of its own.
    if bad or broken:
        named = ", ".join(bad[:_NAMED]) + (", ..." if len(bad) > _NAMED else "")
        parts = [f"{len(bad)} of {files} files ({named})"] if bad else []
        parts += [f"{len(broken)} of {runs} stored runs"] if broken else []
        raise Ending(
            f"{folder}: not as written: {' and '.join(parts)}. The command that made it, given "
            "again, makes them anew.", FAILED,
        )  # fmt: skip
    stored = f" and {runs} stored runs" if runs else ""
    show_page(
        console(), [f"Whole: {files} files{stored} are as they were written.", f"Results: {folder}"]
    )
