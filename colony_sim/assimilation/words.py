"""What is told of a rack, in words: whether to move the beetles, then a line a bin."""

from __future__ import annotations

import datetime

import numpy as np

from colony_sim.assimilation import lived
from colony_sim.assimilation.today import First
from colony_sim.assimilation.told import BOUGHT_WEEKS, LEVELS, SURE, BinTold, Range, Step, Told
from colony_sim.words.estimate import short
from colony_sim.words.labels import label
from colony_sim.words.listing import listed
from colony_sim.words.units import Form, scaled, symbol

MOST_BINS = 12
"""Bins that have a line of their own on the screen."""
HARDLY = 0.1
"""Difference of probabilities that is no reason to take more or less."""
LITTLE = 0.03
"""Mean narrowing of ranges below which no look is asked for."""
_SAID = {
    "moisture": "moisture", "harvest": "harvest", "pupae": "first pupae", "free": "empty it",
    "beetles out": "beetles out",
}  # fmt: skip
_DONE = {
    "moisture": "start moisture", "harvest": "harvest", "free": "empty and wash it",
    "beetles out": "take the beetles out",
}  # fmt: skip


def about(value: float) -> str:
    """A count or grams to two digits: ``0``, ``7``, ``1,200``."""
    if abs(value) < 10:
        return f"{value:.0f}".replace("-0", "0").replace("-", "−")
    digits = 1 - int(f"{abs(value):e}".split("e")[1])
    return f"{round(value, digits):,.0f}".replace("-", "−")


def headline(told: Told) -> str:
    """Whether to move the beetles this weekend."""
    move = told.move
    if told.is_empty:
        return "Your rack is empty: tap a bin and log the beetles that you put in"
    if move is None:
        return "Do not move beetles this weekend: the log has none in a bin"
    saturday, sunday = weekend(told.on)
    place = f"bin {listed(move.bins)}" if len(move.bins) == 1 else f"bins {listed(move.bins)}"
    since = f"they have been in {place} for {_days(move.days_in)}"
    if move.by_date:
        due = day_in(told.on, move.due.median)
        rule = f"your rule says {_days(move.interval)}"
        if due < told.on:
            late = _days((told.on - due).days)
            return f"Move the beetles this weekend: {since}, {rule}, so they are {late} late"
        if due < saturday:
            return (
                f"Move the beetles this weekend at the latest: {since} and are due on {nice(due)} "
                f"({rule})"
            )
        if due <= sunday:
            return f"Move the beetles this weekend: {since} and are due on {nice(due)} ({rule})"
        return f"Do not move the beetles this weekend: {since} and are due on {nice(due)} ({rule})"
    due = day_in(told.on, move.due.median)
    word = "Move" if due <= sunday else "Do not move"
    return f"{word} the beetles this weekend: {since}, and by your rule {span(told, move.due)}"


def first_state(first: First) -> str:
    """What is in the rack, while most colonies still live the log."""
    values = first.draws.values

    def of(column: np.ndarray) -> Range:
        return Range.of(first.draws.quantiles(column, LEVELS))

    larvae = of(values["rack_larvae"][:, 0])
    large, beetles = (
        of(values["rack"][:, lived.CONTENTS.index(name)]) for name in ("large_g", "beetles")
    )
    head, rest = f"The state today, from {first.members}", "What comes is worked out now."
    if first.members < first.of:
        head = f"A first state, from {first.members} of {first.of}"
        rest = "It gets surer from here."
    return (
        f"{head} possible colonies: {_range(larvae)} larvae in the rack, of harvest size "
        f"{weights(large)}; {_range(beetles)} beetles. {rest}"
    )


def waiting(told: Told) -> str:
    """What waiting costs."""
    if not told.waits:
        return ""
    each = "; ".join(
        f"{_days(wait.days)} later {_gained(*_here(wait.grams))} and "
        f"{_gained(wait.hatched, 'eggs that hatch')}"
        for wait in told.waits
    )
    tomorrow = "tomorrow"
    if told.waits_on is not None:
        tomorrow = f"on {short_date(told.waits_on + datetime.timedelta(days=1))}"
    return f"Beside moving {tomorrow}, over {lived.WEEKS} weeks: {each}."


def what_if(told: Told) -> str:
    """What another rule or date brings."""
    one = told.what_if
    if one is None:
        return ""
    parts = [f"{label(key)} {value:g}" if isinstance(value, float | int) and not isinstance(
        value, bool) else f"{label(key)} {value}" for key, value in one.course.rules]  # fmt: skip
    if one.course.move_on is not None:
        parts.append(f"the beetles moved on {nice(day_in(told.on, one.course.move_on))}")
    return (
        f"With {listed(parts)} instead of your rules, over {lived.WEEKS} weeks: "
        f"{_gained(*_here(_less(one.grams)))}, "
        f"{_gained(_less(one.hatched), 'eggs that hatch')} and "
        f"{_gained(_less(one.beetles), 'beetles at the end')}."
    )


def _less(more: Range) -> Range:
    """What is gained as what is lost."""
    return Range(*(-end for end in (
        more.high_90, more.high_50, more.median, more.low_50, more.low_90,
    )))  # fmt: skip


def _gained(cost: Range, what: str, form: Form = about) -> str:
    """What is gained (more) or lost (less) where this is the cost."""

    def side(value: float, of: str = "") -> str:
        amount = form(abs(value))
        return f"{amount}{of}" + ("" if amount == "0" else " more" if value < 0 else " less")

    if not cost.low_90 and not cost.high_90:
        return f"as many {what}"
    ends = f" ({side(cost.high_90)} to {side(cost.low_90)})"
    return f"{side(cost.median, f' {what}')}{ends if cost.low_90 != cost.high_90 else ''}"


def bins(told: Told) -> list[str]:
    """A line a bin, and the tray if there is something on it."""
    used = [bin_ for bin_ in told.bins if bin_.phase != "free"]
    lines = [line(told, bin_) for bin_ in used[:MOST_BINS]]
    if len(used) > MOST_BINS:
        lines.append(f"{len(used) - MOST_BINS} more bins are on the page.")
    free = [bin_.name for bin_ in told.bins if bin_.phase == "free"]
    tray = told.tray.contents
    last = [f"Free: {listed(free)}."] if free else []
    if max(tray["pupae"].high_90, tray["beetles"].high_90) >= 1:
        last.append(f"Tray: {_range(tray['pupae'])} pupae, {_range(tray['beetles'])} beetles.")
    return [*lines, *([" ".join(last)] if last else [])]


def line(told: Told, bin_: BinTold) -> str:
    """One bin: its label, most of what is in it, what comes next."""
    label = (
        f"in {short_date(bin_.beetles_in)}"
        if bin_.phase == "breeding"
        else f"out {short_date(bin_.beetles_out)}"
    )
    step = bin_.next
    text = f"{bin_.name:>2} {label + ':':11s} {most_of(bin_)}."
    return f"{text} Next: {step_in_words(told, step)}." if step else text


def most_of(bin_: BinTold) -> str:
    """The stage that a keeper looks for in a bin, with its range of 90 %."""
    c = bin_.contents
    if bin_.phase == "breeding":
        return f"{_range(c['beetles'])} beetles"
    if c["large_g"].median >= 5:
        return f"{weights(c['large_g'])} to harvest"
    if c["larvae"].median >= 1:
        return f"{_range(c['larvae'])} larvae"
    for what in ("eggs", "pupae"):
        if c[what].median >= 1:
            return f"{_range(c[what])} {what}"
    return "next to nothing"


def step_in_words(told: Told, step: Step) -> str:
    """A step with its day."""
    return f"{_SAID[step.what]} {span(told, step.days)}"


def task(told: Told, bin_: BinTold, step: Step) -> str:
    """A step as something to be done."""
    return f"Bin {bin_.name}: {_DONE[step.what]}, {span(told, step.days)}"


def span(told: Told, days: Range) -> str:
    """The median day and the range of 90 %; of a day that is past, since when it is overdue."""
    first, middle, last = (day_in(told.on, d) for d in (days.low_90, days.median, days.high_90))
    if middle < told.on:
        return f"overdue since {nice(middle)}"
    if first == last:
        return f"on {nice(middle)}"
    end = "later" if days.high_90 > lived.DAYS else short_date(last)
    begin = f"{first.day}" if end.endswith(f" {first:%b}") else short_date(first)
    return f"{short_date(middle)} ({begin} to {end})"


def take(told: Told) -> str:
    """What may be taken now."""
    one = told.take
    sure, worst = _chance(one.probability), _chance(one.worst)
    some = [
        f"bin {name} {weights(grams)}"
        for name, (_, grams) in one.by_bin.items()
        if grams.median >= 0.5
    ]
    floor, weeks = f"{one.floor.beetles:,} beetles ({one.floor.why})", f"{lived.WEEKS} weeks"
    if one.is_sure:
        here = f" (today {'; '.join(some)})" if some else " (today no bin has any)"
        return (
            f"You may take {100 * one.fraction:.0f} % of the larvae of harvest size{here}: at "
            f"least {floor} are then there for {weeks} with probability {sure}."
        )
    least, most = (f"{100 * share:.0f} %" for share in one.tried)
    if one.probability - one.worst < HARDLY:
        return (
            f"At least {floor} for {weeks} are not sure (probability {sure}), and "
            f"taking {least} or {most} of the larvae of harvest size hardly changes that."
        )
    return (
        f"Take {100 * one.fraction:.0f} % of the larvae of harvest size at most: at least {floor} "
        f"are then there for {weeks} with probability {sure}, of the shares tried "
        f"({least} to {most}) the best; {worst} with the worst."
    )


def buy(told: Told) -> str:
    """Whether beetles must be bought, when, and how many."""
    one, floor = told.buy, told.take.floor.beetles
    ever = _chance(one.probability)
    if one.on is None:
        if one.probability <= 1 - SURE:
            return ""
        return (
            f"No beetles need be bought yet: fewer than {floor:,} within {lived.WEEKS} weeks are "
            f"possible (probability {ever}), not likely. Count them at each move."
        )
    enough = (
        f"{floor:,} are then there for {BOUGHT_WEEKS} weeks with probability {SURE:g}, if none of "
        "those bought dies"
    )
    if one.on <= told.on:
        return (
            f"Buy {one.beetles:,} beetles now: fewer than {floor:,} are there today (probability "
            f"{_chance(one.already)}); {enough}."
        )
    return (
        f"Buy {one.beetles:,} beetles before {nice(one.on)}: from then on fewer than {floor:,} are "
        f"more likely than not (within {lived.WEEKS} weeks probability {ever}); "
        f"{enough}."
    )


def look(told: Told) -> str:
    """The look into a bin that would tell most."""
    one = told.look
    if one is None:
        return ""
    if one.gain < LITTLE:
        return "No single look into a bin would narrow much of this."
    gains = sorted(one.narrower.items(), key=lambda of: -of[1])
    told_more = [f"the {name} some {_percent(by)}" for name, by in gains if by >= LITTLE]
    return (
        f"A look into bin {one.bin} would tell most: {one.do}. It would narrow the range of "
        f"{listed(told_more)}."
    )


def strange(told: Told) -> str:
    """What no possible colony explains."""
    found = told.misfit
    if found is None or not (found.doubtful or found.strange):
        return ""
    places = listed([f"bin {use.bin} since {short_date(use.since)}" for use in found.strange[:3]])
    if found.doubtful:
        where = f": {places}" if found.strange else ""
        return (
            f"Look: this log is none that a possible colony writes (p = {found.p:.3f}){where}. "
            "Something may have happened that is not written down; do not trust the ranges."
        )
    return (
        f"{places[0].upper()}{places[1:]} is unusual; the log as a whole is not (p = {found.p:.2f})"
        "."
    )


def sure(told: Told) -> str:
    """How it was worked out, in a line."""
    known = told.known
    text = (
        f"Ranges hold 90 %. {told.members} possible colonies lived your log, the {told.near} "
        f"nearest count (effective number {told.effective:.0f}). It takes away "
        f"{_percent(known['beetles'])} of what is unknown of beetles, "
        f"{_percent(known['small_larvae'])} of small larvae, {_percent(known['large_g'])} of "
        "those of harvest size."
    )
    if told.resumed:
        text += " They are those nearest when all were last lived; --anew lives all."
    return text


def screen(told: Told) -> tuple[list[str], list[str]]:
    """What must be on the screen, and what may: each the most important first."""
    must = [f"{headline(told)}."]
    if told.is_empty:
        return must, []
    must += [text for text in (strange(told),) if text]
    must.append("\n".join(bins(told)))
    more = (what_if(told), waiting(told), buy(told), take(told), look(told), sure(told))
    return must, [text for text in more if text]


def in_full(told: Told) -> str:
    """All of it, but for the headline."""
    must, more = screen(told)
    total = ", ".join(f"{weights(told.harvest_g[week - 1])} in {week}" for week in (1, 2, 4, 8, 12))
    more.append(f"Harvests by your rules: {total} weeks (90 % ranges).")
    return "\n\n".join([*must[1:], *more])


def weekend(on: datetime.date) -> tuple[datetime.date, datetime.date]:
    """Saturday and Sunday of the weekend that is, or comes next."""
    saturday = on + datetime.timedelta(days=(5 - on.weekday()) % 7)
    if on.weekday() == 6:
        saturday = on - datetime.timedelta(days=1)
    return saturday, saturday + datetime.timedelta(days=1)


def day_in(on: datetime.date, days: float) -> datetime.date:
    """The date so many days from today."""
    return on + datetime.timedelta(days=round(days))


def nice(date: datetime.date) -> str:
    """``Tue 9 Dec``."""
    return f"{date:%a} {date.day} {date:%b}"


def short_date(date: datetime.date | None) -> str:
    """``9 Dec``."""
    return "?" if date is None else f"{date.day} {date:%b}"


def _range(one: Range, form: Form = about) -> str:
    low, high = form(one.low_90), form(one.high_90)
    return form(one.median) if low == high else f"{form(one.median)} ({low} to {high})"


def weights(one: Range) -> str:
    """A weight (g) with its range of 90 %, in the unit of the house."""
    here, unit, form = _here(one)
    return f"{_range(here, form)} {unit}"


def in_cells(one: Range, is_weight: bool) -> tuple[str, str]:
    """The median and the range of 90 % for a table; weights (g) in the unit of the house."""
    here, _, form = _here(one) if is_weight else (one, "", about)
    return form(here.median), f"{form(here.low_90)} to {form(here.high_90)}"


def _here(one: Range) -> tuple[Range, str, Form]:
    """A range of grams in the unit of the house, its name and how its numbers are written."""
    ends = (one.low_90, one.low_50, one.median, one.high_50, one.high_90)
    unit = symbol("g")
    return Range(*(scaled(end, "g") for end in ends)), unit, about if unit == "g" else short


def _percent(share: float) -> str:
    return f"{100 * max(share, 0.0):.0f} %"


def _chance(probability: float) -> str:
    """To two digits; nothing is certain."""
    if 0.005 <= probability < 0.995:
        return f"{probability:.2f}"
    return "over 0.99" if probability > 0.5 else "under 0.01"


def _days(count: float) -> str:
    return f"{count:g} day{'s' * (count != 1)}"
