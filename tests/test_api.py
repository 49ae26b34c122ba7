"""The library: three lines to a result."""

from __future__ import annotations

import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pandas as pd
import pytest
from answers import of_folder
from commandline import EXPERIMENT, environment, told, tree

import colony_sim
from colony_sim.biology.parameters import Parameters
from colony_sim.results import methods as result_methods
from colony_sim.studies.registry import KINDS, studies, study

# No `if __name__ == "__main__"`: a plain script must not start itself in its workers.
SCRIPT = """
from colony_sim import load, compare
result = compare(load("demo.toml"), workers=2, figures=False, one_world=True, assumptions=False)
print(repr(result))
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
    shown, verdict, facts = done.stdout.strip().splitlines()
    assert shown.startswith("<Comparison demo: “short” yields more") and len(shown) < 200
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


def test_the_public_names_are_listed_and_there():
    assert {"compare", "sweep", "search", "plan", "StudyResult"} <= set(dir(colony_sim))
    for name in colony_sim.__all__:
        assert getattr(colony_sim, name).__doc__, name


def test_the_library_needs_no_command():
    code = "import sys, colony_sim.api; print([m for m in sys.modules if 'sim.commands' in m])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert found.stdout == "[]\n", found.stderr


def test_parameters_show_what_is_not_at_its_default():
    default = Parameters.default()
    assert repr(default) == f"<Parameters: {len(default)} values, all defaults>"
    changed = default.with_values({"rack.bins": 9, "harvest.fraction": 0.25}, "test")
    assert "2 not at their defaults" in repr(changed) and "rack.bins = 9" in repr(changed)
    assert "<td>rack.bins</td><td>9</td>" in changed._repr_html_()
    assert "rotation.interval_days" not in changed._repr_html_()


def test_a_study_from_python_gives_tables_and_its_methods(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    result = colony_sim.breakeven(
        "demo.toml", "predation.adult_egg=0,0.02", "rack.bins=6,12", replicates=2, warm_up=20,
        used=21, workers=1, figures=False, one_world=True,
    )  # fmt: skip
    assert result.folder == Path("results/demo-breakeven")
    assert len(result.table("breakeven")) == 4 and "\n" not in repr(result)
    assert "<table" in result._repr_html_()
    data, again = study("break-even map").read(result.folder)
    pd.testing.assert_frame_equal(again.table, result.table("breakeven"))
    assert sorted(data["files"]) == sorted(
        path.name for path in result.folder.iterdir() if path.name not in (".lock", "runs.sqlite")
    )
    assert of_folder(result.folder, "break-even map")["settings"]["days"] == 41
    methods = (result.folder / "methods.txt").read_text()
    assert methods == f"{result_methods.methods(data)}\n" and methods.count("\n") == 1
    software = data["software"]
    for said in (
        f"version {software['colony_sim']}", software["model"][:12], "“short”, “long”",
        "300 beetles",
        "constant at 27 C", "grid of 2 values of predation.adult_egg and 2 of rack.bins",
        "the same 2 seeds in every cell", "derived from seed 5", f"numpy {software['numpy']}",
        "To cite: the colony_sim contributors",
    ):  # fmt: skip
        assert said in methods, said


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: colony_sim.compare("demo.toml", workers=0), "argument: workers = 0; allowed"),
        (
            lambda: colony_sim.compare("demo.toml", one_world=True, replicates=1),
            "argument: replicates = 1",
        ),
        (lambda: colony_sim.sweep("demo.toml", ["a.b=1"]), "argument vary: unknown key = 'a.b'"),
        (lambda: colony_sim.breakeven("demo.toml", "rack.bins=6,7", "x=1"), "argument y: "),
        (lambda: colony_sim.search("demo.toml", [], candidates=1), "argument: keys = 'nothing'"),
        (lambda: colony_sim.plan(grams_per_day=-1.0), "argument: grams_per_day = -1.0"),
        (lambda: colony_sim.check_evidence(keys=["a"]), "argument: keys = 'a'; allowed: only with"),
        (lambda: colony_sim.simulate_policy("demo.toml", draw=2), "only with `profile`"),
    ],
)
def test_errors_name_the_argument(tmp_path, monkeypatch, call, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    with pytest.raises(colony_sim.InputError) as error:
        call()
    assert said in error.value.line and "--" not in error.value.line


def test_every_kind_is_registered_under_its_name_and_writes_files_of_its_own():
    found = list(studies())
    assert [each.kind for each in found] == list(KINDS)
    for each in found:
        assert {"manifest.json", "verdict.txt", "methods.txt"} < each.files
        assert all(f"{name}.csv" in each.files for name in each.tables)
    assert study("astrology") is None


def test_the_citation_has_the_version_and_no_person():
    text = files("colony_sim").joinpath("docs/CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {colony_sim.__version__}\n" in text
    assert '- name: "the colony_sim contributors"' in text and "given-names" not in text
