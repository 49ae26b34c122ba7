"""Slide 6: what it costs, in hours, bins, bran and beetles."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.core import mean_interval
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison.seven.case import Case, Quote
from colony_sim.words.estimate import number, short
from colony_sim.words.finding import HOURS, NOTICED, difference
from colony_sim.words.units import scaled, symbol

WORK, BRAN = HOURS, "bran"


@dataclass(frozen=True)
class Cost:
    """What is spent: its measure, words below the number, and in a title.

    In both `{unit}` stands for the name of its unit in the house.
    """

    measure: str
    words: str
    takes: str
    times: float = 1.0
    unit: str = ""

    @property
    def said(self) -> str:
        """The words below the number, in the units of the house."""
        return self.words.format(unit=symbol(self.unit))


COSTS = (
    Cost(WORK, "hours of work a week", "takes {} hours a week"),
    Cost("bins_in_use", "bins in use", "fills {} bins"),
    Cost(BRAN, "{unit} of bran a week", "takes {} {unit} of bran a week", unit="kg"),
    Cost("adult_losses_per_100_per_day", "beetles lost a week, of 100",
         "loses {} of 100 beetles a week", 7.0),
)  # fmt: skip


def slide(case: Case) -> Slide | None:
    """The costs of each way; None where no run has any."""
    table = costs(case)
    if not table["value"].notna().any():
        return None
    title = plain.title(lambda quote: _title(case, table, quote), case.policies)
    told = "; ".join(
        f"“{policy}” "
        + ", ".join(f"{_shown(row.value)} {row.cost}" for row in rows.itertuples())
        for policy, rows in table.groupby("policy", sort=False)
    )  # fmt: skip
    return Slide(
        name="cost",
        title=title,
        say=f"{title}. {told}.",
        caveat="Minutes of work are those of the experiment file: time your own. Beetles taken out "
        "as too many are not lost ones. Most beetles that are lost die of age.",
        alt=f"A table of four costs with a number for each way. {told}.",
        data=table,
        paint=lambda: _figure(case, table, title),
        runs=case.runs,
        talk=True,
    )


def costs(case: Case) -> pd.DataFrame:
    """One row a policy and cost: policy, cost, measure, value (mean over runs)."""
    rows = []
    for policy in case.order:
        for cost in COSTS:
            value = scaled(cost.times * _mean(case, policy, cost.measure), cost.unit)
            rows.append({"policy": policy, "cost": cost.said, "measure": cost.measure,
                         "value": value})  # fmt: skip
    return pd.DataFrame(rows)


def _mean(case: Case, policy: str, measure: str) -> float:
    if measure != BRAN:
        return case.mean(policy, measure)
    known = "yield_g_per_kg_bran" in case.results.runs
    return float(_bran(case, policy).dropna().mean()) if known else math.nan


def _title(case: Case, table: pd.DataFrame, quote: Quote) -> str:
    if len(case.pair) == 1:
        return "What it costs"
    wide = table.pivot(index="measure", columns="policy", values="value")
    for cost in COSTS:
        if not told_apart(case, cost.measure):
            continue
        one, other = (float(wide.loc[cost.measure, policy]) for policy in case.pair)
        order = case.pair if one > other else case.pair[::-1]
        big, small = max(one, other), min(one, other)
        text = f"{quote(order[0])} {cost.takes.format(_shown(big), unit=symbol(cost.unit))}"
        return f"{text}, {quote(order[1])} {_shown(small)}"
    return "Neither way clearly costs more" if len(case.policies) == 2 else "What it costs"


def told_apart(case: Case, measure: str) -> bool:
    """Whether the two differ in a cost so that a keeper notices, and not by chance."""
    one, other = (_mean(case, policy, measure) for policy in case.pair)
    if not (math.isfinite(one) and math.isfinite(other)):
        return False
    if abs(one - other) < NOTICED * min(one, other):
        return False
    if measure == BRAN:
        gap = (_bran(case, case.pair[1]) - _bran(case, case.pair[0])).dropna().to_numpy()
        low, high = mean_interval(gap).limits
        return bool(low > 0 or high < 0)
    table = case.results.all_differences
    here = table["measure"] == measure
    return bool(here.any()) and separated(difference(table, measure, *case.pair))


def _bran(case: Case, policy: str) -> pd.Series:
    """Bran (kg a week) of the runs under a policy: what they yield over what a kilogram yields."""
    a_kg = case.results.values(policy, "yield_g_per_kg_bran")
    return 7.0 * case.results.values(policy, YIELD) / a_kg[a_kg > 0]


def _shown(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return short(value) if value < 1 else f"{value:.1f}" if value < 100 else number(value)


def _figure(case: Case, table: pd.DataFrame, title: str) -> Figure:
    figure, y = plain.new(title)
    width = style.WIDTH - 2 * plain.MARGIN
    if len(case.policies) <= 2:
        draw(figure, case, table, plain.MARGIN, 0.95, width, y - 0.2, 24)
    else:
        _rows(figure, case, table, y - 0.3)
    plain.foot(figure, case.results.invented)
    return figure


def draw(
    figure: Figure, case: Case, table: pd.DataFrame, left: float, low: float, width: float,
    top: float, size: float,
) -> None:  # fmt: skip
    """A row for each cost: a sign, its words, and a large number for each of two ways."""
    wide, high = figure.get_size_inches()
    line = size / 72
    policies = case.pair
    words = max(style.text_width(figure, cost.said, size) for cost in COSTS)
    start = left + 3.2 * line + words + 0.8 * line
    step = (left + width - start) / len(policies)
    head = min(
        plain.named(figure, start + k * step, top, case.index(policy), policy, step - 0.3 * line,
                    size, case.way(policy))
        for k, policy in enumerate(policies)
    ) - 0.2 * line  # fmt: skip
    tall = (head - low) / len(COSTS)
    values = table.pivot(index="measure", columns="policy", values="value")
    for i, cost in enumerate(COSTS):
        at = head - (i + 0.5) * tall
        side = min(2.6 * line, 0.9 * tall)
        plain.picture(figure, _sign(cost), left, at - side / 2, 2.9 * line, side)
        figure.text((left + 3.4 * line) / wide, at / high, cost.said, size=size, va="center")
        for k, policy in enumerate(policies):
            x = start + k * step + 1.25 * line
            figure.text(x / wide, at / high, _shown(float(values.loc[cost.measure, policy])),
                        size=1.7 * size, weight="bold", va="center")  # fmt: skip
        if i:
            _rule(figure, left, head - i * tall, width)


def _sign(cost: Cost) -> Scene:
    """A small drawing for a cost."""
    scene = Scene(40, 40)
    if cost.measure == "bins_in_use":
        scene.items.append(Mark("sign-box", Place(-4, -4)))
    elif cost.measure == BRAN:
        scene.items += [Mark("bran", Place(-4, 16, 0.4, 14)), Mark("crust", Place(-4, 16, 0.4, 1))]
    elif cost.measure == WORK:
        scene.items.append(Mark("clock", Place(20, 20)))
    else:
        scene.items.append(Mark("beetle", Place(20, 21, 1.7, 1.7)))
    return scene


def _rows(figure: Figure, case: Case, table: pd.DataFrame, top: float) -> None:
    """More than two ways: a row each, a column a cost."""
    left, right = plain.MARGIN, style.WIDTH - plain.MARGIN
    count = len(case.policies)
    size = 22.0 if count <= 5 else 18.0
    line = size / 72
    first = 3.6
    step = (right - left - first) / len(COSTS)
    for k, cost in enumerate(COSTS):
        x = left + first + (k + 1) * step - 0.1
        text = "\n".join(plain.wrapped(cost.said, 20, step - 0.25))
        figure.text(x / style.WIDTH, top / style.HEIGHT, text, size=20, ha="right", va="top",
                    color=style.QUIET, linespacing=plain.LEADING)  # fmt: skip
    head = top - 3 * 20 * 1.2 / 72
    tall = min((head - 0.95) / count, 1.1)
    values = table.pivot(index="measure", columns="policy", values="value")
    for i, policy in enumerate(case.order):
        at = head - (i + 0.5) * tall
        plain.named(figure, left, at + 0.55 * line, case.index(policy), policy, first - 0.1, size)
        for k, cost in enumerate(COSTS):
            x = left + first + (k + 1) * step - 0.1
            figure.text(x / style.WIDTH, (at) / style.HEIGHT,
                        _shown(float(values.loc[cost.measure, policy])), size=1.3 * size,
                        weight="bold", ha="right", va="center")  # fmt: skip
        if i:
            _rule(figure, left, head - i * tall, right - left)


def _rule(figure: Figure, left: float, y: float, width: float) -> None:
    from matplotlib.lines import Line2D

    wide, high = figure.get_size_inches()
    figure.add_artist(Line2D([left / wide, (left + width) / wide], [y / high, y / high],
                             color=style.SHADE, linewidth=1.2))  # fmt: skip
