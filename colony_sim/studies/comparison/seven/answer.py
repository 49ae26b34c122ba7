"""Slide 3: the answer, with the larvae in the bowl; where nobody knows, how to find out."""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.drawing.content import RackContent, Scale
from colony_sim.drawing.rack import bowl_scene
from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import YIELD
from colony_sim.studies.comparison.leans_on import what_would_tell
from colony_sim.studies.comparison.seven.case import LARVAE, Case, Quote
from colony_sim.studies.comparison.seven.cost import WORK, told_apart
from colony_sim.words.estimate import dashed, number
from colony_sim.words.units import show


def slide(case: Case) -> Slide:
    """The answer in one sentence."""
    title = plain.title(lambda quote: _title(case, quote), case.policies)
    table = amounts(case)
    told = "; ".join(
        f"“{row.policy}” {number(row.larvae)} larvae, {show(row.grams, 'g/d', number)}"
        for row in table.itertuples() if math.isfinite(row.larvae)
    )  # fmt: skip
    below = _below(case)
    return Slide(
        name="answer",
        title=title,
        say=f"{title}. {case.answer} On average: {told}. {below}".strip(),
        caveat="This is a statement about the model under its assumptions, not about a real "
        "colony. Means are over all runs; a colony that died out counts with no harvest from then "
        "on.",
        alt=f"A bowl of larvae for each way, filled to number. {told}. {below}".strip(),
        data=table,
        paint=lambda: _figure(case, title, table, below),
        runs=case.runs,
        talk=True,
    )


def _title(case: Case, quote: Quote) -> str:
    gone = case.gone()
    if gone:
        worst, died, runs = gone[0]
        return f"{quote(worst)} runs the colony down in {died} of {runs} runs"
    return finding(case, quote)


def finding(case: Case, quote: Quote) -> str:
    """What is known of the yield, at most a dozen words."""
    many = len(case.policies) > 2
    lead = case.leader()
    if case.kind == "one":
        return f"{quote(lead)} gives {number(case.mean(lead, LARVAE))} larvae a day"
    if case.kind == "open" and case.side is None:
        return f"The runs do not tell which gives {'most' if many else 'more'} larvae"
    if case.kind == "open":
        return f"Nobody knows yet which gives {'most' if many else 'more'} larvae"
    if many:
        return f"{case.probably}{quote(lead)} gives most larvae"
    other = next(policy for policy in case.pair if policy != lead)
    if case.kind == "close":
        return f"It hardly matters: {quote(case.pair[0])} or {quote(case.pair[1])}"
    if case.kind == "as well":
        return f"{quote(lead)} gives as many larvae as {quote(other)} or more"
    return f"{case.probably}{quote(lead)} gives more larvae than {quote(other)}"


def amounts(case: Case) -> pd.DataFrame:
    """Mean larvae and grams a day under each policy; hours a week where those of two differ."""
    worked = len(case.policies) == 2 and told_apart(case, WORK)
    rows = []
    for policy in case.order:
        rows.append({
            "policy": policy, "larvae": case.mean(policy, LARVAE),
            "grams": case.mean(policy, YIELD),
            "hours": case.mean(policy, WORK) if worked else math.nan,
        })  # fmt: skip
    return pd.DataFrame(rows)


def _below(case: Case) -> str:
    """What stands under the bowls."""
    gone = case.gone()
    parts = [
        f"“{policy}” runs it down in {died} of {runs} runs too." for policy, died, runs in gone[1:]
    ]
    if gone:
        parts.append(f"{finding(case, lambda name: f'“{name}”')}.")
    if case.kind == "open" and case.leaning is not None:
        parts.append(what_would_tell(case.leaning))
    return dashed(" ".join(parts))


def bowls(
    figure: Figure, case: Case, table: pd.DataFrame, left: float, low: float, width: float,
    top: float, size: float, many: bool = False,
) -> None:  # fmt: skip
    """A bowl for each policy with its name above and its numbers below, in a box in inches."""
    scale = Scale.of([RackContent([], None, round(n)) for n in table["larvae"].fillna(0)])
    step = width / len(table)
    line = size / 72
    heads = [
        plain.named(figure, left + k * step, top, case.index(row.policy), row.policy,
                    step - 0.5 * line, size, "" if many else case.way(row.policy))
        for k, row in enumerate(table.itertuples())
    ]  # fmt: skip
    head, foot = (
        min(heads) - 0.2 * line,
        low + (4.1 if table["hours"].notna().any() else 2.9) * line,
    )
    for k, row in enumerate(table.itertuples()):
        x = left + k * step
        none = not math.isfinite(row.larvae)
        scene = bowl_scene(0 if none else round(row.larvae), scale)
        wide = min(step - 0.5 * line, (head - foot) * scene.width / scene.height)
        plain.picture(figure, scene, x + 0.2 * line, foot, wide, head - foot)
        words = "no run with a value" if none else f"{number(row.larvae)} larvae"
        y = plain.write(figure, x + 0.4 * line, foot - 0.1 * line, words, 1.25 * size,
                        weight="bold")  # fmt: skip
        if not none:
            small = plain.smaller(0.85 * size, size)
            text = f"a day, {show(row.grams, 'g', number)}"
            y = plain.write(figure, x + 0.4 * line, y, text, small, color=style.QUIET)
            if math.isfinite(row.hours):
                text = f"{row.hours:.1f} hours of work a week"
                plain.write(figure, x + 0.4 * line, y, text, small, step - 0.5 * line,
                            color=style.QUIET)  # fmt: skip


def _figure(case: Case, title: str, table: pd.DataFrame, below: str) -> Figure:
    figure, y = plain.new(title)
    width = style.WIDTH - 2 * plain.MARGIN
    low = 0.85
    if below:
        size = next(
            s for s in (24.0, 22.0, 20.0, 18.0)
            if s == 18.0 or len(plain.wrapped(below, s, width)) <= 3
        )  # fmt: skip
        lines = plain.wrapped(below, size, width)
        low += len(lines) * size * 1.2 / 72 + 0.15
        plain.write(figure, plain.MARGIN, low - 0.1, "\n".join(lines), size)
    many = len(table) > 2
    bowls(figure, case, table, plain.MARGIN, low, width, y - 0.25, 28 if not many else 20, many)
    plain.foot(figure, case.results.invented)
    return figure
