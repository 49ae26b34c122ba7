"""``colony-sim check``: is a results folder whole?"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

from colony_sim.assimilation import remembered
from colony_sim.commands.ending import FAILED, Ending
from colony_sim.commands.show import console, show_page
from colony_sim.extras import MissingExtra
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST, steadily
from colony_sim.running.store import NAME, look_into
from colony_sim.studies.search import proposing

_NAMED = 8


def _files(folder: Path) -> tuple[dict[str, Any], list[str]]:
    """The manifest, and the files that are not as it says."""
    data = manifest.read(folder, kinds=(), whole=False, sealed=False)
    return data, manifest.damaged(folder, data)


def run_check(folder: Path) -> None:
    """Compare every file and every stored run with its checksum; nothing is changed."""
    data, bad = steadily(folder, lambda: _files(folder))
    runs, gone = 0, 0
    broken: list[str] = []
    keys = {str(run.get("key")) for run in data.get("runs", ()) if isinstance(run, dict)}
    if (folder / NAME).is_file():
        try:
            with look_into(folder) as store:
                runs, broken = store.damaged()
                gone = sum(not store.keeps(key) for key in keys)
        except sqlite3.DatabaseError:
            bad.append(NAME)
    bad += remembered.damaged(folder)
    candidates = _candidates(folder, bad)
    sums = data.get("sha256")
    if not (sums and isinstance(sums, dict)):
        raise Ending(f"{folder / MANIFEST}: an older version wrote it, without checksums: make it "
                     "again", FAILED)  # fmt: skip
    files = len(sums) + 1  # The manifest has a sum of its own.
    if bad or broken or gone:
        named = ", ".join(bad[:_NAMED]) + (", ..." if len(bad) > _NAMED else "")
        parts = [f"{len(bad)} of {files} files ({named})"] if bad else []
        parts += [f"{len(broken)} of {runs} stored runs"] if broken else []
        parts += [f"{gone} runs are gone"] if gone else []
        raise Ending(
            f"{folder}: not as written: {' and '.join(parts)}. The command that made it, given "
            "again, makes them anew.", FAILED,
        )  # fmt: skip
    stored = f" and {runs} stored runs" if runs else ""
    said = [f"Whole: {files} files{stored} are as they were written."]
    if keys and not runs:
        said.append(f"None of its {len(keys)} runs is kept with it: given again, all is run anew.")
    show_page(console(), [*said, *candidates, f"Results: {folder}"])


def _candidates(folder: Path, bad: list[str]) -> list[str]:
    """Look at what a search keeps of its candidates; what is to be said, and `bad` grows."""
    file = folder / proposing.NAME
    if not file.exists():
        return []
    try:
        if not file.is_file() or proposing.broken(file) != 0:
            bad.append(file.name)
    except MissingExtra as error:
        return [f"Its candidates were not looked at. {error}"]
    return []
