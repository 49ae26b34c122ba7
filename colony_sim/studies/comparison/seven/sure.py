"""Slide 4: how sure, as a hundred possible colonies (or as the pairs of runs there are)."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.measuring.catalogue import YIELD
from colony_sim.studies.comparison.seven.case import Case, Quote
from colony_sim.words.estimate import short
from colony_sim.words.units import show

LEVEL = "close"
COLUMNS = 10


def slide(case: Case) -> Slide | None:
    """So many signs of each way; None for a single policy."""
    if case.kind == "one":
        return None
    counts, of, right = told(case)
    if not sum(counts.values()):
        return None
    title = plain.title(lambda quote: _title(case, counts, of, quote), case.policies)
    words = "; ".join(f"{count}: {legend(case, name)}" for name, count in counts.items())
    return Slide(
        name="how_sure",
        title=title,
        say=f"{title}. Of {of}: {words}. {right}".strip(),
        caveat="A possible colony is one set of values that is allowed for the model. "
        "If the published experiments err together, so does this."
        if case.side is not None
        else "Pairs of runs in one colony of the model: they show luck, not what nobody knows "
        "about real colonies.",
        alt=f"{sum(counts.values())} signs, each for one of {of}. {words}.",
        data=pd.DataFrame({"who": list(counts), "count": list(counts.values()), "of": of}),
        paint=lambda: _figure(case, title, counts, right),
        runs=case.runs,
        talk=True,
    )


def told(case: Case) -> tuple[dict[str, int], str, str]:
    """Counts by policy (and `LEVEL`), of what, and how right they are."""
    if case.side is None:
        return (*_of_pairs(case), "")
    error = case.side.give_or_take
    right = f"{case.colonies} colonies were lived; each count is right to about {error}."
    if len(case.policies) > 2 and case.standings is not None:
        shares = case.standings.set_index("policy")["best_share"]
        error = short(100 * float(case.standings["best_share_se"].max()))
        right = f"{case.colonies} colonies were lived; each count is right to about {error}."
        whole = np.floor(100 * shares).astype(int)
        # What rounding leaves over goes to those that lost most by it.
        for name in (100 * shares - whole).nlargest(100 - int(whole.sum())).index:
            whole[name] += 1
        return {p: int(whole[p]) for p in case.order}, "100 possible colonies", right
    first, _, second = case.side.of_100
    counts = {case.side.a: int(first), case.side.b: int(second)}
    left, more = case.pair
    level = 100 - sum(counts.values())
    found = {left: counts[left], LEVEL: level, more: counts[more]}
    if not level:
        del found[LEVEL]
    return found, "100 possible colonies", right


def _of_pairs(case: Case) -> tuple[dict[str, int], str]:
    """Of the seeds run under all policies, how often each gave most."""
    wide = pd.DataFrame({p: case.results.values(p, YIELD) for p in case.policies}).dropna()
    best = wide.idxmax(axis=1)
    of = "pairs of runs" if len(case.policies) == 2 else "runs of each"
    return {p: int((best == p).sum()) for p in case.order}, f"{len(wide)} {of}"


def legend(case: Case, name: str) -> str:
    """What a sign says."""
    if name == LEVEL:
        assert case.side is not None
        return f"less than {show(case.side.zone, 'g/d')} apart"
    return f"“{name}” gives {'most' if len(case.policies) > 2 else 'more'}"


def _title(case: Case, counts: dict[str, int], of: str, quote: Quote) -> str:
    name = max((p for p in counts if p != LEVEL), key=lambda p: counts[p])
    if case.kind == "close":
        return f"In {counts[LEVEL]} of {of} it hardly matters"
    does = "most" if len(case.policies) > 2 else "more"
    return f"{quote(name)} gives {does} in {counts[name]} of {of}"


def dots(
    figure: Figure, case: Case, counts: dict[str, int], left: float, low: float, side: float
) -> None:
    """The signs in a square, column by column, in the order of the legend."""
    total = sum(counts.values())
    rows = COLUMNS if total > 40 else max(1, int(np.ceil(np.sqrt(total))))
    columns = -(-total // rows)
    axes = plain.axes(figure, left, low, side, side)
    most = max(rows, columns)
    axes.set(xlim=(0, most), ylim=(most, 0))
    axes.set_axis_off()
    start = 0
    for name, count in counts.items():
        k = np.arange(start, start + count)
        start += count
        level = name == LEVEL
        axes.plot(
            k // rows + 0.5, k % rows + 0.5, linestyle="",
            marker="_" if level else style.marker(case.index(name)),
            markersize=(0.55 if level else 0.62) * side / most * 72,
            markeredgewidth=0.09 * side / most * 72 if level else 0,
            color=style.OTHER if level else style.POLICY,
        )  # fmt: skip


def _figure(case: Case, title: str, counts: dict[str, int], right: str) -> Figure:
    figure, y = plain.new(title)
    low = 0.95
    side = min(5.2, y - 0.25 - low)
    dots(figure, case, counts, plain.MARGIN, low, side)
    key(figure, case, counts, plain.MARGIN + side + 0.7, y - 0.35, low,
        style.WIDTH - 2 * plain.MARGIN - side - 0.7, right, 26)  # fmt: skip
    plain.foot(figure, case.results.invented)
    return figure


def key(
    figure: Figure, case: Case, counts: dict[str, int], left: float, top: float, low: float,
    width: float, right: str, size: float,
) -> None:  # fmt: skip
    """Counts in large figures beside what they count."""
    wide, high = figure.get_size_inches()
    line = size / 72
    tail = plain.wrapped(right, 0.8 * size, width) if right else []
    room = top - low - 1.25 * len(tail) * 0.8 * line
    step = min(room / len(counts), 3.4 * line)
    for k, (name, count) in enumerate(counts.items()):
        y = top - k * step - min(step, 2.2 * line) / 2
        level = name == LEVEL
        plain.write(figure, left + 2.6 * line, y, f"{count}", 1.8 * size, weight="bold", ha="right",
                    va="center", color=style.QUIET if level else style.INK)  # fmt: skip
        figure.add_artist(_mark(case, name, (left + 3.4 * line) / wide, y / high, 1.1 * size))
        words = legend(case, name)
        lines, small = plain.wrapped(words, size, width - 4.4 * line), size
        if len(lines) > 2:
            small = 0.8 * size
            lines = plain.wrapped(words, small, width - 4.4 * line)[:3]
        plain.write(figure, left + 4.3 * line, y, "\n".join(lines), small, va="center")
    if tail:
        plain.write(figure, left, low + 1.2 * len(tail) * 0.8 * line, "\n".join(tail), 0.8 * size,
                    color=style.QUIET)  # fmt: skip


def _mark(case: Case, name: str, x: float, y: float, size: float):  # type: ignore[no-untyped-def]
    from matplotlib.lines import Line2D

    if name == LEVEL:
        return Line2D([x], [y], marker="_", color=style.OTHER, markersize=0.7 * size,
                      markeredgewidth=0.14 * size, linestyle="")  # fmt: skip
    return Line2D([x], [y], marker=style.marker(case.index(name)), color=style.POLICY,
                  markersize=0.72 * size, linestyle="")  # fmt: skip
