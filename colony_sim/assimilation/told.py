"""What is told of a rack, as types: ranges of what is in each bin, next steps, the next move."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colony_sim.assimilation import lived
from colony_sim.assimilation.asked import Asked
from colony_sim.assimilation.courses import COURSES, WAITS, Courses, waiting
from colony_sim.assimilation.look import Look, best
from colony_sim.assimilation.misfit import Misfit
from colony_sim.assimilation.onward import Course
from colony_sim.assimilation.today import State
from colony_sim.colony.bins import Phase
from colony_sim.logs.words import LogAction

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
SURE = 0.9
"""Probability with which the breeders must not run short for a share to be called safe."""
BOUGHT_WEEKS = 4
"""Weeks for which bought beetles are to be enough: what comes later is told too roughly."""
WORK_DAYS = 7
_STEPS = {"moisture": 1, "harvest": 2, "pupae": 3, "free": 4}


@dataclass(frozen=True)
class Range:
    """Median, and the limits of 50 and 90 %."""

    low_90: float
    low_50: float
    median: float
    high_50: float
    high_90: float

    @classmethod
    def of(cls, ends: np.ndarray) -> Range:
        """From quantiles at `LEVELS`."""
        return cls(*(float(end) for end in ends))


@dataclass(frozen=True)
class Step:
    """What happens next to a bin.

    Attributes
    ----------
    what : str
        "moisture", "harvest", "pupae", "free" or "beetles out".
    probability : float
        That it happens within the weeks to come.
    days : Range
        From today; `lived.NEVER` stands for later.
    """

    what: str
    probability: float
    days: Range


@dataclass(frozen=True)
class BinTold:
    """One bin, or the tray (phase "tray").

    Attributes
    ----------
    name : str
    phase : str
    beetles_in, beetles_out : datetime.date or None
    skins : datetime.date or None
        On which the log first saw some since the bin was filled.
    moist : bool
    contents : dict of str to Range
        By `lived.CONTENTS`, and "larvae" of all sizes.
    known : dict of str to float, or None
        See `today.State.known`.
    steps : tuple of Step
        The likely ones first in time.
    """

    name: str
    phase: str
    beetles_in: datetime.date | None
    beetles_out: datetime.date | None
    skins: datetime.date | None
    moist: bool
    contents: Mapping[str, Range]
    known: Mapping[str, float] | None
    steps: tuple[Step, ...]

    @property
    def next(self) -> Step | None:
        """The first step that is more likely than not."""
        likely = [step for step in self.steps if step.probability > 0.5 and step.what != "pupae"]
        return min(likely, key=lambda step: step.days.median, default=None)


@dataclass(frozen=True)
class Move:
    """The next move of the beetles.

    Attributes
    ----------
    bins : tuple of str
        Bins that the beetles are in.
    days_in : int
        Since they went in.
    due : Range
        Days from today by the rules; at or below 0 if overdue.
    by_date : bool
        Whether the rules name the day.
    interval : float
        Days between moves, of the rules.
    """

    bins: tuple[str, ...]
    days_in: int
    due: Range
    by_date: bool
    interval: float


@dataclass(frozen=True)
class Wait:
    """What waiting costs in the weeks to come, against moving the beetles tomorrow.

    Tomorrow is the day after `Told.waits_on`, if there is one.
    """

    days: int
    grams: Range
    hatched: Range


@dataclass(frozen=True)
class WhatIf:
    """What another course brings in the weeks to come, beside the rules.

    Attributes
    ----------
    course : Course
    grams, hatched, beetles : Range
        What it brings more: harvested (g), eggs that hatch, breeders at the end.
    """

    course: Course
    grams: Range
    hatched: Range
    beetles: Range


@dataclass(frozen=True)
class Floor:
    """The fewest beetles that the keeper wants, and why these."""

    beetles: int
    why: str


@dataclass(frozen=True)
class Take:
    """What may be taken at harvests.

    Attributes
    ----------
    fraction : float
        Share of the larvae of harvest size: the largest tried with which enough beetles are
        `SURE`, else that with which they are most likely.
    probability : float
        That at least as many beetles as the floor are there in all weeks to come.
    rule : float
        That of the rules.
    worst : float
        That of the share tried with which they are least likely.
    tried : tuple of float
        Least and largest share tried.
    floor : Floor
    by_bin : dict of str to (Range, Range)
        Larvae, and grams, that may be taken from each bin now.
    """

    fraction: float
    probability: float
    rule: float
    worst: float
    tried: tuple[float, float]
    floor: Floor
    by_bin: Mapping[str, tuple[Range, Range]]

    @property
    def is_sure(self) -> bool:
        """Whether the breeders do not run short."""
        return self.probability >= SURE


@dataclass(frozen=True)
class Buy:
    """Whether beetles must be bought, by the rules.

    Attributes
    ----------
    probability : float
        That fewer than the floor are there, today or at the end of a week to come.
    already : float
        That there are fewer today.
    on : datetime.date or None
        End of the first week by which that is more likely than not; today if it is already so.
    beetles : int
        So many more, and the floor is `SURE` for `BOUGHT_WEEKS` from then, if none of them dies.
    """

    probability: float
    already: float
    on: datetime.date | None
    beetles: int


@dataclass(frozen=True)
class Told:
    """All of it."""

    on: datetime.date
    bins: tuple[BinTold, ...]
    tray: BinTold
    rack: Mapping[str, Range]
    known: Mapping[str, float]
    harvest_g: tuple[Range, ...]
    move: Move | None
    waits: tuple[Wait, ...]
    take: Take
    buy: Buy
    misfit: Misfit | None
    members: int
    near: int
    effective: float
    resumed: bool
    what_if: WhatIf | None = None
    waits_on: datetime.date | None = None
    """The day on which waiting was tried, where that is before today."""
    look: Look | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing has gone into a bin."""
        free = all(bin_.phase == Phase.FREE.value for bin_ in self.bins)
        return free and self.rack["beetles"].high_90 < 1

    @property
    def work(self) -> list[tuple[BinTold, Step]]:
        """What is to be done within `WORK_DAYS`, the first first."""
        found = [
            (bin_, step)
            for bin_ in self.bins
            for step in bin_.steps
            if step.probability > 0.5 and step.days.median <= WORK_DAYS and step.what != "pupae"
        ]
        return sorted(found, key=lambda one: one[1].days.median)


def tell(asked: Asked, state: State, floor: Floor | None = None) -> Told:
    """Put what was found into types.

    Parameters
    ----------
    asked : Asked
    state : State
    floor : Floor, optional
        Default: the number last counted at a move, else what is in the breeding bins today.
    """
    draws, ensemble = state.draws, state.ensemble
    contents = draws.quantiles(draws.values["contents"], LEVELS)
    larvae = draws.quantiles(draws.values["larvae"], LEVELS)

    def held(slot: int) -> dict[str, Range]:
        found = _ranges(contents[:, slot])
        return found | {"larvae": Range.of(larvae[:, slot])}

    phases = [list(Phase)[int(place)] for place in state.uses[:, 0]]
    names = bin_names(ensemble.schedule.bins, len(phases))
    move = _move(asked, state, phases, names)
    bins = []
    for slot, (phase, name) in enumerate(zip(phases, names, strict=True)):
        _, date_in, date_out, moist = state.uses[slot].tolist()
        bins.append(BinTold(
            name, phase.value, _date(asked, date_in), _date(asked, date_out),
            _skins(asked, name, _date(asked, date_in)), bool(moist), held(slot),
            _known(state, slot), _steps(state, slot, phase, bool(moist), move),
        ))  # fmt: skip
    tray = BinTold("tray", "tray", None, None, None, False, held(-1), _known(state, -1), ())
    rack = draws.quantiles(draws.values["rack"], LEVELS)
    here = _ranges(rack)
    rack_larvae = draws.quantiles(draws.values["rack_larvae"], LEVELS)
    if floor is None:
        floor = _counted(asked) or _breeding(bins)
    total = draws.quantiles(draws.values["harvested_g"], LEVELS)
    return Told(
        on=asked.on,
        bins=tuple(bins),
        tray=tray,
        rack=here | {"larvae": Range.of(rack_larvae[:, 0])},
        known=state.known_overall,
        harvest_g=tuple(Range.of(total[:, week]) for week in range(lived.WEEKS)),
        move=move,
        waits=_waits(state.otherwise) if move is not None else (),
        take=_take(state, floor, bins),
        buy=_buy(asked, state, floor),
        misfit=state.misfit,
        members=state.lived_members,
        near=len(state.members),
        effective=draws.effective,
        resumed=state.resumed,
        what_if=_what_if(state.otherwise),
        waits_on=_tried_before(asked, state.otherwise),
        look=best(draws, list(zip(names, phases, strict=True)), ensemble.seed),
    )


def _tried_before(asked: Asked, courses: Courses | None) -> datetime.date | None:
    if courses is None or courses.day == asked.ensemble.today:
        return None
    return _date(asked, courses.day)


def bin_names(logged: Sequence[str], bins: int) -> list[str]:
    """Names of bins by slot: those of the log, then numbers that it does not use."""
    names = list(logged)
    number = 1
    while len(names) < bins:
        if str(number) not in names:
            names.append(str(number))
        number += 1
    return names


def _ranges(ends: np.ndarray) -> dict[str, Range]:
    return {name: Range.of(ends[:, k]) for k, name in enumerate(lived.CONTENTS)}


def _known(state: State, slot: int) -> dict[str, float] | None:
    if state.known is None:
        return None
    return dict(zip(lived.CONTENTS, state.known[slot].tolist(), strict=True))


def _date(asked: Asked, day: float) -> datetime.date | None:
    if math.isnan(day):
        return None
    return asked.ensemble.schedule.start + datetime.timedelta(days=day)


def _skins(asked: Asked, name: str, since: datetime.date | None) -> datetime.date | None:
    """When skins were first seen in a bin that was filled on a day."""
    if since is None:
        return None
    seen = (
        entry.date
        for entry in asked.logbook.entries
        if entry.action is LogAction.SKINS_SEEN and entry.bin == name
    )
    return min((day for day in seen if since <= day <= asked.on), default=None)


def _steps(
    state: State, slot: int, phase: Phase, moist: bool, move: Move | None
) -> tuple[Step, ...]:
    if phase is Phase.FREE:
        return ()
    firsts = state.draws.values["firsts"][:, slot]
    found = []
    for what, place in _STEPS.items():
        if what == "moisture" and (moist or phase is Phase.BREEDING):
            continue
        days = firsts[:, place]
        happens = float(state.draws.probability(days <= lived.DAYS + 0.5))
        ends = state.draws.quantiles(days[:, None], LEVELS)[:, 0]
        found.append(Step(what, happens, Range.of(ends)))
    if phase is Phase.BREEDING and move is not None:
        found.append(Step("beetles out", 1.0, move.due))
    return tuple(sorted(found, key=lambda step: step.days.median))


def _move(asked: Asked, state: State, phases: Sequence[Phase], names: Sequence[str]) -> Move | None:
    breeding = [slot for slot, phase in enumerate(phases) if phase is Phase.BREEDING]
    if not breeding:
        return None
    p, today = asked.ensemble.parameters, asked.ensemble.today
    days_in = today - int(np.nan_to_num(state.uses[breeding, 1]).max())
    by_date = p["rotation.when"] == "by_date"
    if by_date:
        due = Range(*[float(p["rotation.interval_days"] - days_in)] * 5)
    else:
        due = Range.of(state.draws.quantiles(state.draws.values["move"], LEVELS)[:, 0])
    interval = float(p["rotation.interval_days"])
    return Move(tuple(names[slot] for slot in breeding), days_in, due, by_date, interval)


def _waits(courses: Courses | None) -> tuple[Wait, ...]:
    if courses is None:
        return ()
    return tuple(
        Wait(
            days,
            Range.of(courses.cost(courses.harvested_g, waiting(days), LEVELS)),
            Range.of(courses.cost(courses.hatched, waiting(days), LEVELS)),
        )
        for days in WAITS
    )


def _what_if(courses: Courses | None) -> WhatIf | None:
    if courses is None or len(courses.courses) == len(COURSES):
        return None
    course = courses.courses[-1]

    def more(what: np.ndarray) -> Range:
        return Range.of(-courses.cost(what, course, LEVELS[::-1], lived.BY_THE_RULES))

    return WhatIf(course, more(courses.harvested_g), more(courses.hatched),
                  more(courses.beetles[:, :, -1]))  # fmt: skip


def _counted(asked: Asked) -> Floor | None:
    """What the keeper last counted when beetles were moved."""
    rows = [
        entry
        for entry in asked.logbook.entries
        if entry.action in (LogAction.BEETLES_IN, LogAction.BEETLES_OUT)
        and entry.count
        and entry.date <= asked.on
    ]
    if not rows:
        return None
    last = max(rows, key=lambda entry: entry.date)
    return Floor(
        round(last.given("count")), f"as many as you moved on {last.date.day} {last.date:%b}"
    )


def _breeding(bins: Sequence[BinTold]) -> Floor:
    here = [b.contents["beetles"].median for b in bins if b.phase == Phase.BREEDING.value]
    return Floor(max(1, round(sum(here))), "as many as are in with the breeders today")


def _take(state: State, floor: Floor, bins: Sequence[BinTold]) -> Take:
    rule = float(state.ensemble.parameters["harvest.fraction"])
    least = state.draws.values["beetles"].min(axis=1)
    by_rule = float(state.draws.probability(least >= floor.beetles))
    tried = {rule: by_rule} | _by_share(state.otherwise, floor, by_rule)
    sure = [share for share, probability in tried.items() if probability >= SURE]
    share = max(sure) if sure else max(tried, key=lambda one: (tried[one], -one))
    by_bin = {
        bin_.name: (_times(bin_.contents["large_larvae"], share),
                    _times(bin_.contents["large_g"], share))
        for bin_ in bins
        if bin_.phase == Phase.GROWING.value
    }  # fmt: skip
    shares = min(tried), max(tried)
    return Take(share, tried[share], by_rule, min(tried.values()), shares, floor, by_bin)


def _by_share(courses: Courses | None, floor: Floor, by_rule: float) -> dict[float, float]:
    """Probability of enough beetles by the share that is taken.

    Other shares are tried in a part of the colonies only: what they change there is added.
    """
    if courses is None:
        return {}
    enough = courses.weights @ (courses.beetles.min(axis=2) >= floor.beetles)
    return {
        course.fraction: float(np.clip(by_rule + share - enough[0], 0.0, 1.0))
        for course, share in zip(courses.courses, enough, strict=True)
        if course.fraction is not None and course in COURSES
    }


def _times(one: Range, share: float) -> Range:
    return Range(*(share * end for end in (
        one.low_90, one.low_50, one.median, one.high_50, one.high_90,
    )))  # fmt: skip


def _buy(asked: Asked, state: State, floor: Floor) -> Buy:
    draws = state.draws
    today = draws.values["rack"][:, lived.CONTENTS.index("beetles")]
    course = np.column_stack([today, draws.values["beetles"]])
    short = draws.probability(np.minimum.accumulate(course, axis=1) < floor.beetles)
    if short[-1] <= 0.5:
        return Buy(float(short[-1]), float(short[0]), None, 0)
    week = int(np.argmax(short > 0.5))
    least = course[:, week : week + BOUGHT_WEEKS + 1].min(axis=1)[:, None]
    low = float(draws.quantiles(least, (1 - SURE,))[0, 0])
    on = asked.on + datetime.timedelta(days=7 * week)
    return Buy(float(short[-1]), float(short[0]), on, max(1, math.ceil(floor.beetles - low)))
