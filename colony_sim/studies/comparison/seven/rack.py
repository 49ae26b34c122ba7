"""Slide 2: the racks, and how they were tried."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure

from colony_sim.drawing.content import RackContent, Scale
from colony_sim.drawing.rack import across_of, extent, rack_scene
from colony_sim.figures import plain, style
from colony_sim.figures.slide import Slide
from colony_sim.studies.comparison.racks import day_shown, rack_on
from colony_sim.studies.comparison.seven.case import Case

STAGES = ("eggs", "larvae", "pupae", "adults")


def slide(case: Case) -> Slide | None:
    """The racks of one run under the two policies, the same day; None without a run to show."""
    held = held_by(case)
    if case.traces is None or not held:
        return None
    day = day_shown(case.traces, case.pair)
    title = _title(case)
    tried = how_tried(case)
    counts = "; ".join(_counted(policy, rack) for policy, rack in held.items())
    return Slide(
        name="rack",
        title=title,
        say=f"{title}. {tried} What is drawn is day {day} of one run of each, counted by the "
        f"model: {counts}.",
        caveat="One day of one run: it shows how the racks are kept, not which is better. The day "
        "is the middle of those that are measured. One drawn insect stands for several; their "
        "numbers are in the table.",
        alt=f"Racks of bins in section, on day {day}: {counts}.",
        data=_data(held, day),
        paint=lambda: _figure(case, held, title, tried),
        runs=f"1 run a policy, its seed {case.traces.seed}",
        talk=True,
    )


def _title(case: Case) -> str:
    if len(case.pair) == 1:
        return "The rack, bin by bin"
    one, two = (case.results.handling(policy) for policy in case.pair)
    changed = sum(one[key] != two.get(key) for key in one)
    more = len(case.policies) - 2
    rack = "Two racks" if not more else f"Two of {len(case.policies)} racks"
    return f"{rack}, alike but for {'one rule' if changed == 1 else 'the rules tried'}"


def how_tried(case: Case) -> str:
    """Colonies, days and founders, in two sentences."""
    head = case.results.manifest["experiment"]
    days = int(head["days"])
    long = f"{days / 365.25:.1f} years" if days >= 730 else f"{days} days"
    runs = case.results.runs.groupby("policy").size().max()
    many = (
        f"{case.colonies} possible colonies" if case.colonies
        else f"{runs} run{'' if runs == 1 else 's'} a policy"
    )  # fmt: skip
    return (
        f"Tried in {many}, for {long} each. Every rack starts with the same "
        f"{int(head['breeders']):,} beetles and {int(head['larvae']):,} larvae."
    )


def _counted(policy: str, rack: RackContent | None) -> str:
    if rack is None:
        return f"under “{policy}” the colony had died out"
    used = sum(one.phase != "free" for one in rack.bins)
    parts = [f"{sum(getattr(one, s) for one in rack.bins):,} {_WORDS[s]}" for s in STAGES]
    tray = ""
    if rack.tray is not None:
        tray = f", on the tray {rack.tray['pupae']:,} pupae and {rack.tray['adults']:,} beetles"
    return f"under “{policy}” {used} of {len(rack.bins)} bins with {', '.join(parts)}{tray}"


_WORDS = {"eggs": "eggs", "larvae": "larvae", "pupae": "pupae", "adults": "beetles"}


def _data(held: dict[str, RackContent | None], day: int) -> pd.DataFrame:
    rows = []
    for policy, rack in held.items():
        for one in rack.bins if rack else ():
            rows.append({
                "policy": policy, "day": day, "bin": one.number, "phase": one.phase,
                **{stage: getattr(one, stage) for stage in STAGES},
                "larva_mg": round(one.larva_mg, 2), "bran_g": one.bran_g, "frass_g": one.frass_g,
                "visible_skins": one.skins, "moist": one.moist,
            })  # fmt: skip
    return pd.DataFrame(rows)


def draw(
    figure: Figure, case: Case, held: dict[str, RackContent | None], left: float, low: float,
    width: float, top: float, size: float, scale: float = 1.0,
) -> None:  # fmt: skip
    """The racks side by side under their names, in a box given in inches."""
    known = [rack for rack in held.values() if rack is not None]
    one = Scale.of(known)
    gap = 0.5 * scale
    wide = (width + gap) / len(held) - gap
    floors = []
    for k, policy in enumerate(held):
        x = left + k * (wide + gap)
        floors.append(
            plain.named(figure, x, top, case.index(policy), policy, wide, size, case.way(policy))
        )
    head = min(floors) - 0.1 * scale
    for k, rack in enumerate(held.values()):
        x = left + k * (wide + gap)
        if rack is None:
            plain.write(figure, x, head - 0.5 * scale, "the colony has died out", size)
            continue
        across = across_of(len(rack.bins)) if len(rack.bins) < 7 else _across(rack, wide, head, low)
        scene = rack_scene(rack, one, across, label=False)
        plain.picture(figure, scene, x, low, wide, head - low)


def _across(rack: RackContent, wide: float, head: float, low: float) -> int:
    """Bins side by side that make the drawing largest in the box."""

    def unit(across: int) -> float:
        width, height = extent(rack, across)
        return min(wide / width, (head - low) / height)

    return max(range(2, len(rack.bins) + 1), key=unit)


def _figure(case: Case, held: dict[str, RackContent | None], title: str, tried: str) -> Figure:
    figure, y = plain.new(title)
    width = style.WIDTH - 2 * plain.MARGIN
    draw(figure, case, held, plain.MARGIN, 1.75, width, y - 0.2, 24)
    plain.write(figure, plain.MARGIN, 1.6, tried, 22, width)
    plain.foot(figure, case.results.invented)
    return figure


def held_by(case: Case) -> dict[str, RackContent | None]:
    """The racks that the slide shows; empty without a run to show."""
    if case.traces is None:
        return {}
    day = day_shown(case.traces, case.pair)
    held = {policy: rack_on(case.traces, policy, day) for policy in case.pair}
    return held if any(held.values()) else {}
