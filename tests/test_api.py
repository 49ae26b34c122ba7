"""The library: three lines to a result."""

from __future__ import annotations

import subprocess
import sys

import pytest
from commandline import EXPERIMENT, environment, told, tree

import colony_sim

# No `if __name__ == "__main__"`: a plain script must not start itself in its workers.
SCRIPT = """
from colony_sim import load, compare
result = compare(load("demo.toml"), workers=2, figures=False, assumptions=False)
print(result.verdict)
print(sorted(result.policies["policy"].unique()), len(result.runs), result.folder)
"""

ONE_RUN = """
from colony_sim import load, simulate_policy
experiment = load("demo.toml")
record = simulate_policy(experiment, "long", seed=3, days=40)
again = simulate_policy("demo.toml", "long", seed=3, days=40)
assert record.daily.equals(again.daily)
assert not record.daily.equals(simulate_policy(experiment, seed=3, days=40).daily)
print(len(record.daily))
"""


def script(text, place):
    (place / "demo.toml").write_text(EXPERIMENT)
    (place / "script.py").write_text(text)
    return subprocess.run(
        [sys.executable, "script.py"], cwd=place, env=environment(), capture_output=True, text=True
    )


def test_three_lines_to_a_verdict_in_a_plain_script(tmp_path):
    done = script(SCRIPT, tmp_path)
    assert told(done.stderr) == []
    verdict, facts = done.stdout.strip().splitlines()
    question, sentence, _, _ = (tmp_path / "results/demo/verdict.txt").read_text().split("\n\n")
    assert question == "Which interval gives more?"
    assert verdict == sentence
    assert facts == "['long', 'short'] 8 results/demo"


def test_simulate_policy_is_repeatable_and_writes_nothing(tmp_path):
    done = script(ONE_RUN, tmp_path)
    assert (told(done.stderr), done.stdout) == ([], "40\n")
    assert tree(tmp_path).keys() == {"demo.toml", "script.py"}


def test_unknown_names_and_values_are_errors():
    with pytest.raises(AttributeError, match="compar"):
        _ = colony_sim.compar
    with pytest.raises(colony_sim.InputError, match="No such file"):
        colony_sim.load("nowhere.toml")
