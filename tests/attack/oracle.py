"""Whether a command ended as it may: done or refused in one line, in bounds, nothing written."""

from __future__ import annotations

import re
import shutil
import stat
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from . import arena, inputs
from .attacks import FOLDER, Attack

DONE, FAILED, REFUSED, STOPPED_WITH_ANSWER, STOPPED = 0, 1, 2, 3, 130
MOST_LETTERS, MOST_MEGABYTES, REFUSED_S = 700, 1500, 10
"""Of a line; of memory; seconds of the processor until a refusal."""
_USUAL = re.compile(
    r"Getting ready|Preparing the model|Gathering the slides|Drawing|.*: \d+ of \d+ runs|$"
)
_COMPARE_FOLDERS = ("check", "repeat")
"""Commands whose 1 says that a folder is not what it was."""


@dataclass(frozen=True)
class Judged:
    """An attack, how it ended and what is wrong with that (empty: nothing)."""

    attack: Attack
    ending: arena.Ending
    faults: tuple[str, ...]

    @property
    def signature(self) -> str:
        """The same for faults with one cause, mostly."""
        lines = [line for line in self.ending.err.splitlines() if line.strip()]
        places = [line.strip() for line in lines if "colony_sim/" in line and "File" in line]
        last = places[-1] if places else ""
        return f"{self.faults[0]} | {last} | {lines[-1][:160] if lines else ''}"


def attempt(
    attack: Attack,
    made: Mapping[str, Path],
    work_s: int = arena.WORK_S,
    prepare: Callable[[], None] = lambda: None,
    may_fail: bool = False,
) -> Judged:
    """Carry out an attack in a folder of its own and judge it; `prepare` as of `arena.run`."""
    place = Path(tempfile.mkdtemp(prefix="attack-"))
    try:
        inputs.lay_out(place)
        target = place
        if attack.kind:
            target = place / FOLDER
            shutil.copytree(made[attack.kind], target)
        for name, data in attack.files.items():
            (target / name).parent.mkdir(exist_ok=True)
            (target / name).write_bytes(data)
        before = tree(place)
        stopped = prepare is arena.stop_at_first_run
        ending = arena.run(
            attack.words, place, variables=attack.variables, work_s=work_s, prepare=prepare
        )
        changed = sorted({name for name, _, _ in before ^ tree(place)})
        return Judged(attack, ending, tuple(faults(attack, ending, changed, may_fail, stopped)))
    finally:
        for path in (place, *place.rglob("*")):
            path.chmod(path.stat().st_mode | stat.S_IWUSR)
        shutil.rmtree(place, ignore_errors=True)


def tree(place: Path) -> set[tuple[str, int, int]]:
    """Every file and folder below a place, with size and time of the last change of a file."""
    found = set()
    for path in place.rglob("*"):
        state = path.stat()
        size, when = (state.st_size, state.st_mtime_ns) if path.is_file() else (0, 0)
        found.add((str(path.relative_to(place)), size, when))
    return found


def faults(
    attack: Attack,
    ending: arena.Ending,
    changed: list[str],
    may_fail: bool = False,
    stopped: bool = False,
) -> list[str]:
    """What is wrong with an ending; `stopped` if the command was, and `may_fail` if it has to."""
    found = []
    if "Traceback" in ending.err or "Error:" in ending.line[-200:] and ending.code not in (2,):
        found.append("traceback")
    allowed = {DONE, REFUSED}
    if attack.words[0] in _COMPARE_FOLDERS and attack.kind or may_fail:
        allowed.add(FAILED)
    if ending.interrupted or stopped:
        allowed |= {STOPPED, STOPPED_WITH_ANSWER}
    if ending.code not in allowed:
        found.append(f"exit code {ending.code}")
    if ending.megabytes > MOST_MEGABYTES:
        found.append(f"memory {ending.megabytes:.0f} MB")
    told = [line for line in ending.err.splitlines() if not _USUAL.match(line)]
    if ending.code == REFUSED and not found:
        if len(told) != 1 or not told[0].startswith("colony-sim: "):
            found.append(f"{len(told)} lines")
        if ending.out and "--check" not in attack.words:  # Of a log, which lists its faults.
            found.append("words on standard output")
        if len(ending.line) > MOST_LETTERS:
            found.append(f"{len(ending.line)} letters")
        named = [form for odd in attack.odd if odd for form in (odd, repr(odd)[1:-1])]
        # Of letters behind one dash each is an option, and the first unknown one is told.
        named += [odd[:2] for odd in attack.odd if re.match(r"-\w", odd)]
        if not any(_plain(form) in _plain(ending.line) for form in named):
            found.append("names nothing")
        if changed:
            found.append(f"wrote {', '.join(changed[:3])}")
        if ending.seconds > REFUSED_S:
            found.append(f"refused after {ending.seconds:.0f} s")
    return found


def _plain(text: str) -> str:
    return " ".join(text.replace("-", "_").lower().split())
