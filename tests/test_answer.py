"""The answer of a study as data: its schema, its document, and the option that prints it."""

from __future__ import annotations

import json
import math
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import typer
from answers import SHIPPED, of_folder, valid
from commandline import EXPERIMENT
from jsonschema import Draft202012Validator, ValidationError

from colony_sim.commands.answering import answers
from colony_sim.commands.ending import Ending
from colony_sim.commands.main import app, run
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.results import answer, manifest
from colony_sim.results.folder import write_table
from colony_sim.results.study import write_study

STUDIES = {"compare", "run", "sweep", "breakeven", "sensitivity", "search", "evidence", "worlds",
           "plan", "fit", "today", "trial"}  # fmt: skip
PAIR = {"policy": "short", "baseline": "long"}
ROW = {
    **PAIR, "currency": "g/day", "expected_gain": 0.2, "expected_gain_se": 0.1,
    "probability_a": 0.53, "probability_a_se": 0.03, "probability_b": 0.4, "probability_b_se": 0.03,
    "low": -3.7, "high": math.inf, "regret_a": 0.5, "regret_b": 0.7, "zone": 0.1,
}  # fmt: skip


def test_the_schema_that_is_shipped_is_that_of_the_types():
    Draft202012Validator.check_schema(SHIPPED)
    assert answer.schema() == SHIPPED, "write colony_sim/results/answer.schema.json anew"
    assert SHIPPED["$schema"].endswith("2020-12/schema")


@pytest.mark.parametrize(
    ("value", "plain"),
    [
        (math.nan, None), (-math.inf, None), (np.float64(math.nan), None), (None, None),
        (np.float64(0.5), 0.5), (np.int64(3), 3), (True, True), ("x", "x"),
        (date(2030, 3, 1), "2030-03-01"), ((1, math.nan), [1, None]),
        ({1: [math.nan]}, {"1": [None]}),
    ],
)  # fmt: skip
def test_what_is_not_finite_is_null_and_numbers_keep_their_type(value, plain):
    found = answer.finite(value)
    assert found == plain and type(found) is type(plain)


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    return expand(load(tmp_path / "demo.toml"))


def test_small_tables_are_in_it_and_large_ones_are_named(plan, tmp_path):
    most = answer.MOST_ROWS
    frames = {
        "small": pd.DataFrame({"key": ["a", "b"], "value": [1.5, math.nan]}),
        "full": pd.DataFrame({"n": range(most)}),
        "large": pd.DataFrame({"n": range(most + 1)}),
    }
    facts = {"size": 3}
    write_study(plan, tmp_path, "sensitivity", frames, "In full.", facts, answer="In short.")
    document = of_folder(tmp_path, "sensitivity")
    assert document["answer"] == "In short." and document["settings"] == {"size": 3}
    tables = document["tables"]
    assert tables["small"]["records"] == [
        {"key": "a", "value": 1.5}, {"key": "b", "value": None},
    ]  # fmt: skip
    assert len(tables["full"]["records"]) == most
    assert tables["large"] == {
        "parquet": "large.parquet", "csv": "large.csv", "rows": most + 1, "columns": ["n"],
        "records": None,
    }  # fmt: skip
    assert (document["seed"], document["experiment"]["days"]) == (5, 700)
    assert document["experiment"]["policies"] == ["short", "long"]


def test_verdicts_over_worlds_and_what_they_lean_on_have_keys_of_their_own(plan, tmp_path):
    write_table(tmp_path, "over_worlds", pd.DataFrame([ROW]))
    write_table(tmp_path, "leans_on", pd.DataFrame([{"key": "egg.mass_mg", "worth": 0.3}]))
    manifest.write(tmp_path, manifest.build(plan, [], "") | {"findings": []})
    document = of_folder(tmp_path, "comparison")
    assert document["over_worlds"] == [{**ROW, "high": None}]
    assert document["leans_on"] == [{"key": "egg.mass_mg", "worth": 0.3}]
    assert document["tables"]["over_worlds"]["records"] is None
    assert document["answer"] is None
    document["over_worlds"][0]["probability_a"] = 1.2
    with pytest.raises(ValidationError, match="probability_a|1.2"):
        valid(json.dumps(document))


def test_every_study_has_the_option_and_nothing_else_has():
    commands = typer.main.get_command(app).commands
    having = {
        name
        for name, command in commands.items()
        if any("--json" in each.opts for each in command.params)
    }
    assert having == STUDIES


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["compare", "demo.toml", "--workers", "0"], "--workers = 0"),
        (["run", "demo.toml", "--policy", "weekly"], '"short", "long"'),
        (["breakeven", "demo.toml", "--x", "nope=1", "--y", "rack.bins=6,7"], "nope"),
        (["sweep", "demo.toml", "--vary", "rack.bins=6,7", "--dry-run"], "--dry-run = True"),
        (["fit", "--template"], "--template = True; allowed: not together with --json"),
        (["worlds", "--ship"], "--remake"),
        (["sweep"], "FILE"),
    ],
)
def test_bad_use_ends_with_2_one_line_and_nothing_printed(
    words, expected, tmp_path, monkeypatch, capsys
):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["colony-sim", *words, "--json"])
    with pytest.raises(SystemExit) as end:
        run()
    out, err = capsys.readouterr()
    assert (end.value.code, out, err.count("\n")) == (2, "", 1) and expected in err
    assert [path.name for path in tmp_path.iterdir()] == ["demo.toml"]


def test_results_of_a_study_that_ended_otherwise_than_well_are_printed(plan, tmp_path, capsys):
    write_study(plan, tmp_path, "sweep", {}, "In full.", {}, answer="In short.")
    document = of_folder(tmp_path, "sweep")

    @answers()
    def command(line: str) -> Path:
        print("Words.")
        raise Ending(line, 130, tmp_path)

    with pytest.raises(Ending, match="Stopped"):
        command(line="Stopped.", json=True)
    out, err = capsys.readouterr()
    assert valid(out) == {**document, "folder": str(tmp_path)} and err == "Words.\n"
    with pytest.raises(Ending):
        command(line="Stopped.", json=False)
    assert capsys.readouterr().out == "Words.\n"
