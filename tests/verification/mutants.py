"""Break the model on purpose: every break must make at least one claim fail.

Each mutant is a change of one place in a copy of the sources. The copy is verified by the
fast version of the claims named with it, and of the twin.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from .breaks import MUTANTS, Mutant

_ROOT = Path(__file__).resolve().parents[2]
_FOLDERS = ("colony_sim", "tests/verification", "experiments")


_SKIP = shutil.ignore_patterns("__pycache__")


def failed_claims(mutant: Mutant | None, claims: tuple[str, ...], root: Path = _ROOT) -> list[str]:
    """Claims with a check out of tolerance in a copy of `root` with the mutant (None: unbroken).

    A claim that merely crashes is not counted.
    """
    with tempfile.TemporaryDirectory(prefix="colony-mutant-") as name:
        place = Path(name)
        for folder in _FOLDERS:
            shutil.copytree(root / folder, place / folder, ignore=_SKIP)
        if mutant is not None:
            path = place / "colony_sim" / mutant.file
            source = path.read_text("utf-8")
            if mutant.old not in source:
                raise ValueError(f"mutant {mutant.name!r}: {mutant.old!r} not in {mutant.file}")
            path.write_text(source.replace(mutant.old, mutant.new, 1), "utf-8")
        environment = {
            **os.environ,
            "NUMBA_CACHE_DIR": str(place / "cache"),
            "PYTHONPATH": str(place),
        }
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "tests.verification",
                *claims,
                "--fast",
                "--workers",
                "1",
                "--out",
                str(place / "report"),
            ],
            cwd=place,
            env=environment,
            capture_output=True,
            text=True,
        )
        if done.returncode not in (0, 1):
            raise RuntimeError(done.stderr)
        blocks = re.split(r"^(?=(?:pass|FAIL)  )", done.stdout, flags=re.M)
        failed = [b.split()[1] for b in blocks if b.startswith("FAIL") and ", expected " in b]
        if not any(b.startswith(("pass", "FAIL")) for b in blocks):
            raise RuntimeError(done.stdout + done.stderr)
        return failed


def run_mutants(workers: int, say: Callable[[str], None]) -> tuple[bool, str]:
    """Try every mutant; whether all were caught, and a Markdown section on them."""
    with tempfile.TemporaryDirectory(prefix="colony-snapshot-") as name:
        # One snapshot, so that work on the sources meanwhile passes for no break.
        root = Path(name)
        for folder in _FOLDERS:
            shutil.copytree(_ROOT / folder, root / folder, ignore=_SKIP)
        return _run(root, workers, say)


def _run(root: Path, workers: int, say: Callable[[str], None]) -> tuple[bool, str]:
    named = tuple(dict.fromkeys(c for m in MUTANTS for c in (*m.claims, "twin")))

    def attempt(mutant: Mutant | None) -> list[str]:
        if mutant is None:
            return failed_claims(None, named, root)
        claims = tuple(dict.fromkeys((*mutant.claims, "twin")))
        found = failed_claims(mutant, claims, root)
        say(f"{'caught' if found else 'MISSED'}  {mutant.name}: {', '.join(found) or 'none'}")
        return found

    with ThreadPoolExecutor(max(1, workers)) as pool:
        sound, *found = pool.map(attempt, (None, *MUTANTS))
    if sound:
        say(f"the unbroken copy fails {', '.join(sound)}: these catch nothing")
    caught = [[c for c in f if c not in sound] for f in found]
    lines = [
        "",
        "## Mutation check",
        "",
        f"{sum(bool(c) for c in caught)} of {len(MUTANTS)} breaks made a claim fail that holds for"
        " the unbroken model. Tried with each: the claims named, fast version, and the twin.",
        "",
        "| break | file | from | to | tried | failed |",
        "|---|---|---|---|---|---|",
    ]
    for mutant, names in zip(MUTANTS, caught, strict=True):
        tried = ", ".join(dict.fromkeys((*mutant.claims, "twin")))
        lines.append(
            f"| {mutant.name} | {mutant.file} | `{mutant.old}` | `{mutant.new}` | {tried} |"
            f" {', '.join(names) or '**none**'} |"
        )
    return all(caught), "\n".join(lines) + "\n"
