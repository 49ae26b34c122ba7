"""Slide 5: why, as the ends of a hundred eggs, drawn one by one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from matplotlib.figure import Figure

from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison.egg_fates import Account
from colony_sim.studies.comparison.egg_ledger import STOCK
from colony_sim.studies.comparison.seven.case import Case, Quote
from colony_sim.words.estimate import dashed
from colony_sim.words.finding import difference


@dataclass(frozen=True)
class End:
    """An end of eggs as it is drawn: sign, words beside it and in a title, and its fates."""

    glyph: str
    words: str
    does: str
    fates: tuple[str, ...]


ENDS = (
    End("egg", "eaten by beetles", "are eaten by beetles", ("egg_eaten_by_beetles",)),
    End("egg", "eaten by larvae", "are eaten by larvae", ("egg_eaten_by_larvae",)),
    End("egg", "not hatched or lost", "do not hatch or are lost",
        ("egg_unhatched", "egg_lost_in_handling")),
    End("larva", "die as larvae", "die as larvae", ("larva_died",)),
    End("larva", "harvested", "are harvested as larvae", ("larva_harvested",)),
    End("pupa", "die as pupae", "die as pupae", ("pupa_eaten", "pupa_died_or_lost")),
    End("beetle", "grow up to beetles", "grow up to beetles", ("beetle_emerged",)),
    End("larva", "still growing", "are still growing", (STOCK,)),
)  # fmt: skip
LEAST_SHOWN, LEAST_TOLD = 0.5, 3.0
"""An end of fewer of 100 eggs has no sign; if it has none anywhere it has no row.
A smaller difference is not told in the title."""


def slide(case: Case) -> Slide | None:
    """Ends of 100 eggs under the two policies; None if no egg was laid in the days measured."""
    found = case.eggs
    shown = tuple(policy for policy in case.pair if policy in found.known)
    if not shown:
        return None
    rows = ends(found, shown)
    end = telling(found, shown)
    title = plain.title(lambda quote: _title(found, shown, end, quote), case.policies)
    return Slide(
        name="why",
        title=title,
        say=f"{title}. {found.finding()}. {found.kept()}",
        caveat="Means over the runs in which eggs were laid in the days measured. Eggs laid "
        "before these days end in them and eggs laid at their end are still alive. How many eggs "
        "a beetle eats has never been measured well in this species.",
        alt=f"One sign an egg of 100, by its end, a side for each way. {found.in_words()}",
        data=found.table,
        paint=lambda: _figure(case, shown, rows, end, title),
        runs=case.runs,
        talk=True,
    )


def value(found: Account, policy: str, end: End) -> float:
    """How many of 100 eggs come to an end."""
    return sum(found.mean(policy, fate) for fate in end.fates)


def ends(found: Account, policies: tuple[str, ...]) -> list[End]:
    """The ends that any of 100 eggs comes to."""
    return [
        end for end in ENDS if any(value(found, p, end) >= LEAST_SHOWN for p in policies)
    ]  # fmt: skip


def telling(found: Account, policies: tuple[str, ...]) -> End | None:
    """The end in which the two differ most, of those that the runs tell apart."""
    if len(policies) < 2:
        return None
    told = []
    for end in ENDS:
        rows = [difference(found.differences, fate, *policies[::-1]) for fate in end.fates]
        if end.fates != (STOCK,) and any(separated(row) for row in rows):
            gap = abs(value(found, policies[1], end) - value(found, policies[0], end))
            told.append((gap, end))
    told = [one for one in told if one[0] >= LEAST_TOLD]
    return max(told, key=lambda one: one[0])[1] if told else None


def whole(number: float) -> str:
    """A number of 100 eggs as it is written."""
    if 0 < abs(number) < LEAST_SHOWN:
        return "<1"
    return dashed(f"{number:.0f}")


def _title(found: Account, policies: tuple[str, ...], end: End | None, quote: Quote) -> str:
    if len(policies) == 1:
        return "Where 100 eggs go"
    if end is None:
        return "Where 100 eggs go: both ways much the same"
    one, other = (whole(value(found, policy, end)) for policy in policies)
    return f"Of 100 eggs {one} or {other} {end.does}"


def _figure(
    case: Case, policies: tuple[str, ...], rows: list[End], end: End | None, title: str
) -> Figure:
    figure, y = plain.new(title)
    draw(figure, case, policies, rows, end, plain.MARGIN, 0.85,
         style.WIDTH - 2 * plain.MARGIN, y - 0.15, 22)  # fmt: skip
    plain.foot(figure, case.results.invented)
    return figure


def draw(
    figure: Figure, case: Case, policies: tuple[str, ...], rows: list[End], end: End | None,
    left: float, low: float, width: float, top: float, size: float,
) -> None:  # fmt: skip
    """Signs outward from the words in the middle, a side for each of two policies."""
    found = case.eggs
    wide, high = figure.get_size_inches()
    line = size / 72
    middle = max(style.text_width(figure, row.words, size, "bold") for row in rows) + 0.4 * line
    count_room = 2.1 * line
    sides = len(policies)
    side = (width - middle) / sides - count_room
    if sides == 1:
        side = min(side, 9.0 * high / 7.5)
    heads = []
    for k, policy in enumerate(policies):
        x = left if k == 0 and sides == 2 else left + width - side - count_room
        if sides == 1:
            x = left + middle
        heads.append(
            plain.named(figure, x, top, case.index(policy), policy, side, size, case.way(policy))
        )
    head = min(heads) - 0.15 * line
    values = {policy: [value(found, policy, row) for row in rows] for policy in policies}
    # Signs as large as go in: rows take as many lines as their larger side needs.
    pitch = line * 1.05
    while True:
        columns = max(int(side / (1.25 * pitch)), 5)
        lines = [
            max(max(math.ceil(round(max(values[p][i], 0)) / columns) for p in policies), 1)
            for i in range(len(rows))
        ]
        # A row is at least as high as its words.
        heights = [max(1.35 * line, n * pitch + 0.35 * line) for n in lines]
        if sum(heights) <= head - low or pitch < 0.25 * line:
            break
        pitch *= 0.96
    spare = max(head - low - sum(heights), 0) / len(rows)
    y = head
    for i, (row, tall) in enumerate(zip(rows, heights, strict=True)):
        tall += spare
        at = y - tall / 2
        center = left + side + count_room + middle / 2 if sides == 2 else left + middle - 0.3 * line
        weight = "bold" if row is end or row.words == "harvested" else "normal"
        figure.text(center / wide, at / high, row.words, size=size, va="center", weight=weight,
                    ha="center" if sides == 2 else "right")  # fmt: skip
        for k, policy in enumerate(policies):
            number = values[policy][i]
            mirrored = sides == 2 and k == 0
            edge = left + side + count_room if mirrored else left + width - side - count_room
            if sides == 1:
                edge = left + middle
            figure.text((edge + (-0.25 if mirrored else 0.25) * line) / wide, at / high,
                        whole(number), size=1.15 * size, weight="bold", va="center",
                        ha="right" if mirrored else "left")  # fmt: skip
            _signs(figure, row.glyph, max(round(number), 0), columns, pitch, mirrored,
                   edge + (-count_room if mirrored else count_room), at)  # fmt: skip
        y -= tall
        if i < len(rows) - 1:
            _rule(figure, left, y, width)


def _signs(
    figure: Figure, glyph: str, count: int, columns: int, pitch: float, mirrored: bool, edge: float,
    middle: float,
) -> None:  # fmt: skip
    """So many signs in lines from an edge outward, with their middle at a height (in)."""
    if not count:
        return
    # A pitch is 22 bin units; the largest sign is 21 units long.
    large = {"egg": 3.0, "larva": 1.0, "pupa": 1.15, "beetle": 0.95}[glyph]
    columns = min(columns, count)
    scene = plain.signs([glyph] * count, columns, (22, 17.6), large)
    if mirrored:
        for k, item in enumerate(scene.items):
            scene.items[k] = _turned(item, scene.width)
    wide = columns * 1.25 * pitch
    tall = wide * scene.height / scene.width
    plain.picture(figure, scene, edge - wide if mirrored else edge, middle - tall / 2, wide, tall)


def _turned(item, width: float):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    at = item.at
    return replace(item, at=replace(at, x=width - at.x, across=-at.across))


def _rule(figure: Figure, left: float, y: float, width: float) -> None:
    from matplotlib.lines import Line2D

    wide, high = figure.get_size_inches()
    figure.add_artist(Line2D([left / wide, (left + width) / wide], [y / high, y / high],
                             color=style.SHADE, linewidth=1.2))  # fmt: skip
