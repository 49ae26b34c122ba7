"""The assumptions that the verdict of a comparison leans on most.

Every value of the biology that is not both published and of high confidence is moved, one at a
time, to the low and to the high end of its plausible range, and the paired difference in yield
is measured again over short runs.

With a profile the central case has its keys as in its central draw, and these go to the ends of the
interval that holds 90 % of the draws: what is left unknown once the colony's log is taken in.

The same seeds are used at every end, but a difference between two policies keeps little of what
seeds share once a value is moved, so noise is what costs. It is dealt with in stages, as in a
race (successive halving):

1. Group screening: keys that only bound a temperature or a viability are moved together. If
   every measure of every run stays exactly as it was, none of them acts (bounds the climate
   never reaches); otherwise they are looked at one by one. Unlike sequential bifurcation
   (Bettonvil & Kleijnen 1997, Eur. J. Oper. Res. 96:180-194) this needs no known signs, since
   nothing but exact identity drops a key; signs of effects on a difference are not known.
2. All other keys, one at a time, both ends, on one seed.
3. The keys with the largest changes on more seeds, twice, fewer each time.

Changes are against the mean of the central case over more seeds than any end has. Keys that
were left behind after one seed may owe their place to noise, and so may, to a lesser degree,
the order of those that were not: standard errors are in the table. One key at a time shows no
joint effects; ``colony-sim sensitivity`` does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Entry, catalogue
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.experiment.worlds import RANGE, fitted_ranges
from colony_sim.measuring.catalogue import YIELD
from colony_sim.measuring.catalogue import catalogue as measure_catalogue
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole
from colony_sim.studies.points import (
    Point,
    PointRunner,
    Window,
    differences,
    fits,
    mean_interval,
    only,
    range_end,
    window,
)
from colony_sim.words.estimate import Estimate
from colony_sim.words.units import differs, here, named, plain

WARM_UP, USED = 252, 252
"""Days left out and days measured of the short runs. Founder larvae of all ages make the start
nearly steady; the first eggs laid are harvested from about day 170 on."""
CENTRAL_SEEDS = 6
STAGES = ((10, 2), (5, 2))
"""Keys kept, and seeds added, in each stage after the first."""
NAMED = 3
ENDS = ("low", "high")
_BOUNDS = ("lethal_", "viability_", "fecundity.lower_c", "fecundity.full_until_c",
           "fecundity.upper_c")  # fmt: skip


@dataclass(frozen=True)
class Assumptions:
    """What the verdict leans on.

    Attributes
    ----------
    first, second : str
        The policies compared; differences are first minus second, in g/day.
    span : Window
        Length of the short runs and days measured.
    central : tuple of float
        Difference with nothing moved: mean, standard error, low, high (95 % t interval).
    seeds : int
        Number of seeds of the keys that came furthest.
    table : pandas.DataFrame
        Two rows (ends) per key, the largest change first.
    text : str
        The three largest in words.
    """

    first: str
    second: str
    span: Window
    central: tuple[float, float, float, float]
    seeds: int
    table: pd.DataFrame
    text: str


def uncertain() -> list[Entry]:
    """Biology values to be moved: all with a range, but the published of high confidence."""
    return [
        entry
        for entry in catalogue().values()
        if entry.group == "biology"
        and entry.low is not None
        and not (entry.basis == "published" and entry.confidence == "high")
    ]


def compared(plan: Plan, summary: pd.DataFrame) -> tuple[str, str] | None:
    """The two policies whose difference the verdict is about; None if there are not two.

    Of two policies the other one and the baseline; of more the best in mean yield and the next.
    """
    if len(plan.policies) < 2:
        return None
    if len(plan.policies) == 2:
        return next(p.name for p in plan.policies if p.name != plan.baseline), plan.baseline
    means = summary[summary["measure"] == YIELD].set_index("policy")["mean"].dropna()
    ranked = means.sort_values(ascending=False, kind="stable").index
    return (ranked[0], ranked[1]) if len(ranked) > 1 else None


def find_assumptions(
    plan: Plan,
    pair: tuple[str, str],
    runner: PointRunner,
    *,
    entries: Sequence[Entry] | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Assumptions:
    """Move every uncertain value to both ends of its range and rank what the difference does.

    Parameters
    ----------
    plan : Plan
        The comparison; seeds are derived from its seed.
    pair : two names
        Policies, first and second.
    runner : PointRunner
        From ``points.open_points``.
    entries : sequence of Entry, optional
        Values to move; default: :func:`uncertain`.
    on_progress : callable
        Told how far the runs are, over all stages.

    Returns
    -------
    Assumptions
        Runs that raise at some end leave that end NaN.
    """
    entries = fitted_ranges(uncertain() if entries is None else entries, plan.profile)
    fitted, plan = plan.profile, only(plan, pair).at_centre()
    seeds = replicate_seeds(plan.seed, CENTRAL_SEEDS)
    span = window(plan, WARM_UP, USED, plan.days)
    ends = _ends(plan, entries)
    value_at = {(key, end): value for key, end, value in ends}
    bounds = [e for e in value_at if any(word in e[0] for word in _BOUNDS)]
    others = [e for e in value_at if e not in bounds]
    total = 2 * (2 + len(others) + len(seeds))
    total += sum(2 * 2 * min(keys, len(entries)) * more for keys, more in STAGES)
    stage = Whole(on_progress, total)

    def run(points: Sequence[Point], seeds: Sequence[int]) -> pd.DataFrame:
        rows = runner.run(plan, points, seeds, span, skip_failed=True, on_progress=stage.report)
        stage.next()
        return rows

    def run_ends(which: Sequence[tuple[str, str]], seeds: Sequence[int]) -> None:
        if not which:
            return
        rows = run([{key: value_at[key, end]} for key, end in which], seeds)
        for place, end in enumerate(which):
            found = _by_point(rows, pair, place)
            values[end] = np.concatenate([values.get(end, np.empty(0)), found])

    values: dict[tuple[str, ...], np.ndarray] = {(): _by_point(run([{}], seeds), pair, 0)}
    groups = [{key: value_at[key, end] for key, end in bounds if end == wanted} for wanted in ENDS]
    rows = run([{}, *(_joint(plan, group) for group in groups)], seeds[:1])
    same = {end: _identical(rows, 0, i) for i, end in enumerate(ENDS, start=1)}
    inert = {(key, end) for key, end in bounds if same[end]}
    values |= {end: values[()][:1] for end in inert}
    looked_at = [end for end in value_at if end not in inert]
    stage.total += 2 * (len(looked_at) - len(others))
    run_ends(looked_at, seeds[:1])
    used, kept = 1, [entry.key for entry in entries]
    for keys, more in STAGES:
        kept = _largest(values, kept)[:keys]
        run_ends([end for end in looked_at if end[0] in kept], seeds[used : used + more])
        used += more
    table = _table(plan, entries, ends, values, kept, inert)
    central = mean_interval(values[()])
    text = _words(pair, span, central, table)
    if fitted is not None:
        text += (
            f"\nValues of profile “{fitted.name}” start from its central draw here and go to "
            f"the ends of the interval that holds {100 * RANGE:g} % of its draws."
        )
    return Assumptions(*pair, span, central, used, table, text)


def skipped(reason: str) -> str:
    """What a verdict says if the assumptions were not looked at."""
    return f"Which assumptions this leans on most was not looked at ({reason})."


def _ends(plan: Plan, entries: Sequence[Entry]) -> list[tuple[str, str, float]]:
    """Key, end and value of every end that differs from the present value."""
    p = plan.policies[0].parameters
    found = [(e.key, end, range_end(p, e, end)) for e in entries for end in ENDS]
    return [item for item in found if item[2] != p[item[0]]]


def _joint(plan: Plan, group: dict[str, float]) -> dict[str, float]:
    """A group's values, less those that do not go together with the rest."""
    p = plan.policies[0].parameters
    kept: dict[str, float] = {}
    for key, value in group.items():
        if fits(p, {**kept, key: value}):
            kept[key] = value
    return kept


def _identical(rows: pd.DataFrame, one: int, other: int) -> bool:
    """Whether all measures of two points are exactly equal, run by run."""
    columns = ["policy", "seed", *measure_catalogue()]
    first, second = (
        rows.loc[rows["point"] == n, columns].reset_index(drop=True) for n in (one, other)
    )
    return first.equals(second)


def _by_point(rows: pd.DataFrame, pair: tuple[str, str], point: int) -> np.ndarray:
    here = rows[rows["point"] == point]
    return differences(here, *pair, YIELD).to_numpy(dtype=float)[0]


def _largest(values: dict[tuple[str, ...], np.ndarray], keys: Sequence[str]) -> list[str]:
    """The keys by the larger mean change at their two ends, largest first."""
    central = values[()].mean()
    size = dict.fromkeys(keys, 0.0)
    for key_end, found in values.items():
        if key_end and key_end[0] in size and not _unchanged(values, key_end):
            change = abs(found.mean() - central)
            size[key_end[0]] = max(size[key_end[0]], change if math.isfinite(change) else 0.0)
    return sorted(size, key=lambda key: -size[key])


def _unchanged(values: dict[tuple[str, ...], np.ndarray], key_end: tuple[str, ...]) -> bool:
    """Whether the difference is, seed by seed, exactly as with nothing moved."""
    found = values[key_end]
    return bool((found == values[()][: len(found)]).all())


def _state(mean: float, low: float, high: float) -> str:
    if not math.isfinite(mean):
        return "failed"
    if not math.isfinite(low):
        return "first ahead" if mean > 0 else "second ahead" if mean < 0 else "no difference"
    return "first ahead" if low > 0 else "second ahead" if high < 0 else "not separated"


def _table(
    plan: Plan, entries: Sequence[Entry], ends: list[tuple[str, str, float]],
    values: dict[tuple[str, ...], np.ndarray], kept: Sequence[str], inert: set[tuple[str, str]],
) -> pd.DataFrame:  # fmt: skip
    p = plan.policies[0].parameters
    by_key = {entry.key: entry for entry in entries}
    central = values[()]
    middle, central_error, *limits = mean_interval(central)
    reference = _state(middle, *limits)
    spread = float(central.std(ddof=1)) if len(central) > 1 else math.nan
    rows = []
    for key, end, value in ends:
        entry = by_key[key]
        here = values[key, end]
        mean, error, low, high = mean_interval(here)
        change = mean - middle
        # One seed has no spread of its own.
        change_error = math.hypot(error if len(here) > 1 else spread, central_error)
        if _unchanged(values, (key, end)):
            change = change_error = 0.0
        rows.append({
            "key": key, "end": end, "default": p[key], "value": value, "unit": entry.unit,
            "clipped": value != (entry.low if end == "low" else entry.high),
            "acts": (key, end) not in inert, "seeds": len(here),
            "difference": mean, "low": low, "high": high,
            "change": change, "change_se": change_error,
            "state": _state(mean, low, high), "central_state": reference,
            "sign_turns": bool(mean * middle < 0),
            "about": entry.about, "basis": entry.basis, "confidence": entry.confidence,
            "source": entry.source,
        })  # fmt: skip
    table = pd.DataFrame(rows)
    size = table["change"].abs().fillna(0).groupby(table["key"]).max()
    seeds = table.groupby("key")["seeds"].max()
    # Those that came further rank first: their order is that of a mean over more seeds.
    order = sorted(size.index, key=lambda key: (key not in kept, -seeds[key], -size[key]))
    place = {key: rank for rank, key in enumerate(order, start=1)}
    table.insert(0, "rank", table["key"].map(place))
    return table.sort_values(["rank", "end"], ascending=[True, False], ignore_index=True)


def _words(
    pair: tuple[str, str], span: Window, central: tuple[float, float, float, float],
    table: pd.DataFrame,
) -> str:  # fmt: skip
    keys = table["key"].nunique()
    lines = [
        f"What this leans on most: each of {keys} uncertain values of the biology was moved alone "
        f"to both ends of its plausible range, and the difference in yield ({pair[0]} minus "
        f"{pair[1]}) measured again over days {span.warm_up + 1} to {span.days}. With nothing "
        f"moved it is {_difference(central[0], central[2], central[3])}. The largest changes:"
    ]
    for rank in range(1, NAMED + 1):
        rows = table[table["rank"] == rank]
        if len(rows) and rows["change"].abs().max() > 0:
            lines.append(f"{rank}. {_one(pair, rows)}")
    if len(lines) == 1:
        return lines[0].replace("The largest changes:", "None of them changes it.")
    turning = list(dict.fromkeys(table.loc[table["sign_turns"] & (table["seeds"] > 1), "key"]))
    once = list(dict.fromkeys(table.loc[table["sign_turns"] & (table["seeds"] == 1), "key"]))
    text = f"Values that turn the mean's sign when moved alone: {', '.join(turning) or 'none'}"
    if once:
        text += f"; on a single seed, where chance can do it, {len(once)} more do"
    most = int(table["seeds"].max())
    lines.append(
        f"{text}. The keys with the largest changes were run with {most} seeds, most with one; all "
        "are in the table of assumptions, with standard errors."
    )
    failed = table.loc[table["state"] == "failed", "key"].unique()
    if len(failed):
        lines.append(f"Runs failed at an end of {', '.join(failed)}; these are not ranked.")
    return "\n".join(lines)


def _one(pair: tuple[str, str], rows: pd.DataFrame) -> str:
    first = rows.iloc[0]
    basis = first["basis"]
    if basis != "fitted":
        basis += f", confidence {first['confidence']}"
    about = first["about"].split(". ")[0].rstrip(".")
    ends = "; ".join(
        f"at {_of_key(row, 'value')}"
        f"{' (the furthest that fits the other keys)' if row['clipped'] else ''}"
        f" it is {_difference(row['difference'], row['low'], row['high'])}, "
        f"{end_in_words(pair, row)}"
        for _, row in rows.sort_values("value").iterrows()
    )
    return (
        f"{about} ({first['key']} = {_of_key(first, 'default')} {named(first['unit'])}; {basis}): "
        f"{ends}. Source: {first['source']}."
    )


def end_in_words(pair: tuple[str, str], row: pd.Series) -> str:
    """What the answer is with a value at an end of its range."""
    if row["state"] == "failed":
        return "not known, as runs failed"
    if row["state"] == row["central_state"]:
        return "the verdict holds"
    if row["state"] in ("not separated", "no difference"):
        return "the verdict is lost: neither is clearly ahead"
    ahead = pair[0] if row["state"] == "first ahead" else pair[1]
    return f"the verdict {'flips' if row['sign_turns'] else 'changes'}: {ahead} is ahead"


def _difference(mean: float, low: float, high: float) -> str:
    mean, low, high = (here(value, "g/day") for value in (mean, low, high))
    return str(Estimate(mean, low, high, named("g/day")))


def _of_key(row: pd.Series, column: str) -> str:
    """A value of the key of a row in the unit of the house."""
    value = here(row[column], row["unit"])
    return plain(value) if differs(row["unit"]) else f"{value:g}"
