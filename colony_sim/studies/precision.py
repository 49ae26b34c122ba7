"""Add replicates until paired intervals are as narrow as asked.

The rule is the sequential procedure of Chow & Robbins (1965, Ann. Math. Stat. 36:457-462) in its
form for continuous data: stop at the first look at which n is no less than a least number and
t(n - 1) s / sqrt(n) <= d, the half width asked, with Student's quantile for their a_n. Its
coverage tends to the level as d becomes small. At a finite n it is a little below the level,
since one stops more readily when the spread so far happens to come out small (optional
stopping); the least number of replicates keeps that small, and so do few looks: replicates are
added in steps, up to the number the spread so far predicts and at most twice as many at a time.
The steps depend on results alone, so neither the number of workers nor an interruption changes
where a comparison stops.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import MOST_REPLICATES
from colony_sim.experiment.plan import whole
from colony_sim.measuring.catalogue import Measure, catalogue
from colony_sim.statistics.pointwise import differences, summarise
from colony_sim.words.estimate import number
from colony_sim.words.labels import shortened
from colony_sim.words.units import differs, named, plain
from colony_sim.words.units import here as in_house

RULE = "Chow & Robbins (1965)"
LEAST, MOST = 10, 200
"""Replicates at the first look and at the last, unless told otherwise."""


@dataclass(frozen=True)
class Wanted:
    """A measure and the half width asked of its interval, in the unit of the measure."""

    measure: str
    half_width: float


@dataclass(frozen=True)
class StoppingRule:
    """When to stop: every measure in `wanted` is narrow enough, or `most` replicates are done.

    Attributes
    ----------
    wanted : tuple of Wanted
    least, most : int
        Replicates at the first look and at the last.
    level : float
        Of the intervals.
    """

    wanted: tuple[Wanted, ...]
    least: int = LEAST
    most: int = MOST
    level: float = 0.95

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a manifest."""
        return {"rule": RULE, **asdict(self), "wanted": [asdict(w) for w in self.wanted]}


def make_rule(
    until: Sequence[str],
    least: int | None = None,
    most: int | None = None,
    replicates: int | None = None,
) -> StoppingRule | None:
    """The rule of ``until``, ``least`` and ``most``; None without any ``until``.

    Raises
    ------
    InputError
        Text of another form, an unknown measure, a half width that is not above 0, numbers out
        of order, or a fixed number of `replicates` as well.
    """
    if not until:
        for option, value in (("least", least), ("most", most)):
            if value is not None:
                raise InputError(ARGUMENT, option, value, "only with `until`")
        return None
    if replicates is not None:
        allowed = "not with `until`; give `least` and `most`"
        raise InputError(ARGUMENT, "replicates", replicates, allowed)
    wanted = tuple(parse_until(text) for text in until)
    keys = [w.measure for w in wanted]
    for key in keys:
        if keys.count(key) > 1:
            raise InputError(ARGUMENT, "until", key, "every measure once")
    least = whole("least", least, 2, MOST_REPLICATES, min(LEAST, most or LEAST))
    most = whole("most", most, least, MOST_REPLICATES, max(MOST, least))
    return StoppingRule(wanted, least, most)


def parse_until(text: str, where: str = "argument until") -> Wanted:
    """``MEASURE=HALFWIDTH``, in the unit of the measure."""
    key, equals, size = (part.strip() for part in text.partition("="))
    measures = catalogue()
    if key not in measures:
        raise InputError(where, "measure", key, f"MEASURE=HALFWIDTH with {', '.join(measures)}")
    try:
        half_width = float(size)
    except ValueError:
        half_width = math.nan
    if not (equals and 0 < half_width < math.inf):
        allowed = f"a half width above 0 ({measures[key].unit}), as in {key}=0.5"
        raise InputError(where, key, size, allowed)
    return Wanted(key, half_width)


def reached(
    runs: pd.DataFrame, policies: Sequence[str], baseline: str, rule: StoppingRule
) -> pd.DataFrame:
    """How narrow the intervals are, at every point.

    Parameters
    ----------
    runs : DataFrame
        Point, policy, seed, status and measures (NaN where without meaning), sorted by point.
    policies, baseline
        Every other policy is compared with the baseline. With one policy alone, the interval is
        that of its mean.
    rule : StoppingRule

    Returns
    -------
    DataFrame
        One row per point, policy and measure asked for: point, policy, baseline, measure, asked,
        half_width, n_pairs, replicates, met.
    """
    keys = [wanted.measure for wanted in rule.wanted]
    if len(policies) > 1:
        table = differences(runs, policies, baseline, keys, rule.level)
        half, pairs = table["high"] - table["difference"], table["n_pairs"]
    else:
        table = summarise(runs, policies, keys, rule.level).assign(baseline="")
        half, pairs = table["high"] - table["mean"], table["n_used"]
    seeds = runs.groupby("point", sort=False)["seed"].nunique()
    asked = table["measure"].map({w.measure: w.half_width for w in rule.wanted}).astype(float)
    return pd.DataFrame({
        "point": table["point"], "policy": table["policy"], "baseline": table["baseline"],
        "measure": table["measure"], "asked": asked, "half_width": half, "n_pairs": pairs,
        "replicates": table["point"].map(seeds), "met": half <= asked,
    })  # fmt: skip


def next_replicates(here: pd.DataFrame, rule: StoppingRule) -> int:
    """Replicates to go on to at one point (rows of `reached`); as many as now to stop."""
    now = int(here["replicates"].iloc[0])
    open_ = here[~here["met"]]
    if open_.empty or now >= rule.most:
        return now
    ratio = (open_["half_width"] / open_["asked"]).to_numpy(dtype=float)
    # Without two pairs nothing can be predicted.
    wide = float(np.where(np.isfinite(ratio), ratio, math.inf).max())
    predicted = 2 * now if wide * wide >= 2 else math.ceil(now * wide * wide)
    return min(max(predicted, now + 1), rule.most)


def in_words(table: pd.DataFrame, rule: StoppingRule) -> list[str]:
    """What was reached and what not, one line per measure asked for."""
    lines = []
    measures = catalogue()
    points = table["point"].nunique()
    for wanted in rule.wanted:
        here = table[table["measure"] == wanted.measure]
        measure = measures[wanted.measure]
        of_pairs = " of the difference" if (here["baseline"] != "").any() else ""
        head = (
            f"Precision of {measure.label[0].lower()}{measure.label[1:]}: half width of the "
            f"{100 * rule.level:g} % interval{of_pairs} at most "
            f"{_here(wanted.half_width, measure)} {named(measure.unit)}"
        )
        missed = here[~here["met"]]
        least, most = here["replicates"].min(), here["replicates"].max()
        count = f"{most}" if least == most else f"{least} to {most}"
        if missed.empty:
            widest = number(in_house(here["half_width"].max(), measure.unit))
            lines.append(f"{head}: reached with {count} replicates (widest: {widest}).")
            continue
        of = f"at {missed['point'].nunique()} of {points} points" if points > 1 else "for "
        if points == 1:
            of += " and ".join(_state(row, measure) for row in missed.itertuples())
        lines.append(f"{head}: not reached {of}, with the most replicates, {rule.most}.")
    return [*lines, f"Replicates were added by the rule of {RULE}, {rule.least} at least."]


def _here(value: float, measure: Measure) -> str:
    """A half width that was asked for, in the unit of the house."""
    found = in_house(value, measure.unit)
    return plain(found) if differs(measure.unit) else f"{found:g}"


def _state(row: Any, measure: Measure) -> str:
    name = f"“{shortened(str(row.policy), 40)}”"
    if not math.isfinite(row.half_width):
        return f"{name} ({row.n_pairs} pairs)"
    width = number(in_house(row.half_width, measure.unit))
    return f"{name} ({width} from {row.n_pairs} pairs)"
