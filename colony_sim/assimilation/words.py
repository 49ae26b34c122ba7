"""What is told of a rack, in words: whether to move the beetles, then a line a bin."""

from __future__ import annotations

import datetime

from colony_sim.assimilation import lived
from colony_sim.assimilation.told import BinTold, Range, Step, Told

_SAID = {
    "moisture": "moisture", "harvest": "harvest", "pupae": "first pupae", "free": "empty and wash",
    "beetles out": "beetles out",
}  # fmt: skip


def headline(told: Told) -> str:
    """Whether to move the beetles this weekend."""
    move = told.move
    if move is None:
        return "Do not move beetles this weekend: the log has none in a bin"
    sunday = weekend(told.on)[1]
    place = f"bin {_and(move.bins)}" if len(move.bins) == 1 else f"bins {_and(move.bins)}"
    since = f"they have been in {place} for {_days(move.days_in)}"
    if move.by_date:
        due = day_in(told.on, move.due.median)
        rule = f"your rule says {_days(move.interval)}"
        if due < told.on:
            late = _days((told.on - due).days)
            return f"Move the beetles this weekend: {since}, {rule}, so they are {late} late"
        if due <= sunday:
            return f"Move the beetles this weekend: {since} and are due on {nice(due)} ({rule})"
        return f"Do not move the beetles this weekend: {since} and are due on {nice(due)} ({rule})"
    due = day_in(told.on, move.due.median)
    word = "Move" if due <= sunday else "Do not move"
    return f"{word} the beetles this weekend: {since}, and by your rule {span(told, move.due)}"


def waiting(told: Told) -> str:
    """What waiting costs."""
    if not told.waits:
        return ""
    days = ", ".join(str(wait.days) for wait in told.waits)
    grams = "; ".join(_loss(wait.grams, " g") for wait in told.waits)
    eggs = "; ".join(_loss(wait.hatched, "") for wait in told.waits)
    return (
        f"Waiting {days} days instead of moving tomorrow costs, over {lived.WEEKS} weeks, {grams} "
        f"of harvest, and {eggs} eggs that hatch (90 % ranges; minus is a gain)."
    )


def bins(told: Told) -> list[str]:
    """A line a bin, and the tray if there is something on it."""
    lines = [line(told, bin_) for bin_ in told.bins if bin_.phase != "free"]
    free = [bin_.name for bin_ in told.bins if bin_.phase == "free"]
    if free:
        lines.append(f"Free: {_and(free)}.")
    tray = told.tray.contents
    if max(tray["pupae"].high_90, tray["beetles"].high_90) >= 1:
        lines.append(f"Tray: {_counted(tray['pupae'], 'pupae')}, "
                     f"{_counted(tray['beetles'], 'beetles')}.")  # fmt: skip
    return lines


def line(told: Told, bin_: BinTold) -> str:
    """One bin: its label, what is in it, what comes next."""
    c = bin_.contents
    if bin_.phase == "breeding":
        label = f"in {short_date(bin_.beetles_in)}"
        held = [_counted(c["beetles"], "beetles"), _counted(c["eggs"], "eggs")]
        held += [_counted(larvae_of(c), "larvae")] if larvae_of(c).high_90 >= 1 else []
    else:
        label = f"out {short_date(bin_.beetles_out)}"
        held = [f"{word} {_range(c[name])}" for name, word in (
            ("eggs", "eggs"), ("small_larvae", "small larvae"), ("medium_larvae", "medium"),
        ) if c[name].high_90 >= 1]  # fmt: skip
        if c["large_g"].high_90 >= 0.5:
            held.append(f"of harvest size {_range(c['large_g'])} g")
        if c["pupae"].high_90 >= 1:
            held.append(f"pupae {_range(c['pupae'])}")
    step = bin_.next
    text = f"{bin_.name}  {label}: {', '.join(held) or 'nothing left'}."
    return f"{text} Next: {step_in_words(told, step)}." if step else text


def step_in_words(told: Told, step: Step) -> str:
    """A step with its day."""
    return f"{_SAID[step.what]} {span(told, step.days)}"


def span(told: Told, days: Range) -> str:
    """The median day and the range of 90 %."""
    first, middle, last = (day_in(told.on, d) for d in (days.low_90, days.median, days.high_90))
    if first == last:
        return f"on {nice(middle)}"
    end = f"after {short_date(last)}" if days.high_90 > lived.DAYS else short_date(last)
    return f"about {short_date(middle)} ({short_date(first)} to {end})"


def take(told: Told) -> str:
    """What may be taken now."""
    one = told.take
    some = [
        f"bin {name} {_range(grams)} g ({_range(count)} larvae)"
        for name, (count, grams) in one.by_bin.items()
        if grams.median >= 0.5
    ]
    share = f"{100 * one.fraction:.0f} % of the larvae of harvest size"
    if one.is_sure:
        text = f"You may take {share} now and at each harvest"
    else:
        text = f"Even taking only {share} may leave too few breeders"
    listed = f": {'; '.join(some)}" if some else "; today no bin has any"
    return (
        f"{text}{listed}. At least {one.breeders:.0f} beetles are then there for {lived.WEEKS} "
        f"weeks with probability {one.probability:.2f}."
    )


def buy(told: Told) -> str:
    """When to buy beetles."""
    one = told.buy
    if one.on is None:
        return ""
    return (
        f"Beetles: with probability {one.probability:.2f} fewer than {told.take.breeders:.0f} are "
        f"left at some time; buy {one.beetles} by {nice(one.on)}, or take less."
    )


def strange(told: Told) -> str:
    """What no possible colony explains."""
    found = told.misfit
    if found is None or not (found.doubtful or found.strange):
        return ""
    places = _and([f"bin {use.bin} since {short_date(use.since)}" for use in found.strange[:3]])
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
        f"{told.members} possible colonies lived your log; the {told.near} nearest count (as "
        f"{told.effective:.0f} alike). The log takes away {_percent(known['beetles'])} of what is "
        f"unknown of beetles, {_percent(known['small_larvae'])} of small larvae, "
        f"{_percent(known['large_g'])} of harvest size."
    )
    if told.resumed:
        text += " They are those nearest when all were last lived; --anew lives all."
    return text


def screen(told: Told) -> tuple[list[str], list[str]]:
    """What must be on the screen, and what may: each the most important first."""
    must = [f"{headline(told)}."]
    must += [text for text in (strange(told),) if text]
    must.append("\n".join(bins(told)))
    return must, [text for text in (waiting(told), buy(told), take(told), sure(told)) if text]


def in_full(told: Told) -> str:
    """All of it, but for the headline."""
    must, more = screen(told)
    total = ", ".join(
        f"{_range(told.harvest_g[week - 1])} g in {week}" for week in (1, 2, 4, 8, 12)
    )
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


def about(value: float) -> str:
    """A count or grams to two digits: ``0``, ``7``, ``1,200``."""
    if abs(value) < 10:
        return f"{value:.0f}".replace("-0", "0")
    digits = 1 - int(f"{abs(value):e}".split("e")[1])
    return f"{round(value, digits):,.0f}".replace("-", "−")


def larvae_of(contents: dict[str, Range]) -> Range:
    """Small larvae stand for those among the beetles: no others have had the time."""
    return contents["small_larvae"]


def _range(one: Range) -> str:
    low, high = about(one.low_90), about(one.high_90)
    return about(one.median) if low == high else f"{about(one.median)} ({low} to {high})"


def _counted(one: Range, what: str) -> str:
    return f"{what} {_range(one)}"


def _loss(one: Range, unit: str) -> str:
    return f"{about(one.median)}{unit} ({about(one.low_90)} to {about(one.high_90)})"


def _percent(share: float) -> str:
    return f"{100 * max(share, 0.0):.0f} %"


def _days(count: float) -> str:
    return f"{count:g} day{'s' * (count != 1)}"


def _and(names: list[str] | tuple[str, ...]) -> str:
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
