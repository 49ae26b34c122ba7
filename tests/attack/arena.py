"""Runs ``colony-sim`` in children of this process, so that what it imports is loaded once.

A child has a stand-in for the model and does its runs itself: what is under attack is what reads
and refuses. Its processor time and memory are bounded; a study still at work after `WORK_S` is
stopped with Ctrl-C, as a keeper would.
"""

from __future__ import annotations

import gc
import io
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

WORK_S, GRACE_S, CLOCK_S = 15, 15, 3600
"""Seconds of the processor until Ctrl-C, and from there until the child is killed; of the clock at
most, for a child that waits for something that does not come."""
MOST_BYTES = 6 << 30
"""Of address space, most of it never touched."""
STOPPED = -1_000
"""In place of an exit code: a child that did not end after Ctrl-C."""


@dataclass(frozen=True)
class Ending:
    """How a command ended.

    Attributes
    ----------
    code : int
        Exit code; that of the signal, negative, if one ended it, or `STOPPED`.
    out, err : str
    seconds : float
        Of the clock.
    megabytes : float
        Most memory in use.
    interrupted : bool
        Whether Ctrl-C was sent.
    """

    code: int
    out: str
    err: str
    seconds: float
    megabytes: float
    interrupted: bool

    @property
    def line(self) -> str:
        """What it said of its end."""
        told = [line for line in self.err.splitlines() if line.startswith("colony-sim: ")]
        return told[-1] if told else ""


def run(
    words: Sequence[str],
    folder: Path,
    *,
    prepare: Callable[[], None] = lambda: None,
    variables: Mapping[str, str] | None = None,
    work_s: int = WORK_S,
) -> Ending:
    """Run a command line in a folder; `prepare` is called in the child before."""
    with (
        tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err,
        tempfile.TemporaryFile() as rung,
    ):  # fmt: skip
        sys.stdout.flush()
        sys.stderr.flush()
        child = os.fork()
        if child == 0:
            code = 70
            try:
                _bound(work_s, rung.fileno())
                code = _child(words, folder, out.fileno(), err.fileno(), prepare, variables or {})
            finally:
                os._exit(code)
        status, used = _wait(child)
        interrupted = os.fstat(rung.fileno()).st_size > 0
        texts = []
        for file in (out, err):
            file.seek(0)
            texts.append(file.read(1 << 20).decode("utf-8", "replace"))
    seconds = used.ru_utime + used.ru_stime
    return Ending(status, *texts, seconds, used.ru_maxrss / 1024, interrupted)


def _wait(child: int) -> tuple[int, resource.struct_rusage]:
    latest = time.monotonic() + CLOCK_S
    while time.monotonic() < latest:
        ended, status, used = os.wait4(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status), used
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    return STOPPED, os.wait4(child, 0)[2]


def _bound(work_s: int, rung: int) -> None:
    """Ctrl-C after so many seconds of the processor, and the end if it does not help.

    The file `rung` tells that it came: the timer counts other seconds than the system's books do.
    """

    def ring(number: int, frame: object) -> None:
        os.write(rung, b".")
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, work_s)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (work_s + GRACE_S, work_s + GRACE_S))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))


def _child(words, folder, out, err, prepare, variables) -> int:
    os.dup2(out, 1)
    os.dup2(err, 2)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    sys.stdin = io.TextIOWrapper(io.FileIO(0, closefd=False), "utf-8")
    encoding, _, handling = variables.get("PYTHONIOENCODING", "utf-8").partition(":")
    for number, name in ((1, "stdout"), (2, "stderr")):
        raw = io.FileIO(number, "w", closefd=False)
        errors = handling or ("strict" if number == 1 else "backslashreplace")
        text = io.TextIOWrapper(
            io.BufferedWriter(raw), encoding, errors=errors, line_buffering=number == 2
        )
        setattr(sys, name, text)
    os.environ.update(variables)
    os.chdir(folder)
    sys.argv = ["colony-sim", *words]
    from colony_sim.commands.start import run as command

    try:
        prepare()
        command()
        code = 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:
        traceback.print_exc()
        code = 1
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except (OSError, ValueError):
        code = code or 1
    return code & 0xFF


def stop_at_first_run() -> None:
    """Ctrl-C at the moment when an input is taken and the first run would begin."""
    from colony_sim.colony import simulate
    from colony_sim.running import local

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    local.SerialExecutor.submit = stop
    simulate.simulate = stop


def warm() -> None:
    """Load what commands load and put the stand-ins in place, before the first child."""
    from colony_sim.colony import simulate

    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "fake_model"))
    import stand_in

    # Before others take it by name. The days of a log are lived by the model all the same.
    simulate.simulate = lambda *run, **how: _with_all_columns(stand_in.simulate(*run, **how))
    from importlib import import_module

    from colony_sim.running import local, runner

    for name in (
        "breakeven", "calendar", "check", "compare", "copy", "evidence", "figures", "film", "fit",
        "plan", "repeat", "report", "run", "search", "sensitivity", "sweep", "today", "trial",
        "worlds",
    ):  # fmt: skip
        import_module(f"colony_sim.commands.{name}")

    class Here(local.SerialExecutor):
        """Runs are done in the child itself; workers are only counted."""

        def __init__(self, workers: int | None = None, **_: object) -> None:
            self.workers = runner.check_workers(workers)

        def ahead(self) -> None:
            """There is nobody to get ready."""

    # Nothing is compiled.
    stand_ins = {"LocalExecutor": Here, "compile_kernels": lambda: None}
    for module in list(sys.modules.values()):
        for name, instead in stand_ins.items():
            if hasattr(module, name) and getattr(module, "__name__", "").startswith("colony_sim."):
                setattr(module, name, instead)
    # Pages that the collector does not touch are not copied in every child.
    gc.collect()
    gc.freeze()


def _with_all_columns(record):
    """A record of the stand-in with what plan and calendar read."""
    from colony_sim.colony import binlog, daily
    from colony_sim.drawing import lived

    record.daily = record.daily.reindex(columns=list(daily.DAILY_COLUMNS), fill_value=0.0)
    log = binlog.BinLog().frame()
    record.bin_log = record.bin_log.reindex(columns=log.columns).astype(log.dtypes)
    record.bins_daily = record.bins_daily.reindex(columns=list(lived.COLUMNS), fill_value=0)
    return record
