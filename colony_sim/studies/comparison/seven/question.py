"""Slide 1: the question, the two ways, and the signs that all pictures use."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.seven.case import Case

STAGES = (("egg", "eggs"), ("larva", "larvae"), ("pupa", "pupae"), ("beetle", "beetles"))


def slide(case: Case) -> Slide:
    """The question of the experiment."""
    head = case.results.manifest["experiment"]
    asked = " ".join(str(head.get("question") or "Which way gives more larvae?").split())
    fits = len(asked.split()) <= plain.MOST_WORDS
    title = asked if fits else "The question"
    ways = "; ".join(f"{style.sign(case.index(p))} {_named(case, p)}" for p in case.policies)
    return Slide(
        name="question",
        title=title,
        say=f"{title}{'' if title.endswith('?') else '.'} {'' if fits else asked} The ways: "
        f"{ways}. These signs stand for them on every slide, the old way at the left.",
        caveat="All of it is about a model of a colony, not about a real one.",
        alt=f"The question in large type, and the ways that are compared: {ways}. Below them the "
        "four drawn stages: eggs, larvae, pupae, beetles.",
        data=pd.DataFrame({
            "policy": list(case.policies),
            "sign": [style.sign(i) for i in range(len(case.policies))],
        }),
        paint=lambda: _figure(case, title, "" if fits else asked),
        runs=case.runs,
        talk=True,
    )  # fmt: skip


def _named(case: Case, policy: str) -> str:
    way = case.way(policy)
    return f"{way}, “{policy}”" if way else f"“{policy}”"


def _figure(case: Case, title: str, asked: str) -> Figure:
    figure, y = plain.new(title)
    if asked:
        y = plain.write(figure, plain.MARGIN, y - 0.1, asked, 36, style.WIDTH - 2 * plain.MARGIN)
    y -= 0.45
    count = len(case.policies)
    if count <= 2:
        width = (style.WIDTH - 2 * plain.MARGIN) / 2
        for k, policy in enumerate(case.policies):
            plain.named(figure, plain.MARGIN + k * width, y, case.index(policy), policy,
                        width - 0.4, 34, case.way(policy))  # fmt: skip
    else:
        columns = 2 if count > 3 else 1
        rows = -(-count // columns)
        step = min(0.78, (y - 2.3) / rows)
        width = (style.WIDTH - 2 * plain.MARGIN) / columns
        for k, policy in enumerate(case.order):
            note = "  (the old way)" if case.index(policy) == 0 else ""
            plain.named(figure, plain.MARGIN + (k // rows) * width, y - (k % rows) * step,
                        case.index(policy), policy + note, width - 0.4,
                        min(30.0, 34 * step / 0.78), most_lines=1)  # fmt: skip
    stages(figure, plain.MARGIN, 1.0, style.WIDTH - 2 * plain.MARGIN)
    plain.foot(figure, case.results.invented)
    return figure


def stages(figure: Figure, left: float, low: float, width: float, size: float = 24.0) -> None:
    """The four stages with their names, in a row."""
    step = width / len(STAGES)
    side = 2.4 * size / 72
    for k, (glyph, name) in enumerate(STAGES):
        scene = Scene(26, 16)
        big = 3.0 if glyph == "egg" else 1.15
        scene.items.append(Mark(glyph, Place(13, 8, big, big)))
        plain.picture(figure, scene, left + k * step, low, 1.625 * side, side)
        plain.write(figure, left + k * step + 1.75 * side, low + side / 2, name, size,
                    va="center")  # fmt: skip
