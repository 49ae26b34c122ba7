"""From a log to the work it tells of, day by day, and to the numbers it was observed by.

Day 0 is the first date of the log. What cannot have happened (beetles out of a bin that they
were never put into) is a fault with a remedy; what the log leaves open is closed by a stated rule
and told in `Schedule.notes`.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from colony_sim.colony.bins import Phase
from colony_sim.logs.words import (
    LONGEST_LOG_DAYS,
    MOST_BINS,
    TRAY,
    Entry,
    Fault,
    LogAction,
    in_order,
)

#: Days without a row after which the check asks whether something is missing.
LONG_SILENCE_DAYS = 42
#: Beetles that come out for one that was put in, and grams of a harvest, above which a row is
#: doubted. Assumptions, no source: hardly any become beetles within one stay.
MOST_GAIN, LARGEST_HARVEST_G = 1.5, 5000.0
#: Actions of which a number says how many there were. Of the other actions it is given.
_LOOKS = (LogAction.COUNT, LogAction.WEIGHT, LogAction.SAMPLE)
_IN_USE = (
    LogAction.DEAD_BEETLES,
    LogAction.PUPAE_PICKED,
    LogAction.BEETLES_PICKED,
    LogAction.HARVEST,
    LogAction.BEETLES_REMOVED,
    LogAction.SKINS_SEEN,
    LogAction.MOISTURE_STARTED,
    LogAction.BRAN_ADDED,
    *_LOOKS,
)


@dataclass(frozen=True)
class Observed:
    """A number in the log that a simulated log has as well.

    Attributes
    ----------
    entry : Entry
        Where it stands; for totals over the log, the first of its rows.
    day : int
    unit : str
        "count", "grams" or "mg each".
    value : float
        As written, in `unit`.
    error : float
        Its relative standard error.
    """

    entry: Entry
    day: int
    unit: str
    value: float
    error: float

    @property
    def kind(self) -> tuple[str, str, str]:
        """Action, stage and unit: numbers of one kind can be summed."""
        return self.entry.action, self.entry.stage, self.unit


@dataclass(frozen=True)
class Step:
    """One piece of work on a day.

    Attributes
    ----------
    what : str
        Word of the action; "take out", "put in", "leave" and "arrive" for beetles that change
        their bins, leave the log's sight or come into it.
    slot : int
        Place of the bin in the rack, from 0; -1: the tray.
    entry : Entry
    seen : dict of str to int
        By unit, the place among `Schedule.observed` of what this step shows.
    sources, targets : tuple
        Slots that beetles come from, each with its `seen`; slots they go to, each with its share
        and its `seen`.
    """

    what: str
    slot: int
    entry: Entry
    seen: dict[str, int] = field(default_factory=dict)
    sources: tuple[tuple[int, dict[str, int]], ...] = ()
    targets: tuple[tuple[int, float, dict[str, int]], ...] = ()


@dataclass(frozen=True)
class Schedule:
    """A log made ready for replay.

    Attributes
    ----------
    start : datetime.date
        Day 0.
    days : int
        Day of the last row.
    bins : tuple of str
        Names of the bins by slot.
    steps : dict of int to tuple of Step
        Work by day.
    observed : tuple of Observed
    gaps : tuple of (int, int)
        First and last day of stretches that were not written down.
    notes : tuple of str
        How what the log leaves open was closed.
    faults : tuple of Fault
    bran : int or None
        Place among `observed` of the bran given over the whole log.
    moist : frozenset of int
        Slots of which the log tells when moisture started.
    """

    start: datetime.date
    days: int
    bins: tuple[str, ...]
    steps: dict[int, tuple[Step, ...]]
    observed: tuple[Observed, ...]
    gaps: tuple[tuple[int, int], ...]
    notes: tuple[str, ...]
    faults: tuple[Fault, ...]
    bran: int | None
    moist: frozenset[int]

    @property
    def content(self) -> list[Any]:
        """All that decides how it is lived, as plain data for a hash."""
        return [
            repr(sorted(self.steps.items())), repr(self.observed), self.gaps, self.bins,
            sorted(self.moist),
        ]  # fmt: skip

    def written(self, day: int) -> bool:
        """Whether the day is outside all gaps."""
        return not any(first <= day <= last for first, last in self.gaps)


def compile_schedule(entries: Sequence[Entry], numbers_needed: bool = True) -> Schedule:
    """Lay out the work of a log; entries that cannot be are among the faults.

    Parameters
    ----------
    entries : sequence of Entry
    numbers_needed : bool
        Whether a log without a number to learn from is a fault.
    """
    entries, notes = _with_missing_moves(in_order(entries))
    return _Compiler(entries, notes).result(numbers_needed)


def _gaps(entries: Sequence[Entry]) -> list[tuple[datetime.date, datetime.date]]:
    """First and last date of stretches that were not written down."""
    away = (e for e in entries if e.action == LogAction.NOT_WRITTEN)
    return [(e.date, e.until) for e in away if e.until is not None]


def _with_missing_moves(entries: list[Entry]) -> tuple[list[Entry], list[str]]:
    """Put a move into the middle of a gap where beetles come out of a bin not put into."""
    notes: list[str] = []
    for _ in range(len(entries)):
        breeding: dict[str, Entry] = {}
        added: list[Entry] = []
        for entry in entries:
            if entry.action == LogAction.BEETLES_IN:
                breeding[entry.bin] = entry
            elif entry.action == LogAction.BEETLES_OUT:
                if entry.bin not in breeding:
                    added = _missing_move(entry, entries, breeding)
                    if added:
                        day = added[-1].date
                        notes.append(
                            f"row {entry.row}: beetles come out of bin {entry.bin}, which no row "
                            f"put them into; taken as moved there on {day}, the middle of the "
                            "stretch that was not written down"
                        )
                        break
                breeding.pop(entry.bin, None)
        if not added:
            break
        entries = in_order([*entries, *added])
    return entries, notes


def _missing_move(entry: Entry, entries: list[Entry], breeding: dict[str, Entry]) -> list[Entry]:
    since = max((e.date for e in breeding.values()), default=datetime.date.min)
    gaps = [gap for gap in _gaps(entries) if since < gap[1] <= entry.date]
    if not gaps or not breeding:
        return []
    first, last = gaps[-1]
    first = max(first, since + datetime.timedelta(days=1))
    day = first + (last - first) / 2
    blank = replace(entry, date=day, count=None, grams=None, error=None)
    return [
        *(replace(blank, bin=name) for name in breeding),
        replace(blank, action=LogAction.BEETLES_IN),
    ]


class _Compiler:
    """Walks through a log once, knowing what each bin is used for."""

    def __init__(self, entries: list[Entry], notes: list[str]) -> None:
        self.entries, self.notes = entries, notes
        self.faults: list[Fault] = []
        self.slots: dict[str, int] = {}
        self.phase: dict[str, Phase] = defaultdict(lambda: Phase.FREE)
        self.steps: dict[int, list[Step]] = defaultdict(list)
        self.observed: list[Observed] = []
        self.moist: set[int] = set()
        self.in_hand = False
        self.put_in: dict[str, float | None] = {}
        self.start = entries[0].date if entries else datetime.date(2031, 1, 1)

    def result(self, numbers_needed: bool) -> Schedule:
        by_day: dict[int, list[Entry]] = defaultdict(list)
        for entry in self.entries:
            by_day[self._day(entry.date)].append(entry)
        days = max(by_day, default=0)
        if days > LONGEST_LOG_DAYS:
            odd = self._far_row()
            remedy = f"the log spans {days} days: correct the year, or cut the log"
            self.faults.append(Fault(odd.row, "date", str(odd.date), remedy))
        waiting: list[Entry] = []
        for day in sorted(by_day):
            waiting = self._one_day(day, by_day[day], waiting, by_day.get(day + 1, []))
        if len(self.slots) > MOST_BINS:
            remedy = f"{MOST_BINS} bins at most; this log names {len(self.slots)}"
            self.faults.append(Fault(self.entries[0].row, "bin", "", remedy))
        bran = self._bran()
        if numbers_needed and not self.observed and not self.faults:
            remedy = "no row has a number to learn from: add counts or weights of what you see"
            self.faults.append(Fault(1, "count", "", remedy))
        self._silences(sorted(by_day))
        gaps = tuple(self._gaps())
        return Schedule(
            self.start, days, tuple(self.slots), {d: tuple(s) for d, s in self.steps.items()},
            tuple(self.observed), gaps, tuple(self.notes), tuple(self.faults), bran,
            frozenset(self.moist),
        )  # fmt: skip

    # -- one day --------------------------------------------------------------------------

    def _one_day(
        self, day: int, today: list[Entry], waiting: list[Entry], tomorrow: list[Entry]
    ) -> list[Entry]:
        """Lay out a day; returns the beetles taken out that are put in on the next day."""
        # What was seen in a bin on the day it was filled was seen after.
        filled = {e.bin for e in today if e.action in (LogAction.BEETLES_IN, LogAction.LARVAE_IN)}
        filled = {name for name in filled if self.phase[name] == Phase.FREE}
        today = sorted(today, key=lambda e: e.action in _IN_USE and e.bin in filled)
        ins = [e for e in today if e.action == LogAction.BEETLES_IN]
        outs = [*waiting, *(e for e in today if e.action == LogAction.BEETLES_OUT)]
        later: list[Entry] = []
        next_day = {e.action for e in tomorrow} & {LogAction.BEETLES_IN, LogAction.BEETLES_OUT}
        if outs and not ins and not waiting and next_day == {LogAction.BEETLES_IN}:
            outs, later = [], outs
        out = bool(outs) and (bool(waiting) and self._out(day, outs, ins))
        moving, put = bool(outs), False
        for entry in today:
            if entry.action == LogAction.BEETLES_OUT:
                out = out or (moving and self._out(day, outs, ins))
            elif entry.action == LogAction.BEETLES_IN:
                if not moving:
                    self._in(day, entry)
                elif not put:
                    put = True
                    self._put(day, ins)
            elif entry.action != LogAction.NOT_WRITTEN:
                self._other(day, entry)
        return later

    def _out(self, day: int, outs: list[Entry], ins: list[Entry]) -> bool:
        """Beetles come out of bins; true, so that they do so once a day."""
        sources = []
        for entry in outs:
            if self.phase[entry.bin] != Phase.BREEDING:
                remedy = (
                    "the beetles were not in this bin: correct the bin, or write the row 'beetles "
                    "in' for it (the count may stay empty), or a row 'not written' for the time"
                )
                self._fault(entry, "bin", remedy)
                continue
            self.phase[entry.bin] = Phase.GROWING
            self._doubt_beetles(entry)
            sources.append((self._slot(entry.bin), self._see(entry, day)))
        if sources:
            what = "take out" if ins else "leave"
            self.steps[day].append(Step(what, sources[0][0], outs[0], sources=tuple(sources)))
        return True

    def _put(self, day: int, ins: list[Entry]) -> None:
        """Beetles taken out go into bins."""
        counts = [e.count or 0 for e in ins]
        even = not all(counts)
        for entry in ins:
            self.put_in[entry.bin] = entry.count
        targets = []
        for entry, count in zip(ins, counts, strict=True):
            self._make_free(day, entry)
            self.phase[entry.bin] = Phase.BREEDING
            share = 1 / len(ins) if even else count / sum(counts)
            targets.append((self._slot(entry.bin), share, self._see(entry, day)))
        self.steps[day].append(Step("put in", targets[0][0], ins[0], targets=tuple(targets)))

    def _in(self, day: int, entry: Entry) -> None:
        again = self.phase[entry.bin] == Phase.BREEDING
        before = self.put_in.get(entry.bin) if again else 0.0
        more = None if before is None or entry.count is None else before + entry.count
        self.put_in[entry.bin] = more
        if not again:
            self._make_free(day, entry)
            self.phase[entry.bin] = Phase.BREEDING
        slot = self._slot(entry.bin)
        if self.in_hand:
            self.in_hand = False
            step = Step("put in", slot, entry, targets=((slot, 1.0, self._see(entry, day)),))
            self.steps[day].append(step)
            return
        if entry.count is None and entry.grams is None:
            remedy = (
                "where these beetles come from is not in the log (no 'beetles out' on this or the "
                "day before): give their count, a guess with about yes"
            )
            self._fault(entry, "count", remedy)
            return
        self.steps[day].append(Step("arrive", slot, entry))

    def _other(self, day: int, entry: Entry) -> None:
        action, name = entry.action, entry.bin
        if name == TRAY:
            self.in_hand = self.in_hand or action == LogAction.BEETLES_PICKED
            self.steps[day].append(Step(action, -1, entry, self._see(entry, day)))
            return
        if action == LogAction.LARVAE_IN:
            if self.phase[name] == Phase.FREE:
                self.phase[name] = Phase.GROWING
            self.steps[day].append(Step("arrive", self._slot(name), entry))
            return
        if action == LogAction.CLEARED:
            if self.phase[name] == Phase.BREEDING:
                remedy = "beetles are still in it: write 'beetles out' before, or correct the bin"
                self._fault(entry, "bin", remedy)
            elif self.phase[name] == Phase.FREE:
                self._fault(entry, "bin", "not in use on this day: correct the bin or the date")
            self.phase[name] = Phase.FREE
            self.steps[day].append(Step(action, self._slot(name), entry))
            return
        if action in _IN_USE and self.phase[name] == Phase.FREE:
            remedy = (
                "not in use on this day: correct the bin or the date, or begin it with 'beetles "
                "in' or 'larvae in' (a guess with about yes)"
            )
            self._fault(entry, "bin", remedy)
            return
        if action == LogAction.SKINS_SEEN:
            # From how many on a keeper sees them nobody has measured.
            note = "days on which skins were seen are shown; nothing is worked out from them"
            self.notes += [note] * (note not in self.notes)
            return
        if action in (LogAction.PUPAE_PICKED, LogAction.BEETLES_PICKED):
            self.in_hand = self.in_hand or Phase.BREEDING not in self.phase.values()
        slot = self._slot(name)
        if action == LogAction.MOISTURE_STARTED:
            self.moist.add(slot)
        if action == LogAction.HARVEST and (entry.grams or 0.0) > LARGEST_HARVEST_G:
            self.notes.append(
                f"row {entry.row}: {entry.grams:g} g out of bin {name} at once is more than a bin "
                "of any usual size holds; check the weight and its unit"
            )
        given = (LogAction.BRAN_ADDED, LogAction.BEETLES_REMOVED)
        seen = {} if action in given else self._see(entry, day)
        self.steps[day].append(Step(action, slot, entry, seen))

    def _make_free(self, day: int, entry: Entry) -> None:
        if self.phase[entry.bin] == Phase.GROWING:
            self.notes.append(
                f"row {entry.row}: beetles go into bin {entry.bin}, which was never cleared; "
                "taken as cleared on that day"
            )
            self.steps[day].append(Step(LogAction.CLEARED, self._slot(entry.bin), entry))

    # -- what can hardly be -----------------------------------------------------------------

    def _doubt_beetles(self, entry: Entry) -> None:
        before = self.put_in.pop(entry.bin, None)
        if before and entry.count and entry.count > MOST_GAIN * before:
            self.notes.append(
                f"row {entry.row}: {entry.count:g} beetles out of bin {entry.bin}, which got "
                f"{before:g}; check both counts, or add the row that brought more"
            )

    def _far_row(self) -> Entry:
        """The first row on the emptier side of the longest stretch without rows."""
        gaps = [
            (after.date - before.date, place)
            for place, (before, after) in enumerate(
                zip(self.entries, self.entries[1:], strict=False), start=1
            )
        ]
        place = max(gaps)[1]
        return self.entries[place if 2 * place >= len(self.entries) else 0]

    # -- small helpers --------------------------------------------------------------------

    def _day(self, date: datetime.date) -> int:
        return (date - self.start).days

    def _gaps(self) -> list[tuple[int, int]]:
        return [(self._day(first), self._day(last)) for first, last in _gaps(self.entries)]

    def _slot(self, name: str) -> int:
        return self.slots.setdefault(name, len(self.slots))

    def _fault(self, entry: Entry, column: str, remedy: str) -> None:
        value = getattr(entry, column)
        self.faults.append(Fault(entry.row, column, "" if value is None else str(value), remedy))

    def _see(self, entry: Entry, day: int) -> dict[str, int]:
        """Enter the numbers of a row among the observed; their places by unit."""
        found: dict[str, float] = {}
        if entry.action == LogAction.SAMPLE:
            found["mg each"] = 1000 * entry.given("grams") / entry.given("count")
        else:
            if entry.count is not None:
                found["count"] = entry.count
            if entry.grams is not None:
                found["grams"] = entry.grams
        places = {}
        for unit, value in found.items():
            error = entry.relative_error("count" if unit == "count" else "grams")
            places[unit] = len(self.observed)
            self.observed.append(Observed(entry, day, unit, value, error))
        return places

    def _bran(self) -> int | None:
        """The bran given over the log, if each of its rows has a weight."""
        rows = [e for e in self.entries if e.action == LogAction.BRAN_ADDED]
        grams = [e.grams for e in rows if e.grams is not None]
        if not rows or len(grams) < len(rows):
            return None
        error = max(e.relative_error("grams") for e in rows)
        last = self._day(rows[-1].date)
        self.observed.append(Observed(replace(rows[0], bin=""), last, "grams", sum(grams), error))
        return len(self.observed) - 1

    def _silences(self, days: list[int]) -> None:
        gaps = self._gaps()
        for before, after in zip(days, days[1:], strict=False):
            told = any(first <= after and last >= before for first, last in gaps)
            if after - before > LONG_SILENCE_DAYS and not told:
                first, last = (self.start + datetime.timedelta(days=d) for d in (before, after))
                self.notes.append(
                    f"no rows between {first} and {last}: taken as nothing done but feeding; if "
                    "work went on, add a row 'not written'"
                )
