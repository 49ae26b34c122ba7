"""Work of every day: moisture, and beetles that come out on the pupa tray."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from itertools import pairwise
from typing import Any

from colony_sim.colony.binlog import Action
from colony_sim.words.units import moisture
from colony_sim.worklist.fillings import Filling
from colony_sim.worklist.task import EXPECTED, Kind, Task, bins_in_words
from colony_sim.worklist.work import Work

IDLE_TRAY_DAYS = 14
"""A tray from which no beetle comes for so long (d) counts as empty; longer than pupae rest at
room temperature (6 to 9 d at 25 to 28 C)."""


def stretches(last: int, state: Callable[[int], Hashable | None]) -> Iterator[tuple[int, int, Any]]:
    """First day, length and state of each stretch of days with one and the same state.

    Days 1 to `last` are looked at; days whose state is None are left out.
    """
    first, now = 1, None
    for day in range(1, last + 2):
        new = state(day) if day <= last else None
        if new != now:
            if now is not None:
                yield first, day - first, now
            first, now = day, new


def give_moisture(work: Work, found: list[Filling], last: int) -> list[Task]:
    """One repeating task for each stretch of days on which the same bins get moisture."""
    growing_g = float(work.handling["moisture.growing_g_per_day"])
    breeding_g = float(work.handling["moisture.breeding_g_per_day"])

    def state(day: int) -> Any:
        growing, breeding = [], []
        for filling in found:
            cleared = filling.cleared is not None and day >= filling.cleared
            moist = 1 if filling.moist_at_start else filling.moisture
            if moist is not None and moist <= day and not cleared:
                growing.append(filling.bin)
            # Beetles are moved before moisture is given, and a bin they left is a growing bin.
            gone = filling.day_out is not None and day >= filling.day_out
            if breeding_g > 0 and filling.day_in <= day and not gone:
                breeding.append(filling.bin)
        return (tuple(sorted(growing)), tuple(sorted(breeding))) if growing or breeding else None

    tasks = []
    for first, length, (growing, breeding) in stretches(last, state):
        how = [
            f"{moisture(grams, paper=True)} in moist feed each in {kind}{bins_in_words(bins)}."
            for grams, kind, bins in (
                (growing_g, "", growing), (breeding_g, "breeding ", breeding),
            )
            if bins
        ]  # fmt: skip
        bins = tuple(sorted({*growing, *breeding}))
        tasks.append(
            Task(
                Kind.MOISTURE,
                work.date(first),
                bins,
                f"Give moisture: {bins_in_words(bins)}",
                " ".join(how),
                "Every day once moisture is started in a bin. The day a bin joins is expected by "
                "the model; go by what you see.",
                expected=True,
                times=length,
            )
        )
    return tasks


def look_at_tray(work: Work, found: list[Filling], last: int) -> list[Task]:
    """Daily tasks while beetles come out on the tray, one for each breeding bin they go to."""
    rows = work.log[(work.log["action"] == Action.FROM_TRAY) & (work.log["day"] <= last)]
    busy = sorted({int(day) for day in rows["day"]})
    covered: set[int] = set()
    for day, after in pairwise([*busy, last + IDLE_TRAY_DAYS]):
        covered.update(range(day, after) if after - day < IDLE_TRAY_DAYS else (day,))

    def state(day: int) -> tuple[int, ...] | None:
        bins = tuple(sorted(f.bin for f in found if f.breeding(day)))
        return bins if day in covered else None

    most = work.handling["rotation.most_breeders_per_bin"]
    surplus = ""
    if work.handling["rotation.surplus"] == "remove":
        surplus = f" Beyond {most} beetles in a breeding bin the rest are surplus."
    tasks = []
    for first, length, bins in stretches(last, state):
        where = bins_in_words(bins) if bins else "a fresh bin"
        tasks.append(
            Task(
                Kind.TRAY,
                work.date(first),
                bins,
                f"Look at the pupa tray: beetles to {where}",
                f"Put beetles that have come out into {where}, for breeding.{surplus}",
                "Every day while pupae lie on the tray. " + EXPECTED,
                expected=True,
                times=length,
            )
        )
    return tasks
