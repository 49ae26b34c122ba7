"""Ctrl-C while the program loads, while workers start, and where Python drops it."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from commandline import environment

START = "from colony_sim.commands.start import run; run()"
pytestmark = pytest.mark.skipif(os.name == "nt", reason="sends signals as a terminal does here")


def lived(code: str) -> tuple[int, str]:
    """Exit code and standard error of a few lines of Python."""
    done = subprocess.run([sys.executable, "-c", code], env=environment(None), capture_output=True,
                          text=True, timeout=60)  # fmt: skip
    return done.returncode, done.stderr


def test_while_the_program_loads_it_ends_in_one_line():
    code = f"""
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
class Finder:
    def find_spec(self, name, path=None, target=None):
        if name == "typer":
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Finder())
{START}
"""
    assert lived(code) == (130, "colony-sim: Stopped.\n")


def test_one_that_python_drops_comes_again():
    code = f"""
import os, signal, sys, time, types
signal.signal(signal.SIGINT, signal.default_int_handler)
class Dropping:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(1)
def work():
    Dropping()
    for _ in range(200):
        time.sleep(0.05)
    print("went on", file=sys.stderr)
main = sys.modules["colony_sim.commands.main"] = types.ModuleType("main")
main.run = work
{START}
"""
    assert lived(code) == (130, "colony-sim: Stopped.\n")


def test_workers_start_deaf_to_it_and_nothing_is_half_made():
    """The first semaphore starts a process of Python's own, which must not open the ears again."""
    code = """
import multiprocessing, os, signal, sys
from colony_sim.running.processes import spawning
signal.signal(signal.SIGINT, signal.default_int_handler)
came = "none"
try:
    with spawning():
        event = multiprocessing.get_context("spawn").Event()
        assert signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ())
        # Another thread may take the signal, and then this one is told.
        signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGINT,))
        os.kill(os.getpid(), signal.SIGINT)
        came = "later"
except KeyboardInterrupt:
    print(came, file=sys.stderr)
"""
    assert lived(code) == (0, "later\n")
