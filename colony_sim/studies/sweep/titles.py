"""Titles of the figures of a sweep, no stronger than its intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.measuring.catalogue import YIELD, Measure, catalogue
from colony_sim.statistics.best import Leading, leading
from colony_sim.statistics.pointwise import ranking
from colony_sim.studies.origin import count
from colony_sim.studies.sweep.findings import separated_anywhere
from colony_sim.studies.sweep.stored import LOSS, StoredSweep, is_number
from colony_sim.words import labels
from colony_sim.words.estimate import dashed, number
from colony_sim.words.labels import shortened
from colony_sim.words.units import named

_STATUS = {"unsettled": "were not steady", "died_out": "died out", "failed": "failed"}


@dataclass(frozen=True)
class Aim:
    """How a measure is spoken of."""

    key: str
    noun: str
    be: str
    best: str
    more: str
    less: str
    first: str

    @property
    def measure(self) -> Measure:
        """Its entry in the catalogue of measures."""
        return catalogue()[self.key]

    @property
    def unit(self) -> str:
        """Its unit in the house."""
        return named(self.measure.unit)

    @property
    def is_more(self) -> bool:
        """Whether more is better."""
        return self.measure.better == "more"


AIMS = {
    YIELD: Aim(YIELD, "yield", "is", "highest", "yields more than", "less", "yields most"),
    LOSS: Aim(
        LOSS, "adult losses", "are", "lowest", "loses more beetles than", "fewer",
        "loses fewest beetles",
    ),
}  # fmt: skip


def values_of(sweep: StoredSweep) -> str:
    """What the points of a sweep are called."""
    if len(sweep.keys) == 1:
        return f"values of {labels.label(sweep.keys[0])}"
    if len(sweep.keys) == 2:
        return f"combinations of {labels.label(sweep.keys[0])} and {labels.label(sweep.keys[1])}"
    return f"combinations of {len(sweep.keys)} keys"


def against(sweep: StoredSweep, aim: Aim, most: int) -> str:
    """Who is ahead where: two policies by their paired differences, more by their ranking."""
    if len(sweep.policies) > 2:
        return _ranked(sweep, aim, most)
    table = sweep.paired(aim.key)
    clear = separated_anywhere(table)
    first, second = (f"“{shortened(name, most)}”" for name in sweep.policies[::-1])
    known = int(table["low"].notna().sum())
    where = values_of(sweep)
    total = len(sweep.points)
    if not known:
        return f"The runs cannot compare {first} with {second} at any of the {total} {where}"
    more = int((clear & (table["difference"] > 0)).sum())
    less = int((clear & (table["difference"] < 0)).sum())
    if not more and not less:
        return (
            f"The runs separate {first} from {second} in {aim.noun} at none of {known} {where}"
            f"{_not_compared(total - known)}"
        )
    if total in (more, less):
        order = (first, second) if more else (second, first)
        return f"{order[0]} {aim.more} {order[1]} at all {total} {where}"
    if more >= less:
        text = f"{first} {aim.more} {second} at {more} of {total} {where}"
        text += f", {aim.less} at {less}" if less else ""
    else:
        text = f"{second} {aim.more} {first} at {less} of {total} {where}"
        text += f", {aim.less} at {more}" if more else ""
    open_ = known - more - less
    text += f"; {open_} not separated" if open_ else ""
    return f"{text}{_not_compared(total - known)}"


def _not_compared(points: int) -> str:
    return f"; {points} could not be compared" if points else ""


def _ranked(sweep: StoredSweep, aim: Aim, most: int) -> str:
    table = ranking(sweep.runs, list(sweep.policies), aim.key, more=aim.is_more)
    total, where = len(sweep.points), values_of(sweep)
    firsts: dict[str, int] = {}
    short = False
    for _, here in table.groupby("point", sort=False):
        if len(here) > 1 and here["ties_with_first"].sum() == 1:
            name = here["policy"].iloc[0]
            firsts[name] = firsts.get(name, 0) + 1
            short |= len(here) < len(sweep.policies)
    if not firsts:
        return f"The runs put no policy first in {aim.noun} at any of the {total} {where}"
    order = sorted(firsts.items(), key=lambda item: -item[1])
    of = " of those with a value" if short else ""
    name, times = order[0]
    at = f"all {total}" if times == total else f"{times} of {total}"
    text = f"“{shortened(name, most)}” {aim.first}{of} at {at} {where}"
    text += "".join(f", “{shortened(name, most)}” at {times}" for name, times in order[1:])
    left = total - sum(firsts.values())
    return f"{text}; no policy is put first at {left}" if left else text


def best_level(sweep: StoredSweep, aim: Aim, policy: str) -> tuple[Leading | None, list[Any]]:
    """The best value of the only key under a policy, and the values in order."""
    key = sweep.keys[0]
    wide = sweep.wide(aim.key).xs(policy, level="policy").reindex(sweep.points.index)
    order = sweep.in_order()
    values = sweep.points.loc[order, key].tolist()
    return leading(wide.loc[order].to_numpy(dtype=float), aim.is_more), values


def level_title(sweep: StoredSweep, aim: Aim, policy: str) -> str:
    """Which value of the only key is best under a policy, as far as the runs tell."""
    key = sweep.keys[0]
    found, values = best_level(sweep, aim, policy)
    head, known = labels.heading(key), _known(sweep, aim, policy, values)
    if not any(known):
        if len(values) == 1:
            return f"{head} {labels.with_unit(key, values[0])}: no value"
        return f"{head}: no value at any of {len(values)} values"
    if found is None:
        return f"{head}: {len(values)} values, too many to compare pair by pair"
    none = _none(key, [value for value, ok in zip(values, known, strict=True) if not ok], values)
    best = (
        f"{labels.with_unit(key, values[found.best])}, {dashed(number(found.means[found.best]))} "
        f"{aim.unit}"
    )
    if sum(known) == 1:
        return f"{head}: {aim.noun} {aim.be} known only at {best}{none}"
    tied = [int(i) for i in np.flatnonzero(found.ties) if i != found.best]
    if len(tied) == sum(known) - 1:
        return f"{head}: the runs put none of {sum(known)} values ahead in {aim.noun}{none}"
    text = f"{head}: {aim.noun} {aim.be} {aim.best} at {best}"
    if not tied:
        return f"{text}, told apart from every other value{none}"
    block = sorted([*tied, found.best])
    settled = [i for i, ok in enumerate(known) if ok]
    run = settled[settled.index(block[0]) : settled.index(block[-1]) + 1]
    if is_number(sweep.points[key]) and run == block:
        ends = (
            f"{labels.shown(values[block[0]], key)} to {labels.with_unit(key, values[block[-1]])}"
        )
        return f"{text}, but the runs do not tell the rest of {ends} from it{none}"
    return f"{text}, but the runs do not tell {count(len(tied), 'other value')} from it{none}"


def _known(sweep: StoredSweep, aim: Aim, policy: str, values: Sequence[Any]) -> list[bool]:
    key, means = sweep.keys[0], sweep.means(aim.key, policy)
    by_value = dict(zip(sweep.points[key].tolist(), means["mean"].tolist(), strict=True))
    return [math.isfinite(by_value[value]) for value in values]


def _none(key: str, missing: Sequence[Any], values: Sequence[Any]) -> str:
    if not missing:
        return ""
    if len(missing) == 1:
        return f"; at {labels.with_unit(key, missing[0])} no value"
    return f"; at {len(missing)} of {len(values)} values no value"


def best_point(sweep: StoredSweep, aim: Aim) -> tuple[Leading | None, list[tuple[int, str]]]:
    """The best of all points and policies, and which place is which."""
    wide = sweep.wide(aim.key)
    items = [(point, policy) for policy in sweep.policies for point in sweep.points.index]
    return leading(wide.reindex(items).to_numpy(dtype=float), aim.is_more), items


def point_title(sweep: StoredSweep, aim: Aim, most: int) -> str:
    """At which combination, and under which policy, a measure is best, as far as the runs tell."""
    found, items = best_point(sweep, aim)
    noun = f"{aim.noun[0].upper()}{aim.noun[1:]}"
    means = sweep.summary[sweep.summary["measure"] == aim.key]["mean"].dropna()
    if means.empty:
        return f"No value at any of the {len(sweep.points)} {values_of(sweep)}"
    if found is None:
        return (
            f"Mean {aim.noun} from {dashed(number(means.min()))} to {dashed(number(means.max()))} "
            f"{aim.unit} over {len(sweep.points)} {values_of(sweep)}"
        )
    known = int(np.isfinite(found.means).sum())
    tied = int(found.ties.sum()) - 1
    if known > 1 and tied == known - 1:
        return f"The runs put none of {known} cells ahead in {aim.noun}"
    point, policy = items[found.best]
    under = f"with “{shortened(policy, most)}” " if len(sweep.policies) > 1 else ""
    text = (
        f"{noun} {aim.be} {aim.best} {under}at {at_point(sweep, point)}: "
        f"{dashed(number(found.means[found.best]))} {aim.unit}"
    )
    if known == 1:
        return f"{text}, the only cell with a value"
    if not tied:
        return f"{text}, told apart from every other cell"
    return f"{text}; the runs do not tell {count(tied, 'other cell')} from it"


def at_point(sweep: StoredSweep, point: int) -> str:
    """Values of the keys at a point, in words."""
    row = sweep.points.loc[point]
    return " and ".join(f"{labels.label(key)} = {labels.told(key, row[key])}" for key in sweep.keys)


def apart(sweep: StoredSweep) -> str:
    """How many runs were not steady, died out or failed; empty if none."""
    counts = sweep.apart()
    if not counts:
        return ""
    parts = [f"{number} {_STATUS[word]}" for word, number in counts.items()]
    return f"{', '.join(parts)} of {len(sweep.runs)}"


def caveat(sweep: StoredSweep) -> str:
    """The caveat about runs that were not steady, died out or failed; empty if none."""
    text = apart(sweep)
    if not text:
        return ""
    return (
        f"{text[0].upper()}{text[1:]}. A colony that died out counts with no harvest from then "
        "on, a run that was not steady even when lived on with the last half of its days; a run "
        "that failed counts nowhere."
    )


def chosen_how(sweep: StoredSweep, aim: Aim) -> str:
    """How the comparison behind a title was made."""
    if len(sweep.policies) > 2:
        return (
            "A policy is put first at a point only if the paired interval to every other leaves "
            "out 0 and the p value, adjusted by Holm over all pairs of policies at that point, is "
            "below 0.05; not adjusted over the points."
        )
    if len(sweep.policies) == 2:
        family = int(sweep.paired(aim.key)["p_t"].notna().sum())
        return (
            "A policy is ahead at a point only if the paired 95 % interval leaves out 0 and the p "
            f"value, adjusted by Holm over all {family} comparisons of {aim.noun} in the sweep, is "
            "below 0.05."
        )
    return best_how("value")


def best_how(noun: str) -> str:
    """How a best value or cell was chosen."""
    return (
        f"The best {noun} was picked after the fact: another one is told from it only if the "
        "paired 95 % interval over the seeds leaves out 0 and the p value, adjusted by Holm over "
        f"all pairs of {noun}s, is below 0.05."
    )


def per_point(sweep: StoredSweep) -> str:
    """Runs of each policy at each point, as one number or as least and most."""
    sizes = sweep.runs.groupby(["point", "policy"]).size()
    least, most = int(sizes.min()), int(sizes.max())
    return f"{least}" if least == most else f"{least} to {most}"


def runs(sweep: StoredSweep) -> str:
    """Number of runs, in words."""
    return count(len(sweep.runs), "run")


def counts_table(sweep: StoredSweep, measure: str) -> pd.DataFrame:
    """Means with their intervals, run counts and the keys of the points: what maps are made of."""
    table = sweep.summary[sweep.summary["measure"] == measure]
    keys = sweep.points.loc[table["point"]].reset_index(drop=True)
    table = pd.concat([table.reset_index(drop=True), keys], axis=1)
    unit = catalogue()[measure].unit
    front = ["point", *sweep.points.columns, "policy", "measure"]
    return table[[*front, *(c for c in table if c not in front)]].assign(unit=unit)
