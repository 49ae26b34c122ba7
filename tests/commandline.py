"""Helpers for tests that run ``colony-sim`` as a user does: as a process of its own."""

from __future__ import annotations

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import plain_words
import warm

FAKE_MODEL = Path(__file__).with_name("fake_model")
# The package of this checkout, wherever another may be installed.
CHECKOUT = FAKE_MODEL.parents[1]
PROGRAM = [sys.executable, "-c", "from colony_sim.commands.start import run; run()"]

EXPERIMENT = """\
[experiment]
name = "demo"
question = "Which interval gives more?"
days = 700
replicates = 4
seed = 5

[climate]
kind = "constant"
temperature_c = 27.0

[start]
breeders = 300

[[policy]]
name = "short"
rotation.interval_days = 14

[[policy]]
name = "long"
rotation.interval_days = 21
"""


def environment(faults: str | None = "", log: Path | None = None) -> dict[str, str]:
    """Environment with the fake model and its faults; the real model if ``faults`` is None."""
    env = {key: value for key, value in os.environ.items() if not key.startswith("FAKE_MODEL")}
    path = [CHECKOUT] if faults is None else [FAKE_MODEL, CHECKOUT]
    env["COLUMNS"] = str(plain_words.COLUMNS)
    env["PYTHONPATH"] = os.pathsep.join(map(str, path))
    if faults is not None:
        env["FAKE_MODEL"] = faults
    if log is not None:
        env["FAKE_MODEL_LOG"] = str(log)
    return env


def as_most(*words: object) -> list[str]:
    """The words of a command as most tests want it, which count runs.

    Comparisons have one world and leave out the assumptions unless the words say otherwise.
    """
    if words[0] == "compare" and not {"--profile", "--worlds", "--error", "--zone"} & {*words}:
        words = (*words, "--one-world")
        if not {"--assumptions", "--quick"} & {*words}:
            words = (*words, "--no-assumptions")
    return list(map(str, words))


def start(*words: object, cwd: Path, faults: str | None = "", log: Path | None = None):
    """Start ``colony-sim`` in a process group of its own, like a job of a shell."""
    return subprocess.Popen(
        [*PROGRAM, *as_most(*words)],
        cwd=cwd,
        env=environment(faults, log),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A test run started in the background would hand down an ignored Ctrl-C.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def cli(*words: object, cwd: Path, faults: str | None = "", log: Path | None = None):
    """Run ``colony-sim`` to its end; returns exit code, standard output, error lines.

    In a process that begins with the libraries loaded (`warm`), where there can be one.

    What a command says that went well is one screen in a keeper's words, whichever test runs it.
    """
    if warm.POSSIBLE:
        given = as_most(*words), cwd, environment(faults, log)
        code, out, err = warm.run(PROGRAM[-1], *given, timeout=120)
    else:
        process = start(*words, cwd=cwd, faults=faults, log=log)
        out, err = process.communicate(timeout=120)
        code = process.returncode
    if code == 0 and not {"--json", "--version", "--template"} & {*words}:
        # The titles of slides are looked at where slides are.
        wrong = plain_words.faults(out.split("\n")[0] if words[0] == "figures" else out)
        assert not wrong, (words, wrong, out)
    return code, out, told(err)


def script(file: Path, *words: object, cwd: Path):
    """Run a Python file with the model itself; returns exit code, standard output and error."""
    env, given = environment(None), list(map(str, words))
    if warm.POSSIBLE:
        code = f"import runpy; runpy.run_path({str(file)!r}, run_name='__main__')"
        return warm.run(code, given, cwd, env, timeout=240)
    done = subprocess.run(
        [sys.executable, file, *given], cwd=cwd, env=env, capture_output=True, text=True
    )
    return done.returncode, done.stdout, done.stderr


def told(err: str) -> list[str]:
    """Lines on standard error that tell of neither progress nor compiling."""
    usual = re.compile(
        r"Getting ready|Preparing the model|(demo(-quick)?|repeat|assumptions): \d+ of \d+ runs"
    )
    return [line for line in err.splitlines() if not usual.match(line)]


def wait_for(condition, seconds: float = 30.0) -> None:
    """Wait until a condition holds."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def tree(folder: Path) -> dict[str, bytes]:
    """All files below a folder with their contents."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def stored_runs(folder: Path) -> dict[str, tuple[str, float]]:
    """Checksum and seconds of the finished runs of a results folder, by key."""
    file = folder / "runs.sqlite"
    if not file.exists():
        return {}
    with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        try:
            rows = connection.execute("SELECT key, checksum, seconds FROM runs").fetchall()
        except sqlite3.OperationalError:  # It is just being made.
            return {}
    return {key: (checksum, seconds) for key, checksum, seconds in rows}


def without_sums(folder: Path) -> None:
    """Make a folder one of an older version, which kept no checksums: its tables may be changed."""
    path = folder / "manifest.json"
    facts = json.loads(path.read_text(encoding="utf-8"))
    facts.pop("sha256", None)
    facts.pop("seal", None)
    path.write_text(json.dumps(facts), encoding="utf-8")
