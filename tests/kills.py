"""Every command that writes, killed at moments chosen by what it is doing, then given again.

``python -m tests.kills [COMMAND ...] [--most 100]`` ends with 1 if anything is wrong. A first life
of a command, undisturbed, writes down every moment at which it changes something (the fault points
of ``colony_sim/atomic.py`` and the rows of ``running/store.py``) and whatever is written past that
module. Then it is killed (SIGKILL) at so many of these moments, each time from the same beginning:
an empty place, or one in which the command was done before. What lies in the folder then must be
the old or the new files, whole; the same command, given again, must end well and leave the very
bytes of an undisturbed life and nothing else. Of stores of runs the rows are compared.

Inputs are the smallest. Lives are forked from this process, in which all is loaded, and have their
runs in the process that is killed (processes with workers are killed in ``test_runner.py``); the
clock of manifests stands still. Studies live by the stand-in of ``fake_model``, the others by the
model itself.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import commandline  # noqa: E402

MOST = 100
TWO = commandline.EXPERIMENT.replace("days = 700", "days = 60").replace("= 4", "= 2")
RENAMES = ("rename", "renamed", "delete", "make", "row")
ONE = ("--one-world", "--workers", "1")
MAY = ("colony_sim/atomic.py", "running/store.py", "search/proposing.py", "sitecustomize.py")
"""Modules that change what is on the disk; the last is of the stand-in."""
SHORT = ("--warm-up", "10", "--used", "28")


@dataclass(frozen=True)
class Case:
    """A command: its words, what is there before it, whether the model itself is lived, whether it
    may be given again, and whether its runs are long: most kills are then where these are kept."""

    name: str
    words: tuple[str, ...]
    before: tuple[str, ...] = ()
    real: bool = False
    again: bool = True
    long: bool = False


CASES = [
    Case("compare", ("compare", "demo.toml", "--no-assumptions", *ONE)),
    Case("sweep", ("sweep", "demo.toml", "--vary", "harvest.fraction=0.5,0.6", *ONE)),
    Case("breakeven", ("breakeven", "demo.toml", "--x", "harvest.fraction=0.5,0.6", "--y",
                       "larva.duration_days=90,100", "--replicates", "2", *SHORT, *ONE)),
    Case("sensitivity", ("sensitivity", "demo.toml", "--method", "oneway", "--keys",
                         "larva.duration_days,predation.adult_egg", "--replicates", "2", *SHORT,
                         *ONE)),
    Case("search", ("search", "demo.toml", "--keys", "harvest.fraction=0.5,0.6,0.7",
                    "--candidates", "5", "--replicates", "2", "--fresh-seeds", "2", *SHORT, *ONE)),
    Case("run", ("run", "demo.toml", "--policy", "short"), real=True),
    Case("plan", ("plan", "--grams-per-day", "1", "--bins", "4", "--bin-area", "2",
                  "--temperature", "27", "--breeders", "20", "--after-days", "150", "--years", "2",
                  "--start", "2031-03-01", "--quick", *ONE), real=True, long=True),
    Case("fit", ("fit", "shed.csv", "--experiment", "shed.toml", "--members", "100", "--workers",
                 "1"), real=True, long=True),
    Case("template", ("fit", "--template", "new.csv"), again=False),
    Case("today", ("today", "shed.csv", "--experiment", "shed.toml", "--on", "2031-03-28",
                   "--members", "40", "--workers", "1"), real=True, long=True),
    Case("trial", ("trial", "results/demo", "--workers", "1"), ("worlds",), real=True, long=True),
    Case("figures", ("figures", "results/demo-breakeven"), ("breakeven",), real=True),
    Case("report", ("report", "results/demo-breakeven"), ("breakeven",), real=True),
    Case("film", ("film", "results/small", "--days", "5"), ("small",), real=True),
    Case("calendar", ("calendar", "results/demo-run-short", "--start", "2031-03-01", "--weeks",
                      "4"), ("run",), real=True),
    Case("worlds", ("worlds",)),
    Case("copy", ("copy", "rotation", "--over")),
]  # fmt: skip


@dataclass
class Found:
    """What came of the kills of a command."""

    moments: int = 0
    kills: int = 0
    late: int = 0
    past: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    differing: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    @property
    def bad(self) -> bool:
        return bool(self.past or self.wrong or self.differing or self.left)


# ---- One life of a command, in a process of its own


class Frozen(datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz=None):
        return cls(2031, 1, 1, tzinfo=tz)


def live(case: Case, place: Path, hear: Callable[[str, Path], object] | None, watch=None) -> int:
    """Give the command in a place; its exit code, or the signal that ended it below 0."""
    return ended(begun(case, place, hear, watch))


def ended(child: int) -> int:
    """Wait for a life."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def begun(case: Case, place: Path, hear=None, watch=None, said: str = "said.txt") -> int:
    """Begin a life; the number of its process."""
    sys.stdout.flush()
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        os.chdir(place)
        said = os.open(place.parent / said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(said, 1), os.dup2(said, 2)
        from colony_sim import atomic
        from colony_sim.commands.main import run
        from colony_sim.results import manifest
        from colony_sim.running import executor, local

        executor.LocalExecutor = lambda *_, **__: local.SerialExecutor()
        manifest.datetime = Frozen
        manifest.commit = lambda: None  # Somebody may be at work here.
        atomic.moment = hear
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if watch is not None:
            sys.addaudithook(watch)
        sys.argv = ["colony-sim", *case.words]
        try:
            run()
        except SystemExit as end:
            code = int(end.code or 0)
        if hear is not None and hasattr(hear, "keep"):
            hear.keep()
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush(), sys.stderr.flush()
        os._exit(code)


class Heard:
    """Writes down the moments of a life, and what is written past the module that writes."""

    def __init__(self, place: Path) -> None:
        self.place, self.moments, self.past = place, [], []

    def __call__(self, what: str, path: Path) -> None:
        self.moments.append(what)

    def watch(self, event: str, values: tuple) -> None:
        if event == "open":
            path, mode, flags = values
            writes = flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) or any(
                letter in str(mode) for letter in "wax+"
            )
            # A number is open already: a pipe to a worker.
            if not writes or isinstance(path, int):
                return
        elif event not in ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate",
                           "os.link", "os.symlink", "sqlite3.connect"):  # fmt: skip
            return
        path = str(values[0])
        inside = not os.path.isabs(path) or Path(path).is_relative_to(self.place)
        if not inside or "mode=ro" in path or path == ":memory:":
            return
        frame, files = sys._getframe(1), []
        while frame is not None:
            files.append(frame.f_code.co_filename)
            frame = frame.f_back
        if not any(file.endswith(MAY) for file in files):
            self.past.append(f"{event} {path}")

    def keep(self) -> None:
        file = self.place.parent / "heard.json"
        file.write_text(json.dumps([self.moments, self.past]))


def killer(number: int, by: signal.Signals = signal.SIGKILL) -> Callable[[str, Path], None]:
    """Ends the process at the moment of this number: without a word, or as Ctrl-C does."""
    count = -1

    def hear(what: str, path: Path) -> None:
        nonlocal count
        count += 1
        if count == number:
            os.kill(os.getpid(), by)

    return hear


# ---- What lies in a place


def rows(file: Path) -> list[tuple]:
    """Key, checksum and payload of the runs of a store; nothing of other files of SQLite."""
    with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as store:
        names = {name for (name,) in store.execute("SELECT name FROM sqlite_master")}
        if "runs" not in names:
            return []
        return sorted(store.execute("SELECT key, checksum, payload FROM runs"))


def tree(place: Path) -> dict[str, object]:
    """All files with their bytes, stores with their rows."""
    return {
        str(path.relative_to(place)): rows(path) if path.suffix == ".sqlite" else path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file()
    }


def torn(place: Path) -> list[str]:
    """Files of finished folders that are not as their manifest says."""
    from colony_sim.results import manifest

    found = []
    for path in place.rglob("manifest.json"):
        folder = path.parent
        if folder.name in (".ready", ".staged") or (folder / ".ready" / path.name).exists():
            continue  # On their way, which readers wait for.
        facts = json.loads(path.read_text())
        found += [f"{folder.name}/{name}" for name in manifest.damaged(folder, facts)]
    return found


# ---- The kills of a command


def chosen(moments: Sequence[str], most: int) -> list[int]:
    """Numbers of so many moments: all renames before writes, evenly spread."""
    first = [i for i, what in enumerate(moments) if what in RENAMES]
    rest = [i for i, what in enumerate(moments) if what not in RENAMES]
    of_first = _spread(first, most if len(rest) == 0 else max(most - len(rest), most * 2 // 3))
    return sorted(of_first + _spread(rest, most - len(of_first)))


def _spread(numbers: list[int], most: int) -> list[int]:
    if len(numbers) <= most:
        return numbers
    return [numbers[i * len(numbers) // most] for i in range(most)]


def spread_out(numbers: list[int]) -> list[int]:
    """The same in an order in which the first few are from all over."""
    step = 1 << len(numbers).bit_length()
    order: list[int] = []
    while step := step // 2:
        order += [i for i in range(step - 1, len(numbers), 2 * step)]
    return [numbers[i] for i in order]


def prepared(case: Case, home: Path) -> Path:
    """A place with what the command needs."""
    place = home / "begin"
    place.mkdir(parents=True)
    (place / "demo.toml").write_text(TWO)
    if case.real:
        import small_log  # It needs the model itself.

        (place / "shed.csv").write_text(small_log.LOG)
        (place / "shed.toml").write_text(small_log.FILE)
    for what in case.before:
        if what == "small":
            import small_comparison

            small_comparison.small("two", place / "results")
        else:
            words = {one.name: one.words for one in CASES}
            words["worlds"] = ("compare", "demo.toml", "--worlds", "12", "--workers", "1")
            code = live(Case(what, words[what]), place, None)
            assert code == 0, (home / "said.txt").read_text()
    return place


def kill(case: Case, most: int, minutes: float, home: Path, by: signal.Signals) -> Found:
    """Kill a command at moments of its life, from an empty place and from one where it was done.

    Minutes are shared as kills are; moments come in an order that spreads those before the end.
    """
    begin, found = prepared(case, home), Found()
    done: dict[str, object] | None = None
    for start in ("new", "again")[: 1 + case.again]:
        place = home / "place"

        def anew(begin=begin, place=place) -> None:
            shutil.rmtree(place, ignore_errors=True)
            shutil.copytree(begin, place, symlinks=True)

        anew()
        heard = Heard(place)
        code = live(case, place, heard, heard.watch)
        said = (home / "said.txt").read_text()
        assert code == 0, (case.name, start, code, said)
        moments, past = json.loads((home / "heard.json").read_text())
        found.moments += len(moments)
        found.past += sorted(set(past))
        whole = tree(place)
        if done is not None and whole != done:
            found.differing += [f"again: {name}" for name in _differing(done, whole)]
        done = whole
        kept = Path(shutil.copytree(place, home / f"kept-{start}", symlinks=True))
        share = 1.0 if not case.again else 0.5 if not case.long else 0.1 if start == "new" else 0.9
        latest = time.monotonic() + 60 * minutes * share
        for number in spread_out(chosen(moments, math.ceil(share * most))):
            if time.monotonic() > latest:
                break
            anew()
            what = f"{start} {number} {moments[number]}"
            code = live(case, place, killer(number, by))
            said = (home / "said.txt").read_text()
            if by == signal.SIGKILL and code == 0:
                found.late += 1  # A life has some moments more or less, by the clock.
                continue
            if by == signal.SIGKILL and code != -by:
                found.wrong.append(f"{what}: ended with {code}, not killed")
            # Ctrl-C may come when all is done, or end a comparison with an answer.
            if by == signal.SIGINT and (code not in (0, 3, 130) or "Traceback" in said):
                found.wrong.append(f"{what}: ended with {code}: {said[-300:]}")
            found.kills += 1
            found.wrong += [f"{what}: torn {name}" for name in torn(place)]
            # One that never replaces a file has no more to do once it is there.
            code = 0 if not case.again and tree(place) == whole else live(case, place, None)
            if code != 0:
                said = (home / "said.txt").read_text()
                found.wrong.append(f"{what}: then {code}: {said[-300:]}")
                continue
            now = tree(place)
            found.left += [f"{what}: {name}" for name in now.keys() - whole.keys()]
            found.differing += [f"{what}: {name}" for name in _differing(whole, now)]
        if start == "new":  # Where it is done already, files are replaced.
            begin = Path(shutil.copytree(kept, home / "finished", symlinks=True))
    return found


def _differing(one: dict[str, object], other: dict[str, object]) -> list[str]:
    return [name for name, data in one.items() if other.get(name) != data]


def together(most: int, home: Path) -> Found:
    """Writers of one folder at once, then readers in a loop beside a writer."""
    from colony_sim import atomic
    from colony_sim.studies.comparison import draw

    # Drawing takes longer than all else.
    draw.draw = lambda folder: atomic.put_text(folder / "comparison.png", "a figure")
    begin, found = prepared(CASES[0], home), Found()
    words = CASES[0].words
    writer, other = Case("writer", words), Case("writer", (*words, "--replicates", "3"))
    readers = [
        Case("check", ("check", "results/demo")),
        Case("report", ("report", "results/demo", "--alone")),
        Case("report elsewhere", ("report", "results/demo", "--alone", "--out", "page.html")),
    ]
    done: list[dict[str, object]] = []
    for number in range(most):
        place = home / f"place-{number}"
        shutil.copytree(begin, place)
        lives = [begun(writer, place, said=f"said-{k}.txt") for k in range(2)]
        for k, life in enumerate(lives):
            code, said = ended(life), (home / f"said-{k}.txt").read_text()
            found.kills += 1
            if code != 0 and not (code == 2 and "in use by another colony-sim" in said):
                found.wrong.append(f"two writers: {code}: {said[-300:]}")
        done.append(tree(place))
        found.wrong += [f"two writers: torn {name}" for name in torn(place)]
    found.differing += [f"two writers: {x}" for now in done for x in _differing(done[0], now)]
    found.left += [f"two writers: {x}" for now in done for x in now.keys() - done[0].keys()]
    lives = {begun(reader, place, said=reader.name): reader for reader in readers}
    left = most
    writing = begun(other, place, said="writer")
    while lives:
        life, status = os.wait()
        code = os.waitstatus_to_exitcode(status)
        who = lives.pop(life) if life in lives else writer
        found.kills += 1
        if code != 0:
            said = (home / ("writer" if life == writing else who.name)).read_text()
            found.wrong.append(f"{who.name} beside others: {code}: {said[-300:]}")
        if life == writing:
            left -= 1
            if left > 0:
                writing = begun(other if left % 2 else writer, place, said="writer")
        elif left > 0:
            lives[begun(who, place, said=who.name)] = who
    found.wrong += [f"beside a writer: torn {name}" for name in torn(place)]
    hidden = [str(path.relative_to(place)) for path in place.rglob(".*") if path.name != ".lock"]
    found.left += hidden
    return found


def main(words: Sequence[str] | None = None) -> int:
    """Kill the commands that are named, or all."""
    parser = argparse.ArgumentParser(prog="python -m tests.kills", description=__doc__)
    parser.add_argument("commands", nargs="*", metavar="COMMAND")
    parser.add_argument("--most", type=int, default=MOST, help="kills of each command (100)")
    parser.add_argument("--minutes", type=float, default=math.inf, help="of each command (any)")
    parser.add_argument("--interrupt", action="store_true", help="by Ctrl-C in place of SIGKILL")
    given = parser.parse_args(words)
    by = signal.SIGINT if given.interrupt else signal.SIGKILL
    cases = [case for case in CASES if not given.commands or case.name in given.commands]
    real = "FAKE_MODEL" not in os.environ
    mine = [case for case in cases if case.real == real]
    others = [case.name for case in cases if case.real != real]
    beside = not given.commands or "together" in given.commands
    bad = False
    if mine or beside:
        if real:
            from colony_sim.running.runner import get_ready

            get_ready()
        for module in ("main", "show", "check", "report", *{case.words[0] for case in mine}):
            import_module(f"colony_sim.commands.{module}")
        import_module("matplotlib.backends.backend_pdf")
    for case in mine:
        with tempfile.TemporaryDirectory(prefix="kills-") as name:
            found = kill(case, given.most, given.minutes, Path(name), by)
        bad |= found.bad
        print(
            f"{case.name}: {found.kills} kills at {found.moments} moments"
            f"{f' ({found.late} more came too late)' if found.late else ''}; "
            f"{len(found.wrong)} wrong ends or torn, {len(found.differing)} files differ, "
            f"{len(found.left)} left over, {len(found.past)} written past the module",
            flush=True,
        )
        for line in (*found.wrong, *found.differing, *found.left, *found.past):
            print(f"  {line}", flush=True)
    if beside and real:
        with tempfile.TemporaryDirectory(prefix="kills-") as name:
            found = together(max(given.most // 10, 2), Path(name))
        bad |= found.bad
        print(
            f"together: {found.kills} lives beside others; {len(found.wrong)} wrong ends or torn, "
            f"{len(found.differing)} files differ, {len(found.left)} left over",
            flush=True,
        )
        for line in (*found.wrong, *found.differing, *found.left):
            print(f"  {line}", flush=True)
    elif beside:
        others.append("together")
    if others and "KILLS_HALF" not in os.environ:
        # The other model needs a process that began with it.
        env = commandline.environment(faults="eggs=eaten" if real else None)
        more = [sys.executable, __file__, *others, "--most", str(given.most)]
        more += ["--minutes", str(given.minutes)]
        more += ["--interrupt"] * given.interrupt
        bad |= bool(subprocess.run(more, env={**env, "KILLS_HALF": "1"}).returncode)
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
