"""The worked example of a study of one's own runs as it is shipped."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pandas as pd

EXAMPLE = Path(__file__).parents[1] / "experiments" / "own_study.py"


def test_the_example_runs_and_its_rule_matters(tmp_path):
    done = subprocess.run(
        [sys.executable, EXAMPLE, tmp_path], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert re.search(r"^\d+\.\d\d g of bran a gram harvested$", done.stdout, re.MULTILINE)
    given = {}
    for name in ("plain", "topped"):
        daily = pd.read_parquet(tmp_path / name / "daily.parquet")
        given[name] = daily.groupby(["policy", "seed"])["bran_given_g"].sum()
    assert (given["topped"] > given["plain"]).all()
    indices = pd.read_parquet(tmp_path / "indices" / "sensitivity.parquet")
    assert set(indices["key"]) == {"predation.adult_egg", "larva.duration_days"}
    assert {"S1", "ST"} <= set(indices.columns)
