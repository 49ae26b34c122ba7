"""What a keeper waits for, beside another commit: both by turns in one run.

``python -m tests.benchmarks first COMMIT``. The commit's package is checked out into a temporary
worktree. By turns and in changing order, each lives, with a folder of compiled kernels of its own:

- ``compare rotation --quick`` until its first answer is on the screen, with nothing compiled;
- the same with all compiled;
- ``report`` and ``figures`` of one finished comparison of its own;
- ``--help``, and a bare start of the interpreter beside it.

Wall times and, as the machine is seldom calm, processor times of a command with all its workers.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from tests.benchmarks.against import ROOT, checked_out, environment

PROGRAM = (sys.executable, "-c", "from colony_sim.commands.main import run; run()")
COMPARE = ("compare", "rotation", "--quick")
SEEN = "First answer"
_TICKS = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100
#: What is measured: its words and its aim in seconds; that of the help is in bare starts.
AIMS = {
    "nothing compiled": ("first answer, nothing compiled", 15.0),
    "compiled": ("first answer, all compiled", 4.0),
    "report": ("report", 8.0),
    "figures": ("figures", 8.0),
    "help": ("--help", None),
    "bare": ("bare start of the interpreter", None),
}


@dataclass(frozen=True)
class Took:
    """Wall time and processor time (s)."""

    wall: float
    processor: float


def main(commit: str, repeats: int = 3) -> None:
    """Measure and print."""
    with checked_out(commit) as tree:
        sides = [_Side(ROOT, tree.with_name("here")), _Side(tree, tree.with_name("there"))]
        turns = []
        for k in range(repeats):
            found = {}
            for side in (0, 1) if k % 2 == 0 else (1, 0):
                found[side] = sides[side].turn()
            turns.append(found)
    for kind, (words, aim) in AIMS.items():
        here, there = ([turn[side][kind] for turn in turns] for side in (0, 1))
        ratio = median(a.processor / b.processor for a, b in zip(here, there, strict=True))
        aimed = "" if aim is None else f"; aim {aim:.0f} s"
        print(
            f"{words}: {_seconds(here)} here, {_seconds(there)} at {commit};"
            f" {ratio:.2f} times the processor time ({repeats} pairs){aimed}"
        )
    for name, side in (("here", 0), (commit, 1)):
        starts = median(t[side]["help"].wall / t[side]["bare"].wall for t in turns)
        print(f"--help takes {starts:.1f} bare starts {name}; aim 12")


def _seconds(all_took: Sequence[Took]) -> str:
    wall, processor = (median(getattr(t, name) for t in all_took) for name in ("wall", "processor"))
    return f"{wall:.2f} s ({processor:.2f} s of processors)"


class _Side:
    """One of the two packages, with a working folder of its own."""

    def __init__(self, tree: Path, folder: Path) -> None:
        self._folder, self._cache = folder, folder / "cache"
        folder.mkdir()
        self._environment = environment(tree) | {
            "NUMBA_CACHE_DIR": str(self._cache), "XDG_CACHE_HOME": str(folder / "xdg"),
        }  # fmt: skip

    def turn(self) -> dict[str, Took]:
        """Each of the measurements once."""
        shutil.rmtree(self._cache, ignore_errors=True)
        found = {}
        for kind in ("nothing compiled", "compiled"):
            with tempfile.TemporaryDirectory(dir=self._folder) as out:
                found[kind] = self._until(SEEN, *COMPARE, "--out", f"{out}/r")
        finished = self._folder / "finished"
        if not finished.exists():
            self._until("", *COMPARE, "--worlds", "2", "--out", str(finished))
        for kind in ("report", "figures"):
            with tempfile.TemporaryDirectory(dir=self._folder) as out:
                found[kind] = self._until("", kind, str(finished), "--out", f"{out}/it.html")
        found["help"] = self._until("", "--help")
        found["bare"] = self._until("", program=(sys.executable, "-c", ""))
        return found

    def _until(self, seen: str, *words: str, program: Sequence[str] = PROGRAM) -> Took:
        """Run a command until a line with these words, or to its end if there are none."""
        begin = time.perf_counter()
        with subprocess.Popen(
            [*program, *words], cwd=self._folder, env=self._environment, text=True, bufsize=1,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, start_new_session=True,
        ) as process:  # fmt: skip
            said = []
            for line in process.stdout:
                said.append(line)
                if seen and seen in line:
                    took = Took(time.perf_counter() - begin, _processor(process.pid))
                    os.killpg(process.pid, signal.SIGKILL)
                    return took
            # Whoever has ended is still there to be asked until it is waited for.
            os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
            took = Took(time.perf_counter() - begin, _processor(process.pid))
        if seen or process.returncode:
            raise RuntimeError(
                f"{' '.join(words)}: exit code {process.returncode}\n{''.join(said)}"
            )
        return took


def _processor(session: int) -> float:
    """Processor time (s) of all processes of a session, with the children they waited for."""
    total = 0
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text(encoding="utf-8").rpartition(")")[2].split()
        except OSError:  # It has just ended.
            continue
        if int(fields[3]) == session:
            total += sum(map(int, fields[11:15]))
    return total / _TICKS
