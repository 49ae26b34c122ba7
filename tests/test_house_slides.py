"""Slides of every study speak in the units of the house, and in no others."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_up_sweep import INVENTED, noise, swept
from made_up_traces import traces
from pictures import readable
from test_breakeven import made as made_map
from test_figures import results, texts
from test_gains import one as made_gains
from test_plan_words import run as plan_run
from test_search import made_up as made_search
from test_sensitivity import made as made_sensitivity
from test_slides import with_bins
from test_study_slides import ORIGIN, made_tornado

from colony_sim.experiment.units import House, using
from colony_sim.figures.slide import Slide
from colony_sim.planning import slides as plan_slides
from colony_sim.results.folder import write_table
from colony_sim.results.manifest import read as read_manifest
from colony_sim.studies.breakeven import draw as breakeven
from colony_sim.studies.breakeven.run import Axis
from colony_sim.studies.comparison import bin_life, gains, overview, steady
from colony_sim.studies.comparison.leans_on import LeansOn, leaning_in_words, what_would_tell
from colony_sim.studies.search import draw as pareto
from colony_sim.studies.sensitivity import screening, tornado
from colony_sim.studies.sweep import slides as sweep_slides
from colony_sim.trial import slides as trial_slides

METRIC, US = "metric", "us"
FLOOR, WARM, SIZE = "rack.bin_area_dm2", "larva.upper_c", "harvest.smallest_mg"
UNITS = {
    METRIC: r"(?<![\w.])(g|kg|mg|cm|dm2|dm²|°C)(?![\w/(])|[Gg]rams?\b|[Kk]ilogram|g/day|\d C\b"
            r"|Degrees C",
    US: r"(?<![\w.])(oz|lb|°F|sq in|cups?)\b|[Oo]unces?\b|[Pp]ounds?\b|\d F\b|Degrees F",
}  # fmt: skip
ROOM = ("--grams-per-day", "5 g", "--coldest", "15 C", "--warmest", "29 C", "--years", "2",
        "--bin-area", "3 dm2")  # fmt: skip
SLOW = ("plan", METRIC)
KINDS = ("sweep", "map", "effects", "breakeven", "tornado", "morris", "pareto", "trial", "gains",
         "comparison", "plan")  # fmt: skip


def lived(task, rng):
    p = task.scenario.parameters
    level = 60 + 20 * p[FLOOR] + p[SIZE] / 10 + 5 * (p["rotation.interval_days"] == 21)
    return {"yield": level + rng.normal() + noise(task, 0.5, FLOOR, SIZE)}


SWEEPS = {
    "sweep": {"vary": [f"{FLOOR}=2,4,6"]},
    "map": {"vary": [f"{FLOOR}=2,4", f"{SIZE}=80,120"]},
    "effects": {"vary": [f"{FLOOR}=2,4", f"{SIZE}=80,120", f"{WARM}=35,36"]},
}


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("houses")


def trials() -> pd.DataFrame:
    return pd.DataFrame({
        "trial": ["fifty", "sample"], "label": ["50 larvae set apart", "50 larvae weighed"],
        "worth": [420.0, 90.0], "worth_se": [60.0, 80.0], "told_apart": [True, False],
        "bran_eur": [0.2, 0.0], "bran_g": [100.0, 0.0], "minutes": [15.0, 5.0], "days": [35, 84],
    })  # fmt: skip


@cache
def folder(kind: str, place: Path, system: str = METRIC) -> Path:
    """A results folder; words that a plan keeps are of the house that it was made in."""
    where = place / f"{kind}-{system}"
    if kind in SWEEPS:
        text = INVENTED.replace("seed = 5", f'seed = 5\nunits = "{system}"')
        return swept(where, lived, text=text, replicates=4, **SWEEPS[kind])
    if kind == "plan":
        options = [*ROOM, "--one-world", "--units", system]
        with pytest.MonkeyPatch.context() as patch:
            plan_run(where, *options, monkeypatch=patch)
        return where
    found = results(where, {"a": 80.0, "b": 90.0})
    daily = pd.read_parquet(found / "daily.parquet")
    write_table(found, "daily", daily.assign(larvae_g=9.0 * daily["harvest_g"], adults=300))
    return found


def made(kind: str, place: Path, system: str = METRIC) -> Iterator[Slide]:
    """The slides of a kind, in the house that is spoken of here."""
    if kind in SWEEPS:
        yield from sweep_slides.slides(folder(kind, place, system))
    elif kind == "breakeven":
        result = made_map(np.array([[90.0, 19.0, 17.0], [-17.0, -19.0, 0.0]]))
        across = Axis(FLOOR, (2.0, 4.0, 6.0))
        table = result.table.rename(columns={result.x.key: FLOOR})
        table[FLOOR] = table[FLOOR].map(dict(zip(result.x.values, across.values, strict=True)))
        result = dataclasses.replace(result, x=across, table=table, default=(4.0, 12.0))
        yield breakeven.slide(result, ORIGIN)
    elif kind == "tornado":
        yield tornado.slide(made_tornado(), ORIGIN)
    elif kind == "morris":
        yield screening.slide(made_sensitivity("morris"), ORIGIN)
    elif kind == "pareto":
        yield pareto.slide(made_search(), ORIGIN)
    elif kind == "trial":
        facts = {"policies": ["a", "b"], "worlds": 100}
        yield trial_slides.slide(trials(), facts, ORIGIN)
    elif kind == "plan":
        yield from plan_slides.slides(folder(kind, place, system))
    else:
        found = folder("comparison", place)
        tables = with_bins(found)
        if kind == "gains":
            for currency in ("g/day", "g per kg of bran"):
                yield gains.slide(tables, *(
                    table.assign(currency=currency) for table in made_gains(zone=0.25)
                ))  # fmt: skip
            return
        yield overview.slide(tables)
        yield from bin_life.slides(tables, traces(a=15, b=20))
        yield from steady.slides(tables, found)


@pytest.mark.parametrize(
    ("kind", "system"),
    # A metric plan has tests of its own, and takes long to make.
    [(kind, system) for kind in KINDS for system in (METRIC, US) if (kind, system) != SLOW],
)
def test_slides_have_the_units_of_the_house_and_no_others(kind, system, place):
    said = []
    with using(House(system)):
        for slide in made(kind, place, system):
            said += [slide.title, slide.say, slide.caveat, slide.alt]
            # Metric pictures have tests of their own.
            if system == US:
                said += [text.get_text() for text in texts(readable(slide))]
    if kind in (*SWEEPS, "plan"):
        found = read_manifest(folder(kind, place, system), ("sweep", "plan"))["findings"]
        said += [paragraph["text"] for paragraph in found]
    # A key at the foot of a slide is a name.
    said = [re.sub(r"[a-z_]+\.[a-z0-9_]+", "", text) for text in said]
    other = {METRIC: US, US: METRIC}[system]
    assert [text for text in said if re.search(UNITS[other], text)] == []
    assert any(re.search(UNITS[system], text) for text in said)


@pytest.mark.parametrize("kind", ["map", "breakeven", "pareto", "gains"])
def test_the_table_of_a_slide_is_metric_in_every_house(kind, place):
    tables = []
    for system in (METRIC, US):
        with using(House(system)):
            tables.append([slide.data for slide in made(kind, place)])
    for metric, us in zip(*tables, strict=True):
        pd.testing.assert_frame_equal(metric, us)


def test_what_a_comparison_leans_on_is_worth_so_much_in_the_units_of_the_house():
    table = pd.DataFrame({
        "told_apart": [True], "label": ["eggs eaten"], "measurement": "Count the small larvae",
        "value_g_per_year": [284.0], "value_g_per_year_se": [57.0],
    })  # fmt: skip
    found = LeansOn(("a", "b"), 100, 1.0, table)
    for system, worth in ((METRIC, "284 g a year (error 57)"), (US, "10 oz a year (error 2)")):
        with using(House(system)):
            assert worth in what_would_tell(found)
            assert worth.partition(" (")[0] in leaning_in_words(found)
