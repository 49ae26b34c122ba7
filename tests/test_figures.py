"""The figure of a comparison says what the tables say, and can be read."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import matplotlib
import matplotlib.image
import numpy as np
import pandas as pd
import pytest

from colony_sim.drawing import palette
from colony_sim.figures import style
from colony_sim.results.folder import write_table
from colony_sim.statistics.paired import (
    all_paired_differences,
    died_out_comparison,
    paired_differences,
    policy_summary,
)
from colony_sim.studies.comparison.draw import draw, read
from colony_sim.studies.comparison.draw import title as title_of
from colony_sim.studies.comparison.verdict import verdict
from colony_sim.words.labels import shortened
from tests.sight import SIGHT, contrast, lab, linear

DAYS, WARM_UP = 600, 150
HANDLING = {
    "rotation.interval_days": 14,
    "rotation.collect_days": 7,
    "harvest.interval_days": 7,
    "pupae.isolate": False,
}
LONG = [
    "every 7 days, pupae set apart in drawers every other Monday",
    "every 14 days, pupae set apart in drawers every other Friday",
    "every 21 days",
    "moved by hand whenever the bin is full of frass and dust",
    "Wanderungsüberwachungsmaßnahmenverordnung_alle_14_Tage",
]
ALL_LOSSES = tuple(
    f"adult_losses{c}_per_100_per_day" for c in ("", "_age", "_background", "_handling")
)
LOSSES = "adult_losses{}_per_100_per_day"


def results(
    folder: Path,
    means: dict[str, float],
    runs: int = 8,
    sd: float = 0.2,
    statuses: dict[str, list[str]] | None = None,
    drop: tuple[str, ...] = (),
    invented: bool = True,
) -> Path:
    """Write a results folder of made-up runs; `statuses` of the first runs of a policy."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    rows, series = [], []
    for policy, mean in means.items():
        given = (statuses or {}).get(policy, [])
        for seed in range(runs):
            status = given[seed] if seed < len(given) else "settled"
            level = mean + sd * rng.normal()
            row = dict.fromkeys(("yield_g_per_day", *ALL_LOSSES), np.nan)
            row["yield_g_per_day"] = 0.0 if status == "died_out" else level
            if status != "died_out":
                for cause, value in (("_age", 0.5), ("_background", 0.2), ("_handling", 0.1)):
                    row[LOSSES.format(cause)] = value + 0.02 * rng.normal()
                row[LOSSES.format("")] = sum(
                    row[LOSSES.format(c)] for c in ("_age", "_background", "_handling")
                )
            row.update(dict.fromkeys(drop, np.nan))
            warm_up = WARM_UP + 10 * seed if status == "settled" else DAYS // 2
            rows.append(
                {
                    "policy": policy,
                    "seed": seed,
                    "status": status,
                    "warm_up_days": warm_up,
                    "died_out_day": 200 + seed if status == "died_out" else None,
                    **row,
                }
            )
            days = np.arange(1, (DAYS if status != "died_out" else 200 + seed) + 1)
            pulse = np.where(days % 7 == 0, 7.0, 0.0) * np.clip(days / WARM_UP, 0, 1)
            noise = rng.normal(1, 0.05, len(days))
            series.append(
                pd.DataFrame(
                    {
                        "policy": policy,
                        "seed": seed,
                        "day": days,
                        "harvest_g": level * pulse * noise,
                    }
                )
            )
    table, first = pd.DataFrame(rows), next(iter(means))
    keys = ["yield_g_per_day", *ALL_LOSSES]
    for name, frame in (
        ("runs", table),
        ("policies", policy_summary(table, measures=keys)),
        ("differences", paired_differences(table, first, measures=keys)),
        ("all_differences", all_paired_differences(table, measures=keys)),
        ("died_out", died_out_comparison(table, first)),
        ("daily", pd.concat(series)),
    ):
        write_table(folder, name, frame)
    facts = {
        "kind": "comparison", "format": 1, "file_text": "",
        "experiment": {"name": "made-up", "seed": 7, "days": DAYS, "invented": invented,
                       "question": "Is this not an invented scenario?"},
        "policies": [{"name": policy, "handling": HANDLING} for policy in means],
    }  # fmt: skip
    (folder / "manifest.json").write_text(json.dumps(facts), encoding="utf-8")
    return folder


def figure_of(folder: Path, monkeypatch) -> matplotlib.figure.Figure:
    """The figure as it is written."""
    drawn = []
    monkeypatch.setattr(style, "save", lambda figure, *_: drawn.append(figure) or [])
    draw(folder)
    drawn[0].canvas.draw()
    return drawn[0]


def texts(figure) -> list:
    found = [t for t in figure.findobj(matplotlib.text.Text) if t.get_text().strip()]
    # Ticks beyond the end of an axis exist but are not drawn.
    ticks = {
        id(t)
        for axes in figure.axes
        for axis in (axes.xaxis, axes.yaxis)
        for tick in [*axis.majorTicks, *axis.minorTicks]
        for t in (tick.label1, tick.label2)
    }
    shown = {
        id(t.label1)
        for axes in figure.axes
        for axis in (axes.xaxis, axes.yaxis)
        for t in axis._update_ticks()
    }
    return [t for t in found if t.get_visible() and (id(t) not in ticks or id(t) in shown)]


def dots(axes) -> list[np.ndarray]:
    """Values of the dots of an axes, row by row."""
    return [np.sort(c.get_offsets()[:, 0]) for c in axes.collections]


def yield_row(folder: Path) -> pd.Series:
    table = read(folder).differences
    return table[table["measure"] == "yield_g_per_day"].iloc[0]


def test_the_title_states_the_numbers_of_the_tables(tmp_path):
    folder = results(tmp_path, {"every 21 days": 8.0, "every 14 days": 9.0})
    row = yield_row(folder)
    title = title_of(read(folder))
    assert title.startswith("“every 14 days” yields more than “every 21 days”: +")
    number, low, high = (
        float(title.split(mark)[1].split()[0].rstrip(")")) for mark in (": ", "interval ", " to ")
    )
    assert number == pytest.approx(row["difference"], rel=5e-3)
    assert row["low"] - 0.01 < low <= row["low"] and row["high"] <= high < row["high"] + 0.01
    tables = read(folder)
    died = pd.read_parquet(folder / "died_out.parquet")
    spoken = verdict("", tables.summary, tables.differences, died)
    # The figure and the verdict print the same interval.
    assert title[title.index("95 %") :].rstrip(")") in spoken


def test_the_policy_ahead_is_named_first_whichever_is_the_baseline(tmp_path):
    folder = results(tmp_path, {"more": 9.0, "less": 8.0})
    assert title_of(read(folder)).startswith("“more” yields more than “less”: +")


@pytest.mark.parametrize(("low", "p"), [(0.1, 0.06), (-0.1, 0.01), (0.1, np.nan)])
def test_the_title_claims_nothing_without_interval_and_holm(tmp_path, low, p):
    tables = read(results(tmp_path, {"a": 8.0, "b": 9.0}))
    weak = tables.all_differences.assign(p_holm=p)
    forward = weak["policy"] == "b"
    weak.loc[forward, "low"], weak.loc[~forward, "high"] = low, -low
    title = title_of(dataclasses.replace(tables, all_differences=weak))
    assert title.startswith("The runs do not separate “b” from “a”: +")


def test_runs_that_do_not_differ_are_not_separated(tmp_path, monkeypatch):
    folder = results(tmp_path, {"a": 8.0, "b": 8.0})
    assert title_of(read(folder)).startswith("The runs do not separate ")
    title = next(t for t in texts(figure_of(folder, monkeypatch)) if "separate" in t.get_text())
    assert " ".join(title.get_text().split()) == title_of(read(folder))


@pytest.mark.parametrize(
    ("means", "statuses", "start"),
    [
        ({"a": 8, "b": 9, "c": 12}, {}, "“c” yields most, ahead of “b”, the next: +"),
        ({"a": 8, "b": 9, "c": 12}, {"a": ["unsettled"] * 8}, "“c” yields most, ahead of “b”, "),
        (
            {"a": 8, "b": 9, "c": 12},
            {"a": ["died_out"] * 8},
            "“a” runs the colony down in all 8 runs; “c” yields more than “b”: +",
        ),
        (
            {"a": 8, "b": 9, "c": 12, "d": 1},
            {"d": ["died_out"] * 8},
            "“d” runs the colony down in all 8 runs; “c” yields most, ahead of “b”, ",
        ),
        (
            {"a": 8, "b": 12, "c": 12},
            {},
            "yields more than 1 of 2 others; the runs do not tell it from ",
        ),
        ({"a": 8, "b": 8, "c": 8}, {}, "The runs do not separate the 3 policies in yield"),
        (
            {"a": 8, "b": 9, "c": 9},
            {"b": ["died_out"] * 8, "c": ["died_out"] * 8},
            "“b” runs the colony down in all 8 runs, “c” in all 8 runs; “a” ",
        ),
        (
            {"a": 8, "b": 9},
            {"b": ["died_out"] * 8},
            "“b” runs the colony down in all 8 runs; “a” yields ",
        ),
        ({"a": 8, "b": 9}, {"b": ["unsettled"] * 8}, "“b” yields more than “a”: +"),
        (
            {"a": 8, "b": 9},
            {"b": ["died_out"] * 8, "a": ["unsettled"] * 8},
            "“b” runs the colony down in all 8 runs; “a” yields ",
        ),
        (
            {"a": 8, "b": 9},
            {"b": ["died_out"] * 2},
            "“b” runs the colony down in 2 of 8 runs; the runs do not ",
        ),
    ],
)
def test_the_title_in_words(tmp_path, means, statuses, start):
    title = title_of(read(results(tmp_path, means, statuses=statuses)))
    assert start in title and "pairs" not in title


def test_files_are_slide_sized_not_blank_and_the_same_each_time(tmp_path):
    folder = results(tmp_path, {"every 21 days": 8.0, "every 14 days": 9.0})
    before = dict(matplotlib.rcParams)
    paths = draw(folder)
    assert dict(matplotlib.rcParams) == before
    assert [path.name for path in paths] == ["comparison.png", "comparison.svg"]
    image = matplotlib.image.imread(paths[0])[..., :3]
    assert image.shape == (1125, 2000, 3)
    inked = image.min(axis=2) < 0.9
    # Title, three panels side by side, the panel over time, footer.
    parts = (
        inked[:170],
        *np.array_split(inked[200:620, 300:], 3, axis=1),
        inked[780:970],
        inked[1080:],
    )
    assert all(0.005 < part.mean() < 0.6 for part in parts)
    first = [path.read_bytes() for path in paths]
    # Neither a personal setting nor a random state counts.
    with matplotlib.rc_context({"font.size": 3, "lines.linewidth": 9, "savefig.dpi": 30}):
        np.random.seed(1)
        assert [path.read_bytes() for path in draw(folder)] == first
    svg = first[1].decode()
    assert "yields more than" in svg and "<dc:date>" not in svg and "sans-serif" in svg
    assert "invented scenario" in svg and "seed 7" in svg


CASES = {
    "two": ({"every 21 days": 8, "every 14 days": 9}, {}, ()),
    "five": (
        dict(zip(LONG, (8, 8.4, 8.1, 9.6, 5), strict=True)),
        {LONG[1]: ["died_out"] * 3 + ["unsettled"], LONG[4]: ["died_out"] * 20},
        (),
    ),
    "all died out": ({"a": 8, "b": 9}, {"a": ["died_out"] * 20, "b": ["died_out"] * 20}, ()),
    "no losses, long": ({LONG[0]: 8, LONG[1]: 9}, {LONG[0]: ["unsettled"] * 4}, ALL_LOSSES),
    "alike": (
        {
            f"pupae set apart, beetles moved {d} days, larvae sieved": m
            for d, m in (("every 14", 8), ("every 21", 8.1), ("every 28", 9.5))
        },
        {},
        (),
    ),
    "one": ({"a $x_1$": 8}, {}, ()),
}


@pytest.mark.parametrize("case", CASES)
def test_every_text_is_large_inside_the_slide_and_on_no_other(tmp_path, monkeypatch, case):
    means, statuses, drop = CASES[case]
    folder = results(tmp_path, means, 20, statuses=statuses, drop=drop)
    figure = figure_of(folder, monkeypatch)
    found = texts(figure)
    sizes = {t.get_fontsize() for t in found}
    assert min(sizes - {style.FOOT}) >= 16 and max(sizes) >= 22
    assert sum(t.get_fontsize() == style.FOOT for t in found) == 2
    boxes = [(t.get_text(), t.get_window_extent()) for t in found]
    wide, high = figure.bbox.width, figure.bbox.height
    for text, box in boxes:
        assert box.x0 > 0 and box.y0 > 0 and box.x1 < wide and box.y1 < high, text
    for (one, a), (other, b) in combinations(boxes, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        # Boxes hold room for descenders, so a sliver of shared height is no overlap.
        assert across <= 0 or up <= 0.15 * style.BODY / 72 * figure.dpi, (one, other)


def test_names_that_are_cut_still_differ(tmp_path, monkeypatch):
    names = list(CASES["alike"][0])
    for lines in (1, 2):
        found = style.labels(names, lines)
        assert len(set(found)) == 3
        assert all(len(part) <= 18 for text in found for part in text.split("\n"))
    figure = figure_of(results(tmp_path, CASES["alike"][0]), monkeypatch)
    title = max(texts(figure), key=lambda t: t.get_fontsize()).get_text().replace("\n", " ")
    assert "every 28" in title and "every 21" in title
    assert shortened("every 14 days, pupae set apart on Friday", 20) == "every 14 … Friday"


def test_every_run_is_a_dot_and_what_became_of_it_is_told(tmp_path, monkeypatch):
    statuses = {"a": ["died_out", "settled", "unsettled"], "b": ["settled", "died_out"]}
    folder = results(tmp_path, {"a": 8, "b": 9}, statuses=statuses)
    table = read(folder).runs
    runs = table.pivot(index="seed", columns="policy", values="yield_g_per_day")
    figure = figure_of(folder, monkeypatch)
    singles, pairs = dots(figure.axes[0]), dots(figure.axes[1])
    for policy, drawn in zip("ab", singles, strict=True):
        np.testing.assert_allclose(drawn, np.sort(runs[policy]))
    np.testing.assert_allclose(pairs[0], np.sort(runs["b"] - runs["a"]))
    assert len(pairs) == 1 and len(pairs[0]) == yield_row(folder)["n_pairs"] == 8
    assert (table["yield_g_per_day"] == 0).sum() == 2
    words = [t.get_text() for t in texts(figure)]
    assert {"dot = run, 8 a policy", "set against"} <= set(words)
    assert any("2 died out ×, 1 not steady" in text for text in words)


def test_months_are_whole_handling_periods_so_that_a_steady_run_is_level(tmp_path, monkeypatch):
    folder = results(tmp_path, {"a": 8, "b": 9}, sd=0.0)
    lines = figure_of(folder, monkeypatch).axes[3].get_lines()
    assert len(lines) == 2
    for line, mean in zip(lines, (8, 9), strict=True):
        day, value = line.get_xdata(), line.get_ydata()
        assert np.diff(day).tolist() == [28.0] * (DAYS // 28 - 1)
        np.testing.assert_allclose(value[day > WARM_UP + 28], mean, rtol=0.04)


def test_all_runs_died_out_or_none_invented(tmp_path, monkeypatch):
    statuses = {"a": ["died_out"] * 8, "b": ["died_out"] * 8}
    folder = results(tmp_path, {"a": 8, "b": 9}, statuses=statuses, invented=False)
    assert title_of(read(folder)) == "The colony died out in every run under every policy"
    figure = figure_of(folder, monkeypatch)
    words = [t.get_text() for t in texts(figure)]
    assert words.count("died out in all 8 runs") == 2 and "no run settled" in words
    assert not any("invented" in text for text in words)
    assert dots(figure.axes[0]) == [] and not np.any(dots(figure.axes[1]))


def test_importing_the_figures_starts_no_pyplot():
    code = (
        "import sys, colony_sim.studies.comparison.draw; "
        "sys.exit('matplotlib.pyplot' in sys.modules or 'seaborn' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


@pytest.mark.parametrize("sight", SIGHT)
def test_no_policy_has_the_colour_of_a_stage(sight):
    own, *stages = (
        lab(SIGHT[sight] @ linear(c)) for c in (style.POLICY, *palette.STAGES.values())
    )  # fmt: skip
    assert min(np.linalg.norm(own - stage) for stage in stages) > 10
    # All policies look alike but for marker and dashes, which differ up to five.
    for found in (style.MARKERS, style.SIGNS, style.DASHES):
        assert len(set(found)) == len(found) >= 5
    assert len(style.SIGNS) == len(style.MARKERS)


def test_colours_and_words_stand_out_from_their_ground():
    assert contrast(style.POLICY) >= 4.5 and contrast(style.OTHER) >= 3
    assert contrast(style.QUIET, style.SHADE) >= 4.5 and contrast(style.INK) >= 12
    steps = list(style.LOSSES.values())
    assert all(contrast(a, b) >= 1.8 for a, b in zip(steps, steps[1:], strict=False))
