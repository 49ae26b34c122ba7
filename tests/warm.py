"""Processes for commands of the tests that begin with the libraries already loaded.

A fresh interpreter spends some 3 s of the processor on NumPy, pandas, SciPy and the like, for a
command and once more for each of its workers. Here both are forks of a process that has loaded
these and nothing else. All that is colony_sim's own is imported anew, in the order in which the
command asks for it; standard output and error, folder, environment, session and exit code are those
of a process of its own, and workers are children of who starts them, with what ``spawn`` hands to a
new interpreter.

Two such processes, of different hash seeds, take turns: what a command does twice is done by two
interpreters between which the order of sets differs.
"""

from __future__ import annotations

import atexit
import ctypes
import fcntl
import gc
import importlib
import os
import pickle
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from multiprocessing import util
from pathlib import Path

LIBRARIES = (
    "numpy", "pandas", "pyarrow.parquet", "pyarrow.dataset", "scipy.stats", "scipy.optimize",
    "scipy.sparse.linalg", "numba", "numba.typed", "mesa", "typer.rich_utils", "rich.table",
    "rich.progress", "jinja2", "pydantic", "matplotlib.figure", "matplotlib.dates",
    "matplotlib.backends.backend_agg", "matplotlib.backends.backend_pdf", "seaborn", "PIL.Image",
    "SALib.analyze.sobol", "SALib.sample.sobol", "optuna", "sqlite3", "multiprocessing.spawn",
    "concurrent.futures.process", "asyncio",
)  # fmt: skip
MOST_BYTES = 1 << 18
"""Of one request."""
POSSIBLE = sys.platform == "linux"
_PR_SET_CHILD_SUBREAPER = 36
_started: list[tuple[subprocess.Popen, socket.socket]] = []


# ---- In the process of the tests


def run(code: str, words: list[str], cwd: Path, env: dict[str, str], timeout: float):
    """Run code to its end, as ``python -c``: exit code, standard output and error.

    Raises
    ------
    subprocess.TimeoutExpired
        After `timeout` seconds; the process has been killed.
    """
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        to = _next()
        request = pickle.dumps((_command, code, words, str(cwd), env))
        socket.send_fds(to, [request], [out.fileno(), err.fileno()])
        child = int(to.recv(20))
        to.settimeout(timeout)
        try:
            code = int(to.recv(20))
        except TimeoutError:
            os.killpg(child, signal.SIGKILL)
            to.settimeout(None)
            to.recv(20)
            raise subprocess.TimeoutExpired(words, timeout) from None
        to.settimeout(None)
        texts = []
        for file in (out, err):
            file.seek(0)
            texts.append(file.read().decode())
    return code, *texts


def workers_here() -> None:
    """Workers of this process, too, begin with the libraries loaded."""
    _spawn_from(_next)


def _spawn_from(find: Callable[[], socket.socket]) -> None:
    spawn = util.spawnv_passfds

    def spawn_warm(path, args, passfds):
        args = [os.fsdecode(arg) for arg in args]
        if not any("spawn_main" in arg for arg in args):
            return spawn(path, args, passfds)
        blocked = signal.pthread_sigmask(signal.SIG_BLOCK, [])
        files = [*passfds, 1, 2]
        request = pickle.dumps((_worker, args, files, dict(os.environ), blocked))
        to = find()
        _adopt(True)
        try:
            socket.send_fds(to, [request], files)
            return int(to.recv(20))
        finally:
            _adopt(False)

    util.spawnv_passfds = spawn_warm


def _next() -> socket.socket:
    """Where to ask: the one of the two that was not asked last."""
    _started[:] = [one for one in _started if one[0].poll() is None]
    while len(_started) < 2:
        _started.append(_start(seed=len(_started) + 1))
    _started.reverse()
    return _started[0][1]


@cache
def _compiled() -> str:
    folder = tempfile.mkdtemp(prefix="colony-sim-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _start(seed: int) -> tuple[subprocess.Popen, socket.socket]:
    mine, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    env = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    # Threads of linear algebra do not live on in a fork.
    env |= {"PYTHONHASHSEED": str(seed), "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
    code = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import warm; "
    code += f"sys.path.pop(0); exec(warm.serve({theirs.fileno()}, {_compiled()!r}))"
    process = subprocess.Popen([sys.executable, "-c", code], env=env, pass_fds=[theirs.fileno()],
                               stdin=subprocess.DEVNULL)  # fmt: skip
    theirs.close()
    atexit.register(mine.close)
    return process, mine


# ---- In the process that has loaded the libraries


def serve(number: int, compiled: str) -> str:
    """Fork a child for each request, until there is no one left to ask; what a child is to do.

    Only children return.
    """
    tests = socket.socket(fileno=number)
    for name in LIBRARIES:
        importlib.import_module(name)
    if sys.dont_write_bytecode:  # Each child would compile all of colony_sim.
        sys.dont_write_bytecode, sys.pycache_prefix = False, compiled
    # Pages that the collector does not touch are not copied in every child.
    gc.collect()
    gc.freeze()
    return _serve(tests)


def _serve(asks: socket.socket) -> str:
    while True:
        request, files, _, _ = socket.recv_fds(asks, MOST_BYTES, 64)
        if not request:
            os._exit(0)
        role, *asked = pickle.loads(request)
        if role is _worker:
            child = os.fork()
            if not child:
                between = os.getpid()
                if os.fork():
                    os._exit(0)  # Who asked adopts what was just made.
                return _worker(asks, between, files, *asked)
        else:
            _adopt(True)  # What a command leaves behind ends as a child of this process.
            child = os.fork()
            if not child:
                asks.close()
                return _command(files, *asked)
            asks.send(b"%d" % child)
        for file in files:
            os.close(file)
        while True:
            ended, status = os.waitpid(-1, 0)
            if ended == child:
                break
        if role is _command:
            _adopt(False)
            asks.send(b"%d" % os.waitstatus_to_exitcode(status))


def _adopt(whether: bool) -> None:
    """Whether descendants whose parent ends become children of this process."""
    ctypes.CDLL(None).prctl(_PR_SET_CHILD_SUBREAPER, int(whether), 0, 0, 0)


def _command(files: list[int], code: str, words: list[str], cwd: str, env: dict[str, str]) -> str:
    os.setsid()
    os.chdir(cwd)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for number, file in enumerate(files, 1):
        os.dup2(file, number)
        os.close(file)
    workers, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    if not os.fork():
        workers.close()
        _adopt(False)
        return _serve(theirs)
    theirs.close()
    _begin(env)
    _spawn_from(lambda: workers)
    sys.argv = ["-c", *words]
    return code


def _worker(asks, between, files, args, numbers, env, blocked) -> str:
    while os.getppid() == between:
        time.sleep(0.0005)
    asks.send(b"%d" % os.getpid())
    asks.close()
    # First out of the way of the numbers that they had where they come from.
    high = [fcntl.fcntl(file, fcntl.F_DUPFD_CLOEXEC, 500) for file in files]
    for file in files:
        os.close(file)
    for file, number in zip(high, numbers, strict=True):
        os.dup2(file, number)
        os.close(file)
    signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
    _begin(env)
    at = args.index("-c")
    sys.argv = ["-c", *args[at + 2 :]]
    return args[at + 1]


def _begin(env: dict[str, str]) -> None:
    """What an interpreter does with its environment as it starts."""
    os.environ.clear()
    os.environ.update(env)
    places = [place for place in env.get("PYTHONPATH", "").split(os.pathsep) if place]
    sys.path[:0] = ["", *places]
    sys.modules.pop("sitecustomize", None)
    if any((Path(place) / "sitecustomize.py").exists() for place in places):
        importlib.invalidate_caches()
        importlib.import_module("sitecustomize")
