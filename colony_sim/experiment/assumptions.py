"""The assumptions that the verdict of a comparison leans on most.

Every value of the biology that is not both published and of high confidence is moved, one at a
time, to the low and to the high end of its plausible range, and the paired difference in yield
is measured again: short runs, the same seeds at every end (common random numbers), so that even
one seed shows a change that is much smaller than the spread between seeds.

Three stages keep it cheap:

1. Group screening: keys that only bound a temperature or a viability are moved together. If
   every measure of every run stays exactly as it was, none of them acts (bounds the climate
   never reaches); otherwise they are looked at one by one. Unlike sequential bifurcation
   (Bettonvil & Kleijnen 1997, Eur. J. Oper. Res. 96:180-194) this needs no known signs, since
   nothing but exact identity drops a key; signs of effects on a difference are not known.
2. One at a time on one seed, both ends.
3. The largest changes again on more seeds; the ranking and its standard errors are from these.

One key at a time shows no joint effects; ``colony-sim sensitivity`` does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Entry, catalogue
from colony_sim.experiment.finding import YIELD
from colony_sim.experiment.measures import catalogue as measure_catalogue
from colony_sim.experiment.plan import Plan
from colony_sim.experiment.points import (
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
from colony_sim.experiment.runner import Progress
from colony_sim.experiment.wording import number

WARM_UP, USED = 336, 168
"""Days left out and days measured of the short runs. Founder larvae of all ages make the start
nearly steady; the first eggs laid are harvested from about day 170 on."""
SEEDS = 3
CONFIRMED = 6
"""Keys looked at on all seeds."""
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
        Number of seeds of the confirmed keys.
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
        The comparison; its first seeds are used.
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
    entries = uncertain() if entries is None else list(entries)
    plan = only(plan, pair)
    seeds = plan.seeds[:SEEDS]
    span = window(plan, WARM_UP, USED, plan.days)
    ends = _ends(plan, entries)
    bounds = [e for e in ends if e[0].startswith(_BOUNDS) or any(b in e[0] for b in _BOUNDS[:2])]
    others = [e for e in ends if e not in bounds]
    confirmed = min(CONFIRMED, len(entries))
    total = 2 * (3 + len(others)) + 2 * (len(seeds) - 1) * (1 + 2 * confirmed)
    stage = _Stages(on_progress, total)
    run = partial(runner.run, plan, span=span, skip_failed=True)

    groups = [{key: value for key, end, value in bounds if end == wanted} for wanted in ENDS]
    groups = [_joint(plan, group) for group in groups]
    points: list[Point] = [{}, *groups, *({key: value} for key, _, value in others)]
    rows = run(points, seeds[:1], on_progress=stage.report)
    stage.next()
    same = [_identical(rows, 0, i) for i in (1, 2)]
    values = {(): _by_point(rows, pair, 0)}
    for i, (key, end, _) in enumerate(others, start=3):
        values[key, end] = _by_point(rows, pair, i)
    inert = {(key, end) for key, end, _ in bounds if same[ENDS.index(end)]}
    acting = [e for e in bounds if e[:2] not in inert]
    if acting:
        stage.total += 2 * len(acting)
        rows = run([{key: value} for key, _, value in acting], seeds[:1], on_progress=stage.report)
        stage.next()
        for i, (key, end, _) in enumerate(acting):
            values[key, end] = _by_point(rows, pair, i)
    for key_end in inert:
        values[key_end] = values[()]

    largest = _largest(values)[:confirmed]
    if len(seeds) > 1:
        again = [e for e in ends if e[0] in largest]
        points = [{}, *({key: value} for key, _, value in again)]
        rows = run(points, seeds[1:], on_progress=stage.report)
        for i, key_end in enumerate([(), *((key, end) for key, end, _ in again)]):
            values[key_end] = np.concatenate([values[key_end], _by_point(rows, pair, i)])
    table = _table(plan, ends, values, set(largest), inert)
    central = mean_interval(values[()])
    text = _words(pair, span, central, table, len(seeds))
    return Assumptions(*pair, span, central, len(seeds), table, text)


def skipped(reason: str) -> str:
    """What a verdict says if the assumptions were not looked at."""
    return f"Which assumptions this leans on most was not looked at ({reason})."


def _ends(plan: Plan, entries: Sequence[Entry]) -> list[tuple[str, str, float]]:
    """Key, end and value of every end that differs from the present value."""
    p = plan.policies[0].parameters
    found = [(e.key, end, range_end(p, e.key, end)) for e in entries for end in ENDS]
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


def _largest(values: dict) -> list[str]:
    """Keys by their largest change on the first seed, largest first."""
    size: dict[str, float] = {}
    for key_end, found in values.items():
        if key_end:
            change = abs(found[0] - values[()][0])
            size[key_end[0]] = max(size.get(key_end[0], 0.0), change if change == change else 0.0)
    return sorted(size, key=lambda key: -size[key])


def _state(mean: float, low: float, high: float) -> str:
    if not math.isfinite(mean):
        return "failed"
    if not math.isfinite(low):
        return "first ahead" if mean > 0 else "second ahead" if mean < 0 else "no difference"
    return "first ahead" if low > 0 else "second ahead" if high < 0 else "not separated"


def _table(plan: Plan, ends: list, values: dict, largest: set[str], inert: set) -> pd.DataFrame:
    p = plan.policies[0].parameters
    central = values[()]
    reference = _state(*np.array(mean_interval(central))[[0, 2, 3]])
    rows = []
    for key, end, value in ends:
        entry = catalogue()[key]
        here = values[key, end]
        mean, _, low, high = mean_interval(here)
        # The change is from pair to pair, so that what seeds have in common drops out.
        change, error, _, _ = mean_interval(here - central[: len(here)])
        stage = "confirmed" if key in largest else "screened"
        rows.append({
            "key": key, "end": end, "default": p[key], "value": value, "unit": entry.unit,
            "clipped": value != (entry.low if end == "low" else entry.high),
            "stage": "does not act" if (key, end) in inert else stage, "n": len(here),
            "difference": mean, "low": low, "high": high, "change": change, "change_se": error,
            "state": _state(mean, low, high), "central_state": reference,
            "sign_turns": bool(mean * central[: len(here)].mean() < 0),
            "about": entry.about, "basis": entry.basis, "confidence": entry.confidence,
            "source": entry.source,
        })  # fmt: skip
    table = pd.DataFrame(rows)
    size = table["change"].abs().fillna(0).groupby(table["key"]).max()
    # The confirmed first: their order is that of the mean over all seeds.
    order = sorted(size.index, key=lambda key: (key not in largest, -size[key]))
    place = {key: rank for rank, key in enumerate(order, start=1)}
    table.insert(0, "rank", table["key"].map(place))
    return table.sort_values(["rank", "end"], ascending=[True, False], ignore_index=True)


def _words(
    pair: tuple[str, str], span: Window, central: tuple, table: pd.DataFrame, seeds: int
) -> str:
    keys = table["key"].nunique()
    head = (
        f"What this leans on most: each of {keys} uncertain values of the biology was moved alone "
        f"to both ends of its plausible range, and the difference in yield ({pair[0]} minus "
        f"{pair[1]}) measured again over days {span.warm_up + 1} to {span.days}, with the same "
        f"{seeds} seed{'s' if seeds > 1 else ''}. With nothing moved it is "
        f"{_difference(central[0], central[2], central[3])}."
    )
    lines = [head]
    for rank in range(1, NAMED + 1):
        rows = table[table["rank"] == rank]
        if len(rows) == 0 or not rows["change"].abs().max() > 0:
            continue
        lines.append(f"{rank}. {_one(pair, rows)}")
    if len(lines) == 1:
        lines.append("None of them changes the difference.")
    else:
        turning = table.loc[table["sign_turns"], "key"].nunique()
        lines.append(
            f"The sign of the mean difference turns for {turning or 'none'} of the {keys}, moved "
            f"alone; all are in the table of assumptions (those beyond the first {CONFIRMED} from "
            "one seed)."
        )
    failed = table.loc[table["state"] == "failed", "key"].unique()
    if len(failed):
        lines.append(f"Runs failed at an end of {', '.join(failed)}; these are not ranked.")
    return "\n".join(lines)


def _one(pair: tuple[str, str], rows: pd.DataFrame) -> str:
    first = rows.iloc[0]
    about = first["about"].split(". ")[0].rstrip(".")
    ends = "; ".join(
        f"at {row['value']:g}{' (the furthest that fits the other keys)' if row['clipped'] else ''}"
        f" {_difference(row['difference'], row['low'], row['high'])}, {_end_state(pair, row)}"
        for _, row in rows.sort_values("value").iterrows()
    )
    return (
        f"{about} ({first['key']} = {first['default']:g} {first['unit']}; {first['basis']}, "
        f"confidence {first['confidence']}): {ends}. Source: {first['source']}."
    )


def _end_state(pair: tuple[str, str], row: pd.Series) -> str:
    if row["state"] == "failed":
        return "not known, as runs failed"
    if row["state"] == row["central_state"]:
        return "the verdict holds"
    if row["state"] in ("not separated", "no difference"):
        return "the verdict is lost: neither is clearly ahead"
    ahead = pair[0] if row["state"] == "first ahead" else pair[1]
    return f"the verdict {'flips' if row['sign_turns'] else 'changes'}: {ahead} is ahead"


def _difference(mean: float, low: float, high: float) -> str:
    text = f"{number(mean)} g/day" if math.isfinite(mean) else "not known"
    if math.isfinite(low):
        text += f" (95 % interval {number(low)} to {number(high)})"
    return text


class _Stages:
    """One count of runs over all stages."""

    def __init__(self, on_progress: Callable[[Progress], None], total: int) -> None:
        self.total = total
        self._before = Progress(0, 0, 0, 0, None)
        self._last = self._before
        self._on_progress = on_progress

    def report(self, now: Progress) -> None:
        self._last = now
        before = self._before
        left = now.seconds_left
        ended = now.done + now.failed - now.reused
        if left is not None and ended and now.total > now.done + now.failed:
            # The pace of this stage for the stages to come as well.
            each = left / (now.total - now.done - now.failed)
            left += each * max(0, self.total - before.total - now.total)
        self._on_progress(
            replace(
                now,
                done=before.done + now.done,
                total=max(self.total, before.total + now.total),
                reused=before.reused + now.reused,
                failed=before.failed + now.failed,
                seconds_left=left,
            )
        )

    def next(self) -> None:
        before, last = self._before, self._last
        self._before = Progress(
            before.done + last.done, before.total + last.total, before.reused + last.reused,
            before.failed + last.failed, None,
        )  # fmt: skip
