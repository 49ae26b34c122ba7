"""Unsound inputs, kept and drawn: each ends as the guide says (`tests/attack/` has them)."""

from __future__ import annotations

import re
import subprocess
import sys

from commandline import CHECKOUT

from colony_sim.commands import ending

CODES = (ending.DONE, ending.FAILED, ending.REFUSED, ending.ANSWERED, ending.STOPPED)


def test_the_guide_lists_every_exit_code():
    guide = (CHECKOUT / "colony_sim/docs/guide/commands.md").read_text(encoding="utf-8")
    table = guide.split("## How a command ends")[1].split("##")[0]
    assert tuple(int(code) for code in re.findall(r"^\| (\d+) \|", table, re.M)) == CODES
    # No command has one of its own: each takes a name of `ending`.
    for path in (CHECKOUT / "colony_sim/commands").glob("*.py"):
        for call in re.findall(r"raise Ending\((.*?)\)(?: from None)?\n", path.read_text(), re.S):
            assert not re.search(r",\s*\d+,?\s*$", call), (path.name, call)


def test_unsound_inputs_end_in_one_line_with_the_code_that_the_guide_says():
    words = [sys.executable, "-m", "tests.attack", "--quick", "--inputs", "200"]
    done = subprocess.run(words, cwd=CHECKOUT, capture_output=True, text=True, timeout=550)
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    assert " inputs kept (" in done.stdout and "200 inputs drawn" in done.stdout
    assert done.stdout.count("0 ended badly, 0 with a traceback") == 2
