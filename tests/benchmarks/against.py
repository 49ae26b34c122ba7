"""Cost of an insect and day beside another commit: both measured by turns in one run.

``python -m tests.benchmarks against COMMIT``. The commit's package is checked out into a
temporary worktree. A process of either then lives, by turns and in changing order,

- the first run of experiments/rotation.toml with that commit's own values, 1,000 days of
  it, census, keeper and records included, and
- the kernels of one day at 100,000 insects, the same settled insects for both.

Processor times; the ratio is the median over pairs of turns that follow each other.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
_PART = Path(__file__).with_name("against_part.py")
_KINDS = {"rotation": "rotation scenario", "kernels": "kernels at 100,000 insects"}


def main(commit: str, repeats: int = 9) -> None:
    """Measure and print."""
    with checked_out(commit) as tree:
        state = tree.with_name("settled.npz")
        _settle(state)
        here, there = _start(ROOT, state), _start(tree, state)
        turns = [_turn(k, here, there) for k in range(repeats)]
        for process in (here, there):
            process.communicate("")
    for kind, label in _KINDS.items():
        ours, theirs = ([1e9 * t[side][kind] for t in turns] for side in (0, 1))
        ratios = sorted(a / b for a, b in zip(ours, theirs, strict=True))
        print(
            f"{label}: {median(ours):.1f} ns per insect and day here, {median(theirs):.1f} at"
            f" {commit}; {median(ratios):.2f} times ({ratios[0]:.2f} to {ratios[-1]:.2f},"
            f" {repeats} pairs)"
        )


@contextmanager
def checked_out(commit: str) -> Iterator[Path]:
    """A temporary worktree of a commit."""
    with tempfile.TemporaryDirectory() as name:
        tree = Path(name) / "tree"
        _git("worktree", "add", "--detach", str(tree), commit)
        try:
            yield tree
        finally:
            _git("worktree", "remove", "--force", str(tree))


def _git(*arguments: str) -> None:
    subprocess.run(["git", *arguments], cwd=ROOT, check=True, capture_output=True)


def _settle(state: Path) -> None:
    code = "import sys; from tests.benchmarks.engine_state import Path, settle"
    code += "; settle(Path(sys.argv[1]))"
    subprocess.run(
        [sys.executable, "-c", code, str(state)], cwd=ROOT, check=True, env=environment(ROOT)
    )
    # Commits before that of tolerances keep what is the tally now in two columns.
    columns = dict(np.load(state))
    np.savez(state, **columns, eggs=columns["tally"], instar=columns["tally"].astype(np.uint8))


def environment(tree: Path) -> dict[str, str]:
    """Environment of a process that imports the package of a tree."""
    return {**os.environ, "PYTHONPATH": str(tree)}


def _start(tree: Path, state: Path) -> subprocess.Popen:
    """A process that measures once for each line it is given; without the script's folder."""
    return subprocess.Popen(
        [sys.executable, "-P", str(_PART), str(state)],
        cwd=tree, env=environment(tree), text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip


def _turn(k: int, here: subprocess.Popen, there: subprocess.Popen) -> tuple[dict, dict]:
    """One measurement of each, the other one first every second time."""
    found = [None, None]
    for side in (0, 1) if k % 2 == 0 else (1, 0):
        process = (here, there)[side]
        process.stdin.write("\n")
        process.stdin.flush()
        found[side] = json.loads(process.stdout.readline())
    return tuple(found)
