"""Modules that are put off are loaded when they are used, and not before."""

from __future__ import annotations

import subprocess
import sys

import pytest

from colony_sim.lazy import put_off

SLOW = {"networkx", "scipy.spatial", "scipy.stats", "tqdm", "matplotlib"}


def test_a_name_of_a_module_that_is_put_off_is_the_real_one_where_it_is_used(monkeypatch):
    monkeypatch.delitem(sys.modules, "fractions", raising=False)
    with put_off("fractions", "math"):
        from fractions import Fraction
        from math import pi  # Loaded already: left as it is.

    assert "fractions" not in sys.modules and pi > 3
    assert str(Fraction(6, 4)) == "3/2" and "fractions" in sys.modules
    assert isinstance(sys.modules["fractions"].Fraction(1), Fraction)
    assert not isinstance(1, Fraction)
    with pytest.raises(ModuleNotFoundError), put_off("no_such_module"):
        from no_such_module import anything

        anything()


def test_a_run_and_its_first_answer_load_nothing_that_only_others_use():
    code = (
        "import sys, colony_sim.running.task, colony_sim.commands.compare as compare\n"
        "print(sorted(set(sys.argv[1:]) & {*sys.modules}))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, *SLOW], capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == "[]"
