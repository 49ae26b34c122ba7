"""The slide of the trials: what each is worth in a year, and what it costs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from colony_sim.figures import style
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.studies.origin import Origin
from colony_sim.trial import words
from colony_sim.words.units import scaled, size, symbol, weight


def slides(folder: Path) -> list[Slide]:
    """The slides of a results folder of ``colony-sim trial``."""
    folder = Path(folder)
    data = manifest.read(folder, kinds=("trial",))
    table = pd.read_parquet(folder / "ranking.parquet")
    return [slide(table, data["study"], Origin.of(data))]


def slide(table: pd.DataFrame, facts: dict[str, Any], origin: Origin) -> Slide:
    """The ranking as a slide."""
    title = words.headline(table)
    runs = f"{facts['worlds']} possible colonies"
    told = "; ".join(
        f"{row.label} {weight(row.worth)} a year, error {size(row.worth_se)}"
        for row in table.itertuples()
    )
    return Slide(
        name="ranking",
        title=title,
        say=f"{title}. Each line is a small experiment at home: what choosing by its result "
        "would give in a year over choosing now.",
        runs=runs,
        caveat="Errors of counting, minutes and the price of bran are common practice, no source.",
        alt=f"A bar with its error for each of {len(table)} trials. {told}.",
        data=table,
        paint=lambda: _paint(table, facts, origin, title, runs),
    )


def _paint(
    table: pd.DataFrame, facts: dict[str, Any], origin: Origin, title: str, runs: str
) -> Figure:
    slide = style.new_figure()
    top = style.headed(slide, title)
    first, second = facts["policies"]
    low = 0.75 + origin.foot(
        slide,
        f"Worth for the choice between “{first}” and “{second}” (expected value of sample "
        "information, by regression), in the order of what a minute of work gives; line: one "
        "standard error each way. Grey: not told apart from luck, and last.",
        runs,
    )
    axes = style.axes(slide, 5.3, low, style.WIDTH - 5.3 - 3.7, top - 0.25 - low)
    worths = {column: scaled(table[column], "g") for column in ("worth", "worth_se")}
    table, places = table.assign(**worths), np.arange(len(table))
    for place, row in zip(places, table.itertuples(), strict=True):
        colour = style.POLICY if row.told_apart else style.FAINT
        axes.barh(place, max(row.worth, 0.0), height=0.62, color=colour)
        axes.plot([max(row.worth - row.worth_se, 0.0), row.worth + row.worth_se], [place, place],
                  color=style.INK, linewidth=2)  # fmt: skip
        bran = f", {row.bran_eur:.2f} euro" if row.bran_eur else ""
        cost = f"{words.work_time(row.minutes)}{bran}, {row.days} days"
        axes.annotate(cost, (1.0, place), (12, 0), xycoords=("axes fraction", "data"),
                      textcoords="offset points", va="center", size=13,
                      color=style.QUIET)  # fmt: skip
    axes.set_yticks(places, list(table["label"]))
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.set_xlim(left=0)
    axes.set_xlabel(f"worth, {symbol('g')} of larvae a year")
    axes.tick_params(axis="y", length=0)
    return slide
