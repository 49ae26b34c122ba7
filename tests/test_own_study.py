"""The worked example of a study of one's own runs as it is shipped."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
from commandline import script

EXAMPLE = Path(__file__).parents[1] / "experiments" / "own_study.py"


def test_the_example_runs_and_its_rule_matters(tmp_path):
    code, out, err = script(EXAMPLE, tmp_path, cwd=tmp_path)
    assert code == 0, err
    assert re.search(r"^\d+\.\d\d g of bran a gram harvested$", out, re.MULTILINE)
    given = {}
    for name in ("plain", "topped"):
        daily = pd.read_parquet(tmp_path / name / "daily.parquet")
        given[name] = daily.groupby(["policy", "seed"])["bran_given_g"].sum()
    assert (given["topped"] > given["plain"]).all()
    indices = pd.read_parquet(tmp_path / "indices" / "sensitivity.parquet")
    assert set(indices["key"]) == {"predation.adult_egg", "larva.duration_days"}
    assert {"S1", "ST"} <= set(indices.columns)
