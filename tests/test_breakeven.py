"""Break-even maps: the grid, who is ahead in a cell, where the difference crosses zero."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli

from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.studies.breakeven import draw as drawing
from colony_sim.studies.breakeven.run import (
    Axis,
    BreakEven,
    cells,
    crossings,
    grid,
    headline,
    in_words,
    pair,
    parse_axis,
)
from colony_sim.studies.origin import Origin
from colony_sim.studies.points import Window

X, Y = Axis("predation.adult_egg", (0.0, 0.01, 0.02)), Axis("rack.bins", (6, 12))
SMALL = EXPERIMENT.replace("breeders = 300", "breeders = 20").replace("days = 700", "days = 40")


def made(differences: np.ndarray, spread: float = 0.1) -> BreakEven:
    """A map with these mean differences (rows: y) over four seeds."""
    points = grid(X, Y)
    rows = []
    for number, mean in enumerate(np.ravel(differences)):
        for seed, off in enumerate(np.array([-1.0, 1.0, -1.0, 1.0]) * spread):
            for policy, value in (("short", 5.0 + mean + off), ("long", 5.0)):
                rows.append({"point": number, "policy": policy, "seed": seed,
                             "died_out_day": pd.NA, "yield_g_per_day": value})  # fmt: skip
    table = cells(pd.DataFrame(rows), points, ("short", "long"), X, Y, "yield_g_per_day")
    return BreakEven("short", "long", X, Y, "yield_g_per_day", Window(10, 40), (1, 2, 3, 4), table,
                     (0.008, 12.0))  # fmt: skip


def test_axes_from_text():
    assert parse_axis("--x", "predation.adult_egg=0.01,0,0.02").values == (0.0, 0.01, 0.02)
    assert parse_axis("--x", "rack.bins=6:12:3").values == (6, 9, 12)
    assert parse_axis("--x", "start.larvae=0,100").values == (0, 100)
    spread = parse_axis("--y", "predation.adult_egg").values
    assert len(spread) == 7 and (spread[0], spread[-1]) == (0.004, 0.008)
    assert all(isinstance(v, int) for v in parse_axis("--y", "rack.bins").values)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("predation.adult_eg=0,1", "predation.adult_egg"),
        ("predation.adult_egg=0,99", "a number from 0 to 10"),
        ("predation.adult_egg=0.01", "two values or more"),
        ("pupae.isolate=true,false", "a key with a number as value"),
    ],
)
def test_bad_axes_are_told_in_one_line(text, told):
    with pytest.raises(InputError) as caught:
        parse_axis("--x", text)
    assert told in caught.value.line and "\n" not in caught.value.line


def test_founders_follow_the_beetles_per_bin():
    points = grid(X, Axis("rotation.most_breeders_per_bin", (50, 100)))
    assert [p["start.breeders"] for p in points] == [50] * 3 + [100] * 3
    assert all("start.breeders" not in point for point in grid(X, Y))


def test_a_cell_goes_to_a_policy_only_if_its_interval_leaves_out_zero():
    # Half-width of the interval: t(3) x 0.1155 / 2 = 0.184.
    result = made([[1.0, 0.19, 0.17], [-0.17, -0.19, 0.0]])
    assert result.table["better"].tolist() == [
        "short", "short", "not separated", "not separated", "long", "not separated",
    ]  # fmt: skip
    low, high = result.table.loc[1, ["low", "high"]]
    assert (low + high) / 2 == pytest.approx(0.19) and low == pytest.approx(0.19 - 0.1837, abs=1e-3)
    assert headline(result) == ("“short” yields more in 2 of 6 cells, “long” in 1; 3 not separated")
    same = made(np.zeros((2, 3)), spread=0.0)
    assert set(same.table["better"]) == {"not separated"}
    assert headline(same) == "The runs tell “short” from “long” in none of 6 cells"
    assert headline(made(np.ones((2, 3)))) == "“short” yields more in all 6 cells"


def test_crossings_by_straight_lines():
    spots = crossings(made([[1.0, -1.0, 3.0], [1.0, 2.0, 3.0]]))
    six = spots[spots["rack.bins"] == 6]["predation.adult_egg"]
    assert six.tolist() == pytest.approx([0.005, 0.0125])
    assert spots[spots["rack.bins"] == 12]["predation.adult_egg"].isna().all()
    text = in_words(made([[1.0, -1.0, 3.0], [1.0, 2.0, 3.0]]))
    assert "Bins in the rack 6: the order turns near egg eating by beetles 0.005, 0.0125" in text
    assert "Bins in the rack 12: the order does not turn (3 short)" in text


def test_figure_hatches_what_is_not_separated_and_frames_the_default():
    slide = drawing.figure(made([[1.0, 0.19, 0.17], [-0.17, -0.19, 0.0]]), Origin("demo", 7, True))
    boxes = slide.axes[0].patches
    hatched = {box.get_xy() for box in boxes if box.get_hatch() == "///"}
    assert hatched == {(2, 0), (0, 1), (2, 1)}
    framed = [box.get_xy() for box in boxes if box.get_linewidth() == 3]
    assert framed == [(1, 1)]  # 0.008 is nearest to 0.01, 12 bins is the second row
    assert "dm²/adult/day" in slide.axes[0].get_xlabel() and "bins" in slide.axes[0].get_ylabel()
    # The lead changes between the two cells in the middle, and nowhere else.
    borders = [(list(line.get_xdata()), list(line.get_ydata())) for line in slide.axes[0].lines]
    assert borders == [([1, 2], [1, 1])]


def test_the_command_on_the_model_itself(tmp_path):
    (tmp_path / "demo.toml").write_text(SMALL)
    words = ("breakeven", "demo.toml", "--x", "predation.adult_egg=0,0.03", "--y",
             "rotation.most_breeders_per_bin=10,20", "--replicates", 8, "--warm-up", 10,
             "--used", 30, "--measure", "eggs_laid_per_day", "--one-world")  # fmt: skip
    code, out, err = cli(*words, cwd=tmp_path, faults=None)
    assert code == 0 and all("breakeven" in line for line in err), err
    folder = tmp_path / "results/demo-breakeven"
    table = pd.read_parquet(folder / "breakeven.parquet")
    assert len(table) == 4 and (table["n"] == 8).all() and (table["first_mean"] > 0).all()
    # Ten beetles lay less than twenty: the axis reached the founders as well.
    mean = table.groupby("rotation.most_breeders_per_bin")["first_mean"].mean()
    assert 1.4 < mean[20] / mean[10] < 2.6
    facts = json.loads((folder / "manifest.json").read_text())
    assert facts["study"]["days"] == 40 and "breakeven.png" in facts["files"]
    assert "Results: results/demo-breakeven" in out


def test_policies_that_differ_in_an_axis_are_refused(tmp_path):
    (tmp_path / "demo.toml").write_text(SMALL)
    words = ("breakeven", "demo.toml", "--x", "rotation.interval_days=7,14", "--y", "rack.bins=6,9")
    code, _, err = cli(*words, cwd=tmp_path)
    assert code == 2 and "a key in which the policies do not differ" in err[0]
    plan = expand(load(tmp_path / "demo.toml"))
    assert pair(plan, None) == ("long", "short") and pair(plan, ["short", "long"])[0] == "short"
    with pytest.raises(InputError, match="two that differ"):
        pair(plan, ["short", "short"])
