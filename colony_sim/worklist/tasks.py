"""From a bin log to the keeper's tasks: one a day and kind, listing its bins."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import pandas as pd

from colony_sim.colony.binlog import Action, Reason
from colony_sim.words.estimate import number
from colony_sim.words.units import both, bran, moisture
from colony_sim.worklist import daily_tasks
from colony_sim.worklist.bran import founder_bins, treat_bran
from colony_sim.worklist.fillings import Filling, fillings
from colony_sim.worklist.task import (
    EXPECTED,
    Kind,
    Task,
    bins_in_words,
    day_in_words,
    in_order,
)
from colony_sim.worklist.work import Work

_REASONS = {
    Reason.SPENT: "Few insects or little weight of larvae are left in it.",
    Reason.LOST: "In this run of the model it was lost to mites, mould or an accident.",
    Reason.OLD: "It is as old as your rule lets a bin become.",
    Reason.ROOM: "Its room is needed for the move of this day, so that it must be "
    "washed and dry by then; empty it a day before if you can.",
}


def build(work: Work, weeks: int) -> list[Task]:
    """All tasks of the first weeks, in order; what is done every day is one repeating task.

    Parameters
    ----------
    work : Work
        A bin log with its start and handling.
    weeks : int
        Weeks from the start; tasks that prepare the start come before it.
    """
    last = min(7 * weeks, work.days)
    days = _by_day(work.log[work.log["day"] <= last])
    found = fillings(work.log)
    single = [_set_up(work, found)]
    for day, actions in days.items():
        single.extend(_of_day(work, day, actions, found))
    single.extend(_moves(work, days, found))
    end = work.date(last)
    single.extend(task for task in treat_bran(work) if task.day <= end)
    daily = [
        *daily_tasks.give_moisture(work, found, last),
        *daily_tasks.look_at_tray(work, found, last),
    ]
    return in_order([*single, *daily])


def _by_day(log: pd.DataFrame) -> dict[int, dict[str, list[Any]]]:
    """Rows of each day on bins (not the tray), by action, in the order of the log."""
    days: dict[int, dict[str, list[Any]]] = {}
    for row in log[log["bin"].notna()].itertuples():
        days.setdefault(int(row.day), {}).setdefault(row.action, []).append(row)
    return dict(sorted(days.items()))


def _count(value: Any) -> int:
    """A count of the log; missing is none."""
    return 0 if pd.isna(value) else int(value)


def _set_up(work: Work, found: list[Filling]) -> Task:
    bins = tuple(founder_bins(work))
    into = "into each bin" if len(bins) > 1 else "into it"
    with_larvae = f" The {work.larvae} first larvae go into the other bins." if work.larvae else ""
    if moist := [filling.bin for filling in found if filling.moist_at_start]:
        with_larvae += (
            f" Moist feed from the first day in {bins_in_words(moist)}, whose larvae are large."
        )
    if not work.breeders:
        # A plan that begins from a running rack.
        return Task(
            Kind.SETUP,
            work.start,
            bins,
            "Go on with your bins as they are",
            f"By the rules of the plan from today on.{with_larvae} Bins have the numbers of their "
            "order in your log or list: label them so.",
            "The start you chose.",
            expected=False,
        )
    return Task(
        Kind.SETUP,
        work.start,
        bins,
        f"Set up {bins_in_words(bins)}: the first beetles go into bin 1",
        f"{_fresh(work)} {into}, {work.breeders} beetles into bin 1.{with_larvae} "
        "Put the label on.",
        "The start you chose.",
        expected=False,
    )


def _fresh(work: Work) -> str:
    """The bran of a fresh bin."""
    return f"{bran(work.handling['bran.start_g'], paper=True)} of treated bran"


def _of_day(
    work: Work, day: int, actions: dict[str, list[Any]], found: list[Filling]
) -> Iterator[Task]:
    """Tasks of one day that need its own rows only."""
    moist = {filling.bin for filling in found if filling.moist_at_start}
    first = {bin_: min(f.day_in for f in found if f.bin == bin_) for bin_ in moist}
    started = [
        row
        for row in actions.get(Action.MOISTURE_STARTED, [])
        if row.bin not in moist or row.date_in != first[row.bin]
    ]
    actions = {**actions, Action.MOISTURE_STARTED: started}
    growing = {filling.bin for filling in found if filling.growing(day)}
    sifted = actions.get(Action.SMALL_LARVAE_IN, [])
    for action, make in (
        (Action.PUPAE_TO_TRAY, _inspect),
        (Action.COLLECTED, _collect),
        (Action.HARVEST, _harvest),
        (Action.MOISTURE_STARTED, _start_moisture),
        (Action.BRAN_ADDED, _add_bran),
        (Action.CLEARED, _clear),
    ):
        if actions.get(action):
            task = make(work, day, actions[action] + (sifted if action is Action.CLEARED else []))
            if task.kind is Kind.INSPECT and growing and growing <= {*task.bins}:
                task = replace(task, summary="Inspect all growing bins for pupae")
            yield task


def _bins(rows: Iterable[Any]) -> tuple[int, ...]:
    return tuple(sorted({int(row.bin) for row in rows}))


def _inspect(work: Work, day: int, rows: list[Any]) -> Task:
    every = work.handling["pupae.inspection_days"]
    bins, with_pupae = _bins(rows), _bins(r for r in rows if _count(r.pupae) > 0)
    detail = "The model expects no pupae there this time: a glance will do."
    if with_pupae:
        where = bins_in_words(with_pupae)
        detail = f"Pupae go on the tray, out of the beetles' reach; expected in {where}."
    by_rule = day % every == 0
    return Task(
        Kind.INSPECT,
        work.date(day),
        bins,
        f"Inspect for pupae: {bins_in_words(bins)}",
        detail,
        f"By your rule: every {every} days." if by_rule else "Done as the bin is cleared.",
        expected=not by_rule,
    )


def _collect(work: Work, day: int, rows: list[Any]) -> Task:
    every = work.handling["rotation.collect_days"]
    bins = _bins(rows)
    return Task(
        Kind.COLLECT,
        work.date(day),
        bins,
        f"Pick out beetles: {bins_in_words(bins)}",
        "Put them with the breeders. Look over the other growing bins too; the model expects "
        "beetles in these.",
        f"Your rule: look every {every} days. {EXPECTED}",
        expected=True,
    )


def _harvest(work: Work, day: int, rows: list[Any]) -> Task:
    p, bins = work.handling, _bins(rows)
    grams, larvae = sum(row.grams for row in rows), sum(_count(row.larvae) for row in rows)
    again = " Larvae kept back before stay." if p["harvest.set_apart"] else ""
    return Task(
        Kind.HARVEST,
        work.date(day),
        bins,
        f"Harvest: {bins_in_words(bins)}",
        f"Take {100 * p['harvest.fraction']:g} % of the larvae that weigh "
        f"{both(p['harvest.smallest_mg'], 'mg')} or more, keep the rest back.{again} The model "
        f"expects about {both(grams, 'g', number)}, {larvae} larvae, in all.",
        f"Your rule: every {p['harvest.interval_days']} days, where larvae are large enough. "
        + EXPECTED,
        expected=True,
    )


def _start_moisture(work: Work, day: int, rows: list[Any]) -> Task:
    p, bins = work.handling, _bins(rows)
    sign = {
        "skins": "Start once shed skins lie all over the bran; with no skins to see, wait.",
        "always": "Your rule: from the day the beetles leave.",
    }.get(p["moisture.start"], "")
    return Task(
        Kind.START_MOISTURE,
        work.date(day),
        bins,
        f"Start moisture: {bins_in_words(bins)}",
        f"{sign} From now on {moisture(p['moisture.growing_g_per_day'], paper=True)} a day in "
        "moist feed, in each of these bins.".strip(),
        EXPECTED,
        expected=True,
    )


def _add_bran(work: Work, day: int, rows: list[Any]) -> Task:
    p, bins = work.handling, _bins(rows)
    amounts: dict[float, list[int]] = {}
    for row in rows:
        amounts.setdefault(row.grams, []).append(int(row.bin))
    each = "; ".join(
        f"{bran(grams, paper=True)} into {bins_in_words(into)}" for grams, into in amounts.items()
    )
    rule = f"Where less than {bran(p['bran.top_up_below_g'], paper=True)} is left."
    if p["bran.supply"] == "as_eaten":
        rule = (
            f"Every {p['bran.round_days']} days see how far the bran fell, and fill up what the "
            f"bin will eat in {p['bran.round_days'] + p['bran.reserve_days']:g} days."
        )
    return Task(
        Kind.ADD_BRAN,
        work.date(day),
        bins,
        f"Add bran: {bins_in_words(bins)}",
        f"Treated bran, by the model {each}. {rule}",
        EXPECTED,
        expected=True,
    )


def _clear(work: Work, day: int, rows: list[Any]) -> Task:
    """Bins cleared, and bins that take the small larvae sifted out of them."""
    bins, parts = _bins(row for row in rows if row.action == Action.CLEARED), []
    for row in rows:
        if row.action == Action.SMALL_LARVAE_IN:
            parts.append(f"About {_count(row.larvae)} larvae fall through the sieve: into bin "
                         f"{int(row.bin)}, whose bran is fresh.")  # fmt: skip
            continue
        left = _count(row.larvae) + _count(row.pupae)
        rest = ""
        if left and pd.notna(row.heir):
            rest = f" Put the larvae and pupae left (about {left}) into bin {int(row.heir)}."
        parts.append(f"Bin {int(row.bin)}: {_REASONS.get(row.reason, '')}{rest}")
    return Task(
        Kind.CLEAR,
        work.date(day),
        bins,
        f"Clear and wash: {bins_in_words(bins)}",
        "Harvest what is large enough, then empty, wash, rinse and dry. " + " ".join(parts),
        EXPECTED,
        expected=True,
    )


def _moves(
    work: Work, days: dict[int, dict[str, list[Any]]], found: list[Filling]
) -> Iterator[Task]:
    """Each move of beetles, with the dead beetles and the gear that go with it."""
    p = work.handling
    every = p["rotation.interval_days"]
    came_in = {(f.bin, f.day_out): f.day_in for f in found}
    before = 0
    for day, actions in days.items():
        outs, ins = actions.get(Action.BEETLES_OUT, []), actions.get(Action.BEETLES_IN, [])
        if not ins:
            continue
        old, fresh = _bins(outs), _bins(ins)
        if not outs:
            before = day
            yield Task(
                Kind.MOVE,
                work.date(day),
                fresh,
                f"Fill {bins_in_words(fresh)} for new beetles",
                f"{_fresh(work)}; no other bin holds beetles. Write the date on the label.",
                EXPECTED,
                expected=True,
            )
            continue
        by_rule = day - before == every
        when = f"By your rule: every {every} days." if by_rule else EXPECTED
        before = day
        since = {bin_: day_in_words(work.date(came_in[bin_, day])) for bin_ in old}
        if len({*since.values()}) == 1:
            told = f"in since {since[old[0]]}"
        else:
            told = "; ".join(f"bin {bin_}: in since {text}" for bin_, text in since.items())
        moved = sum(_count(row.adults) for row in ins)
        yield Task(
            Kind.MOVE,
            work.date(day),
            tuple(sorted({*old, *fresh})),
            f"Move beetles: {bins_in_words(old)} to {bins_in_words(fresh)}",
            f"First {_fresh(work)} into {bins_in_words(fresh)}. "
            f"Then strain the beetles out of {bins_in_words(old)} ({told}); the model expects "
            f"{moved}. Write both dates on the labels. Leave the eggs in {bins_in_words(old)}.",
            when,
            expected=not by_rule,
        )
        if p["rotation.remove_dead"]:
            dead = sum(_count(row.dead) for row in outs)
            yield Task(
                Kind.DEAD,
                work.date(day),
                old,
                f"Separate dead beetles: {bins_in_words(old)}",
                f"Take them out as you move the living. The model expects {dead}.",
                when,
                expected=not by_rule,
            )
        yield Task(
            Kind.WASH,
            work.date(day),
            (),
            "Wash the gear",
            "Sieve, scoop and tray, after the move; rinse well, let dry before the next use.",
            when,
            expected=not by_rule,
        )
