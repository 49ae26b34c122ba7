"""What is drawn of a run today: its bins, the tray and the bowl, and what moved between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from colony_sim.colony import binlog
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.keeper import Keeper
from colony_sim.drawing.content import BinContent, RackContent, Scale
from colony_sim.explore.session import WINDOW, Run
from colony_sim.population.census import ADULTS, PUPAE

TRAY, BOWL = "tray", "bowl"
#: Signs that go together at most.
_TOGETHER = 7
#: Sign of what goes, and the kind whose scale tells how many of them.
_GOES = {
    Action.HARVEST: ("larva", "larvae"),
    Action.PUPAE_TO_TRAY: ("pupa", "pupae"),
    Action.FROM_TRAY: ("beetle", "adults"),
    Action.COLLECTED: ("beetle", "adults"),
    Action.BEETLES_OUT: ("beetle", "adults"),
    Action.CLEARED: ("larva", "larvae"),
}


@dataclass(frozen=True)
class Flight:
    """Signs that go from one place to another.

    Attributes
    ----------
    glyph : str
    begin, end : int or str
        Place of a bin in the rack, from 0, or `TRAY` or `BOWL`.
    signs : int
    """

    glyph: str
    begin: int | str
    end: int | str
    signs: int


def rack_now(run: Run, bowl: float) -> RackContent:
    """The rack at the end of the run's day.

    Parameters
    ----------
    run : Run
    bowl : float
        Larvae in the bowl: what a day gives.
    """
    colony = run.colony
    tray = colony.table[colony.tray]
    return RackContent(
        [_content(run, bin_) for bin_ in colony.bins],
        {"pupae": int(tray[PUPAE]), "adults": int(tray[ADULTS])},
        round(bowl),
    )


def in_bowl(run: Run, day: int) -> float:
    """Larvae that the rack gave a day, over the days until `day` that `Run.gives` averages."""
    last = run.columns["harvest_larvae"][max(0, min(run.day, day) - WINDOW) :]
    return sum(last) / len(last) if last else 0.0


def _content(run: Run, bin_: Bin) -> BinContent:
    eggs, larvae, pupae, adults = bin_.counts
    return BinContent(
        number=bin_.label,
        phase=bin_.phase.value,
        eggs=eggs,
        larvae=larvae,
        pupae=pupae,
        adults=adults,
        larva_mg=1000 * bin_.larvae_g / larvae if larvae else 0.0,
        bran_g=bin_.bran_g,
        frass_g=bin_.frass_g,
        skins=bin_.visible_skins,
        moist=bin_.moisture_g > 0,
        label=(_on_label(run, bin_),),
    )


def _on_label(run: Run, bin_: Bin) -> str:
    colony, p = run.colony, run.scenario.parameters
    if bin_.phase is Phase.FREE:
        return "free"
    if bin_.phase is Phase.GROWING:
        return f"out {colony.day - (bin_.date_out or 0)} d"
    # A keeper of one's own need not go by the date of the last move.
    if p["rotation.when"] == "by_date" and isinstance(colony.keeper, Keeper):
        return f"day {colony.day - colony.keeper.last_move} of {p['rotation.interval_days']}"
    return f"in {colony.day - (bin_.date_in or 0)} d"


def breeding(run: Run) -> list[int]:
    """Places of the bins that the beetles are in."""
    return [bin_.index for bin_ in run.colony.bins if bin_.phase is Phase.BREEDING]


def flights(run: Run, scale: Scale) -> list[Flight]:
    """What the keeper moved on the run's day, from its bin log."""
    rows = []
    for row in reversed(run.colony.binlog.rows):
        found = dict(zip(binlog.COLUMNS, row, strict=True))
        if found["day"] != run.day:
            break
        rows.append(found)
    goes = []
    for row in reversed(rows):
        action = Action(row["action"])
        if action not in _GOES:
            continue
        glyph, kind = _GOES[action]
        signs = scale.signs(kind, row[kind] or 0, _TOGETHER)
        begin = TRAY if row["bin"] is None else row["bin"] - 1
        for end in _ends(action, row, rows, run):
            if signs and end != begin:
                goes.append(Flight(glyph, begin, end, signs))
    return goes


def _ends(
    action: Action, row: dict[str, Any], rows: list[dict[str, Any]], run: Run
) -> list[int | str]:
    if action is Action.HARVEST:
        return [BOWL]
    if action is Action.PUPAE_TO_TRAY:
        return [TRAY]
    if action is Action.CLEARED:
        return [] if row["heir"] is None else [row["heir"] - 1]
    if action is Action.BEETLES_OUT:
        return [one["bin"] - 1 for one in rows if one["action"] == Action.BEETLES_IN]
    return list(breeding(run))


def in_words(rack: RackContent, day: int) -> str:
    """The rack in a sentence, for those who do not see it."""
    count = {phase: sum(one.phase == phase for one in rack.bins) for phase in Phase}
    larvae = sum(one.larvae for one in rack.bins)
    beetles = sum(one.adults for one in rack.bins)
    tray = rack.tray or {}
    return (
        f"A rack of {len(rack.bins)} bins on day {day}: beetles in {count[Phase.BREEDING]}, "
        f"larvae growing in {count[Phase.GROWING]}, {count[Phase.FREE]} free; {larvae:,} larvae, "
        f"{beetles:,} beetles, {tray.get('pupae', 0):,} pupae on the tray."
    )
