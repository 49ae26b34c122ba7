"""One page of a comparison for the club: a handout in two paper sizes, and a poster."""

from __future__ import annotations

from pathlib import Path

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from colony_sim.atomic import new_file
from colony_sim.experiment.units import House, using
from colony_sim.figures import plain, style
from colony_sim.studies.comparison.leans_on import DAYS_A_YEAR, what_would_tell, worth_naming
from colony_sim.studies.comparison.seven import answer, cost, rack, sure, why
from colony_sim.studies.comparison.seven.case import Case
from colony_sim.words.estimate import dashed, short
from colony_sim.words.units import show
from colony_sim.worklist import cautions

SIZES = {
    "handout-a4.pdf": (8.268, 11.693), "handout-letter.pdf": (8.5, 11.0),
    "poster.pdf": (23.386, 33.110),
}  # fmt: skip
"""Width and height (in): ISO 216 A4; US Letter; ISO 216 A1, which prints on A2 as well."""
Two = tuple[float, float]
_A4 = SIZES["handout-a4.pdf"]
MARGIN, TITLE, HEAD, BODY, SMALL = 0.55, 19.0, 12.0, 9.5, 7.5
"""In inches and points, on A4; all grows with the paper."""


def write_in(house: House, case: Case, folder: Path) -> tuple[str, ...]:
    """As `write`, in the units of a house, for another process; the names."""
    with using(house):
        return tuple(path.name for path in write(case, folder))


def write(case: Case, folder: Path) -> list[Path]:
    """Write the pages of all `SIZES`; the same case gives the same bytes."""
    about = {"CreationDate": None, "Creator": "colony_sim", "Producer": None}
    paths = []
    with style.theme():
        for name, (wide, high) in SIZES.items():
            with new_file(folder / name) as file, PdfPages(file, metadata=about) as pages:
                pages.savefig(page(case, wide, high))
            paths.append(folder / name)
    return paths


def page(case: Case, wide: float, high: float) -> Figure:
    """The page: question, answer, racks, how sure, larvae, why, costs, at home, cautions."""
    # What A4 is drawn in, put on this paper as large as it goes.
    unit = min(wide / _A4[0], high / _A4[1])
    figure = Figure(figsize=(wide, high), facecolor="white")
    left, width = MARGIN * unit, wide - 2 * MARGIN * unit
    head = case.results.manifest["experiment"]
    asked = " ".join(str(head.get("question") or "Which way gives more larvae?").split())
    y = plain.write(figure, left, high - 0.45 * unit, asked, TITLE * unit, width, weight="bold")
    y = _answer(figure, case, left, y - 0.08 * unit, width, unit)
    low = _foot(figure, case, left, width, unit)
    gap, row = 0.14 * unit, 0.3 * unit
    # The rest of the page, shared out.
    room = y - low - 4 * gap - 4 * row
    shares = dict(zip(("rack", "sure", "why", "cost"), (0.27, 0.24, 0.29, 0.20), strict=True))
    if not rack.held_by(case):
        shares["rack"] = 0.0
    total = sum(shares.values())
    half = (width - 0.35 * unit) / 2
    right = left + half + 0.35 * unit
    for name, share in shares.items():
        tall = room * share / total
        if not tall:
            continue
        y -= gap
        top, bottom = y - row, y - row - tall
        _PARTS[name](figure, case, (left, right), (half, width), top, bottom, y, unit)
        y = bottom
    return figure


def _answer(
    figure: Figure, case: Case, left: float, top: float, width: float, unit: float
) -> float:
    title = plain.title(lambda quote: answer.finding(case, quote), case.policies)
    words = case.answer if title in case.answer else f"{title}. {case.answer}"
    size = 14.0 if len(words) < 200 else 12.0
    return plain.write(figure, left, top, words, size * unit, width, weight="bold")


def _foot(figure: Figure, case: Case, left: float, width: float, unit: float) -> float:
    """Cautions and what this is, at the foot; the height above them."""
    size = SMALL * unit
    lines = []
    for one in (*[one.short for one in cautions.ALL], _provenance(case)):
        lines += plain.wrapped(one, size, width)
    tall = len(lines) * size * plain.LINE / 72
    low = 0.4 * unit
    plain.write(figure, left, low + tall, "\n".join(lines), size, color=style.QUIET)
    _head(figure, "Take care", left, low + tall + 0.26 * unit, unit)
    return low + tall + 0.3 * unit


def _provenance(case: Case) -> str:
    head = case.results.manifest["experiment"]
    text = "All of this is about a model of a colony, not about a real one"
    text += "; the scenario is invented" if case.results.invented else ""
    return f"{text}. Experiment {head['name']}, {case.runs}, {head['days']} days."


def _head(figure: Figure, text: str, left: float, y: float, unit: float) -> None:
    plain.write(figure, left, y, text, HEAD * unit, weight="bold")


def _racks(
    figure: Figure, case: Case, lefts: Two, widths: Two, top: float, bottom: float, head: float,
    unit: float,
) -> None:  # fmt: skip
    _head(figure, "How it was tried", lefts[0], head, unit)
    line = BODY * unit * plain.LINE / 72
    lines = plain.wrapped(rack.how_tried(case), BODY * unit, widths[1])
    low = bottom + len(lines) * line + 0.05 * unit
    rack.draw(figure, case, rack.held_by(case), lefts[0], low, widths[1], top, 11 * unit)
    plain.write(figure, lefts[0], low, "\n".join(lines), BODY * unit)


def _sure(
    figure: Figure, case: Case, lefts: Two, widths: Two, top: float, bottom: float, head: float,
    unit: float,
) -> None:  # fmt: skip
    _head(figure, "Larvae a day", lefts[1], head, unit)
    table = answer.amounts(case)
    answer.bowls(figure, case, table, lefts[1], bottom, widths[0], top,
                 (11 if len(table) <= 2 else 7.5) * unit, len(table) > 2)  # fmt: skip
    if case.kind == "one":
        return
    counts, of, right = sure.told(case)
    _head(figure, f"How sure: of {of}", lefts[0], head, unit)
    side = min(top - bottom, 0.5 * widths[0])
    sure.dots(figure, case, counts, lefts[0], top - side, side)
    sure.key(figure, case, counts, lefts[0] + side + 0.15 * unit, top, bottom,
             widths[0] - side - 0.15 * unit, right, 10 * unit)  # fmt: skip


def _why(
    figure: Figure, case: Case, lefts: Two, widths: Two, top: float, bottom: float, head: float,
    unit: float,
) -> None:  # fmt: skip
    shown = tuple(policy for policy in case.pair if policy in case.eggs.known)
    if not shown:
        return
    end = why.telling(case.eggs, shown)
    _head(figure, "Where 100 eggs go", lefts[0], head, unit)
    why.draw(figure, case, shown, why.ends(case.eggs, shown), end, lefts[0], bottom, widths[1],
             top, 10 * unit)  # fmt: skip


def _costs(
    figure: Figure, case: Case, lefts: Two, widths: Two, top: float, bottom: float, head: float,
    unit: float,
) -> None:  # fmt: skip
    _head(figure, "What it costs", lefts[0], head, unit)
    cost.draw(figure, case, cost.costs(case), lefts[0], bottom, widths[0], top, 9 * unit)
    _head(figure, "Find out at home", lefts[1], head, unit)
    found = case.leaning
    if found is None:
        plain.write(figure, lefts[1], top, "Try both side by side in your own bins.", BODY * unit,
                    widths[0])  # fmt: skip
        return
    y = plain.write(figure, lefts[1], top, dashed(what_would_tell(found)), 1.1 * BODY * unit,
                    widths[0])  # fmt: skip
    for row in worth_naming(found.table).iloc[1:2].itertuples():
        text = f"Or {row.label}: {row.measurement}."
        y = plain.write(figure, lefts[1], y - 0.08 * unit, text, BODY * unit, widths[0])
    worth = f"Knowing everything would be worth {show(DAYS_A_YEAR * found.evpi, 'g/yr', short)}."
    plain.write(figure, lefts[1], y - 0.08 * unit, worth, BODY * unit, widths[0],
                color=style.QUIET)  # fmt: skip


_PARTS = {"rack": _racks, "sure": _sure, "why": _why, "cost": _costs}
