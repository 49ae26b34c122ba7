"""When to buy and treat fresh bran, so that it is ready before a bin needs it."""

from __future__ import annotations

from datetime import timedelta

from colony_sim.colony.binlog import Action
from colony_sim.words.estimate import number
from colony_sim.words.units import both
from colony_sim.worklist.task import Kind, Task, bins_in_words, day_in_words
from colony_sim.worklist.work import Work

BATCH_DAYS = 28
"""One batch of bran lasts so long (d). Common practice, no source: an oven and a shelf hold it."""
AHEAD_DAYS = 7
"""A batch is treated so long before its first use (d): it must freeze through for days, or heat
and cool. Common practice, no source."""


def needs(work: Work) -> list[tuple[int, int, float]]:
    """Day, bin and grams of all bran used, in order, the founders' bins on day 0 included."""
    start_g = float(work.handling["bran.start_g"])
    found = [(0, bin_, start_g) for bin_ in founder_bins(work)]
    rows = work.log[work.log["action"].isin((Action.BEETLES_IN, Action.BRAN_ADDED))]
    for row in rows.itertuples():
        grams = start_g if row.action == Action.BEETLES_IN else float(row.grams)
        found.append((int(row.day), int(row.bin), grams))
    return found


def founder_bins(work: Work) -> list[int]:
    """Bins that hold insects on the first morning: beetles in bin 1, founder larvae in others.

    Bins of founder larvae that the log does not name yet had no work done on them.
    """
    early = work.log[work.log["date_in"].notna() & (work.log["date_in"] <= 0)]
    return sorted({1, *(int(bin_) for bin_ in early["bin"].dropna())})


def treat_bran(work: Work) -> list[Task]:
    """A task for each batch: how much, for which bins; `AHEAD_DAYS` before its first use."""
    batches: list[list[tuple[int, int, float]]] = []
    for need in sorted(needs(work)):
        if batches and need[0] < batches[-1][0][0] + BATCH_DAYS:
            batches[-1].append(need)
        else:
            batches.append([need])
    tasks = []
    for batch in batches:
        first, last = work.date(batch[0][0]), work.date(batch[-1][0])
        bins = tuple(sorted({bin_ for _, bin_, _ in batch}))
        amount = both(sum(grams for *_, grams in batch), "g", number)
        until = "" if last == first else f" to {day_in_words(last)}"
        tasks.append(
            Task(
                Kind.TREAT,
                first - timedelta(AHEAD_DAYS),
                bins,
                f"Buy and treat bran: {amount}",
                f"For {bins_in_words(bins)}, needed {day_in_words(first)}{until}. Heat or freeze "
                "it against mites, let it come back to room temperature, keep it closed.",
                f"{AHEAD_DAYS} days before the first of it is needed, one batch for "
                f"{BATCH_DAYS} days; buy more if you see bins eat faster.",
                expected=True,
            )
        )
    return tasks
