"""The commands as a user types them."""

from __future__ import annotations

import json
import subprocess
import sys
from decimal import ROUND_CEILING, ROUND_FLOOR

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from answers import of_folder, valid
from commandline import EXPERIMENT, PROGRAM, cli, environment, stored_runs, told, tree

from colony_sim import __version__
from colony_sim.commands.main import run
from colony_sim.words.estimate import number


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A folder with a finished comparison; one seed died out under both policies."""
    place = tmp_path_factory.mktemp("done")
    (place / "demo.toml").write_text(EXPERIMENT)
    code, out, err = cli("compare", "demo.toml", "--full", cwd=place, faults="die=2290007392")
    assert (code, err) == (0, [])
    return place, out


def test_help_names_the_commands(tmp_path):
    done = subprocess.run([*PROGRAM, "--help"], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 0
    assert all(word in done.stdout for word in ("compare", "run", "repeat"))


def test_help_imports_nothing_heavy():
    code = (
        "import sys, colony_sim.commands.main; "
        "heavy = {'numpy', 'pandas', 'numba', 'mesa', 'pint', 'pydantic', 'pyarrow'}; "
        "print(sorted(heavy & {*sys.modules}))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert found.stdout.strip() == "[]"


def test_version(tmp_path):
    assert cli("--version", cwd=tmp_path) == (0, f"colony-sim {__version__}\n", [])


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--nope"], "--nope"),
        (["compar", "demo.toml"], "compar"),
        (["compare"], "FILE"),
        (["compare", "demo.toml", "--workers", "many"], "--workers"),
        (["compare", "demo.toml", "--workers", "0"], "--workers = 0; allowed: a whole number"),
        (["compare", "demo.toml", "--one-world", "--replicates", "1"], "--replicates = 1"),
        (["compare", "demo.toml", "--seed", "-1"], "--seed = -1; allowed"),
        (["compare", "demo.toml", "--out", "demo.toml"], "a folder that can be written"),
        (["run", "demo.toml", "--policy", "weekly"], '"short", "long"'),
        (["run", "demo.toml", "--days", "0"], "--days = 0; allowed"),
        (["repeat", "results/demo"], "No such file"),
    ],
)
def test_bad_use_ends_with_2_and_one_line(tmp_path, monkeypatch, capsys, words, expected):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["colony-sim", *words])
    with pytest.raises(SystemExit) as end:
        run()
    out, err = capsys.readouterr()
    assert (end.value.code, out) == (2, "")
    assert len(told(err)) == 1 and expected in err
    assert tree(tmp_path).keys() == {"demo.toml"}


def test_compare_prints_tables_verdict_and_folder(done):
    place, out = done
    folder = place / "results/demo"
    _, sentence, details, assumptions = (folder / "verdict.txt").read_text().strip().split("\n\n")
    for text in (sentence, details, assumptions):
        assert "".join(text.split()) in "".join(out.split())
    assert "Results: results/demo" in out.splitlines()
    policies = pd.read_csv(folder / "policies.csv").set_index(["policy", "measure"])
    row = policies.loc[("short", "yield_g_per_day")]
    ends = f"{number(row['low'], ROUND_FLOOR)} to {number(row['high'], ROUND_CEILING)}"
    assert f"{number(row['mean'])} ({ends})" in out
    assert "1 of 4 (25 %)" in out
    assert "long minus short" in out


def test_compare_says_the_answer_first_and_little_more(done):
    place, full = done
    code, out, _ = cli("compare", "demo.toml", cwd=place)
    assert code == 0 and len(out.splitlines()) <= 25
    sentence = (place / "results/demo/verdict.txt").read_text().strip().split("\n\n")[1]
    for text in (out, full):
        assert "".join(text.split()).startswith("".join(sentence.split()))
    assert "long minus short" not in out and "--full" in out


def test_tables_fit_together(done):
    folder = done[0] / "results/demo"
    runs = pd.read_parquet(folder / "runs.parquet")
    assert len(runs) == 8
    assert runs.groupby("seed")["policy"].apply(list).map(sorted).map(tuple).nunique() == 1
    assert (runs["status"] == "died_out").sum() == 2
    long = pd.read_parquet(folder / "measures.parquet")
    values = long.pivot(index=["policy", "seed"], columns="measure", values="value")
    wide = runs.set_index(["policy", "seed"])[values.columns]
    pd.testing.assert_frame_equal(values, wide.sort_index(), check_names=False)
    # The yield of a run is that of its daily series after the warm-up.
    daily = pd.read_parquet(folder / "daily.parquet")
    for row in runs[runs["status"] == "settled"].itertuples():
        series = daily[(daily["policy"] == row.policy) & (daily["seed"] == row.seed)]
        assert len(series) == 700
        used = series[series["day"] > row.warm_up_days]
        assert used["harvest_g"].mean() == pytest.approx(row.yield_g_per_day, rel=1e-12)
    differences = pd.read_parquet(folder / "differences.parquet").set_index("measure")
    pairs = wide["yield_g_per_day"].unstack(0).dropna()
    row = differences.loc["yield_g_per_day"]
    assert (row["policy"], row["baseline"], row["n_pairs"]) == ("long", "short", 4)
    assert row["difference"] == pytest.approx((pairs["long"] - pairs["short"]).mean())


def test_manifest_holds_all_it_takes(done):
    folder = done[0] / "results/demo"
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["file_text"] == EXPERIMENT
    assert manifest["experiment"]["seeds"] == sorted(
        {run["seed"] for run in manifest["runs"]}, key=manifest["experiment"]["seeds"].index
    )
    handling = {p["name"]: p["handling"] for p in manifest["policies"]}
    assert handling["short"]["rotation.interval_days"] == 14
    assert manifest["climate"] == {"kind": "constant", "values": [27.0]}
    assert manifest["software"]["numpy"] == np.__version__
    assert manifest["command"].endswith("compare demo.toml --one-world --no-assumptions")
    assert {name for name in manifest["files"]} == {
        path.name for path in folder.iterdir() if path.name not in (".lock", "runs.sqlite")
    }
    assert {run["key"] for run in manifest["runs"]} == stored_runs(folder).keys()
    document = of_folder(folder, "comparison")
    assert document["answer"] in (folder / "verdict.txt").read_text()
    assert document["over_worlds"] is document["worlds"] is None and document["seed"] == 5


def test_quick_has_a_folder_of_its_own(tmp_path):
    text = EXPERIMENT.replace("seed = 5", "quick_days = 30\nquick_replicates = 2")
    (tmp_path / "demo.toml").write_text(text)
    code, _, err = cli("compare", "demo.toml", "--quick", "--seed", 9, cwd=tmp_path)
    assert (code, err) == (0, [])
    head = json.loads((tmp_path / "results/demo-quick/manifest.json").read_text())["experiment"]
    assert (head["days"], head["replicates"], head["seed"]) == (30, 2, 9)
    assert not (tmp_path / "results/demo").exists()


def test_repeat_finds_the_same_and_only_reads(done):
    place, _ = done
    before = tree(place)
    code, out, err = cli("repeat", "results/demo", cwd=place, faults="die=2290007392")
    assert (code, err) == (0, [])
    assert out == ("Identical: every table of results/demo was found again from its manifest.\n")
    assert tree(place) == before


def test_repeat_names_the_first_difference(done, tmp_path):
    place, _ = done
    folder = tmp_path / "copy"
    folder.mkdir()
    original = tree(place / "results/demo")
    for name, data in original.items():
        if name != "runs.sqlite":  # The stored runs are not needed.
            (folder / name).write_bytes(data)
    daily = pq.read_table(folder / "daily.parquet")
    grams = daily["larvae_g"].to_numpy().copy()
    was = float(grams[1234])
    grams[1234] = np.nextafter(was, np.inf)
    column = daily.column_names.index("larvae_g")
    pq.write_table(daily.set_column(column, "larvae_g", pa.array(grams)), folder / "daily.parquet")
    code, _, err = cli("repeat", folder, cwd=tmp_path, faults="die=2290007392")
    (line,) = err
    assert code == 1
    policy, seed, day = (daily[name][1234].as_py() for name in ("policy", "seed", "day"))
    row = f"daily.parquet: row 1235 (policy {policy}, seed {seed}, day {day}), larvae_g: "
    assert f"{row}{float(grams[1234])!r} recorded, {was!r} repeated" in line


def test_run_writes_every_table_of_one_run(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    words = ["run", "demo.toml", "--policy", "long", "--days", 50, "--seed", 3]
    code, out, err = cli(*words, cwd=tmp_path)
    assert (code, err) == (0, [])
    assert out.startswith("“long” gave ")
    folder = tmp_path / "results/demo-run-long"
    for name in ("daily", "bins_daily", "bin_log"):
        table, text = pd.read_parquet(folder / f"{name}.parquet"), folder / f"{name}.csv"
        assert len(table) == len(pd.read_csv(text)) > 0
    daily = pd.read_csv(folder / "daily.csv")[["harvest_g", "harvest_larvae"]].sum()
    assert f"{daily.iloc[0] / 1000:.3g} kg ({daily.iloc[1]:.0f} larvae) in 50 days" in out
    assert "(seed 3)" in out.splitlines()[-2]
    first = tree(folder)
    code, out, err = cli(*words, "--json", cwd=tmp_path)
    second = tree(folder)
    assert {n for n in first if first[n] != second[n]} <= {"manifest.json"}
    # One document on the screen, the words elsewhere.
    document = valid(out)
    assert code == 0 and err[0].startswith("“long” gave ") and out.isascii()
    assert document == {**of_folder(folder, "single run"), "folder": "results/demo-run-long"}
    assert document["answer"].startswith("“long” gave ") and "At the end: " in document["answer"]
    assert document["experiment"]["policies"] == ["long"] and document["seed"] == 3
    code, _, err = cli("repeat", folder, cwd=tmp_path)
    assert code == 2 and "kind = 'single run'" in err[0]


def test_a_closed_pipe_is_no_error_message(done):
    place, _ = done
    words = " ".join(f"'{word}'" for word in [*PROGRAM, "compare", "demo.toml", "--no-assumptions"])
    found = subprocess.run(
        ["bash", "-c", f"{words} | true"], cwd=place, env=environment("die=2290007392"),
        capture_output=True, text=True,
    )  # fmt: skip
    assert "Traceback" not in found.stderr and "BrokenPipe" not in found.stderr


def test_the_model_itself_from_file_to_identical_repeat(tmp_path):
    text = EXPERIMENT.replace("days = 700", "days = 40").replace("replicates = 4", "replicates = 2")
    (tmp_path / "demo.toml").write_text(text)
    code, out, err = cli("compare", "demo.toml", cwd=tmp_path, faults=None)
    assert (code, err) == (0, [])
    assert out.endswith("Results: results/demo\n")
    daily = pd.read_parquet(tmp_path / "results/demo/daily.parquet")
    short, long = (
        daily[daily["policy"] == name].drop(columns="policy").set_index(["seed", "day"])
        for name in ("short", "long")
    )
    # Until the first move the two policies live the same life, seed by seed; then no more.
    before = short.index.get_level_values("day") < 14
    pd.testing.assert_frame_equal(short[before], long[before])
    assert not short[~before].equals(long[~before])
    for name in ("comparison.png", "comparison.svg"):
        assert (tmp_path / "results/demo" / name).stat().st_size > 1000
    code, out, err = cli("repeat", "results/demo", "--workers", 1, cwd=tmp_path, faults=None)
    assert (code, err) == (0, [])
    assert out.startswith("Identical")
