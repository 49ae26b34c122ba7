"""Slide 7: what would change the answer, and how to measure it at home."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.drawing.bins import bin_scene
from colony_sim.drawing.content import GROWING, RackContent, Scale
from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.leans_on import DAYS_A_YEAR, what_would_tell, worth_naming
from colony_sim.studies.comparison.seven.case import Case
from colony_sim.studies.comparison.seven.rack import held_by
from colony_sim.words.estimate import short
from colony_sim.words.units import scaled, show

MOST = 2
"""Unknowns on the slide."""
BESIDE = "Try both side by side in your own bins: same bran, same room, as many beetles."


def slide(case: Case) -> Slide | None:
    """The home measurement; None for a comparison without possible colonies."""
    found = case.leaning
    if found is None:
        return None
    told = worth_naming(found.table).head(MOST)
    title = "Measure this at home: it may change the answer"
    if told.empty:
        title = "No single measurement is shown to change the answer"
    worth = f"Knowing everything would be worth {show(DAYS_A_YEAR * found.evpi, 'g/yr', short)}."
    rows = found.table.head(5)
    most = "; ".join(
        f"{row.label}, {show(row.value_g_per_year, 'g/yr', short)} "
        f"(error {short(scaled(row.value_g_per_year_se, 'g/yr', row.value_g_per_year))})"
        for row in rows.itertuples()
    )
    return Slide(
        name="what_would_change_it",
        title=title,
        say=f"{title}. {what_would_tell(found)} {worth}",
        caveat=f"What knowing each would be worth, the most first: {most}. Not told apart from "
        "luck unless it stands on the slide.",
        alt=f"In words: {what_would_tell(found)} {worth}",
        data=found.table,
        paint=lambda: _figure(case, told, title, worth),
        runs=case.runs,
        talk=True,
    )


def _figure(case: Case, told: pd.DataFrame, title: str, worth: str) -> Figure:
    figure, y = plain.new(title)
    if told.empty:
        _two_bins(figure, case)
    draw(figure, case, told, worth, plain.MARGIN, y - 0.45, style.WIDTH - 2 * plain.MARGIN, 28)
    plain.foot(figure, case.results.invented)
    return figure


def draw(
    figure: Figure, case: Case, told: pd.DataFrame, worth: str, left: float, top: float,
    width: float, size: float,
) -> float:  # fmt: skip
    """What to measure, how, and what that is worth; the height below."""
    line = size / 72
    y = top
    if told.empty:
        y = plain.write(figure, left, y, BESIDE, 1.1 * size, width, weight="bold") - 0.5 * line
    for row in told.itertuples():
        y = plain.write(figure, left, y, row.label[0].upper() + row.label[1:], 1.15 * size, width,
                        weight="bold")  # fmt: skip
        y = plain.write(figure, left, y - 0.1 * line, f"{row.measurement}.", size, width)
        text = f"Worth {show(row.value_g_per_year, 'g', short)} of larvae a year."
        y = plain.write(figure, left, y - 0.1 * line, text, size, width, color=style.QUIET)
        y -= 0.6 * line
    return plain.write(figure, left, y, worth, size, width, color=style.QUIET)


def _two_bins(figure: Figure, case: Case) -> None:
    """A growing bin of each rack, side by side under its sign."""
    held = [
        next((one for one in rack.bins if one.phase == GROWING and one.larvae), None)
        for rack in held_by(case).values() if rack is not None
    ]  # fmt: skip
    bins = [one for one in held if one is not None]
    if len(bins) < 2:
        return
    scale = Scale.of([RackContent(bins)])
    for k, (one, policy) in enumerate(zip(bins, case.pair, strict=True)):
        left = plain.MARGIN + 6.0 * k
        plain.picture(figure, bin_scene(one, scale, label=False), left + 0.9, 0.9, 2.9, 2.3)
        plain.named(figure, left, 2.2, case.index(policy), "", 1.0, 40)
