"""How sure the answer of a comparison is, what it costs and what would change it: from its tables.

The sentences are those of the study (`over_words`, `leans_on`, `assumptions`); only counts of
runs are put in words here, for comparisons that have nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.asks import in_order
from colony_sim.experiment.plan import Plan
from colony_sim.measuring.catalogue import YIELD
from colony_sim.report import tables
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.studies.comparison import over_words
from colony_sim.studies.comparison.assumptions import compared, end_in_words
from colony_sim.studies.comparison.leans_on import LeansOn, leaning_in_words
from colony_sim.studies.comparison.over_worlds import OverWorlds, over_worlds
from colony_sim.words.estimate import NOTHING, dashed, number, of_100
from colony_sim.words.labels import heading, with_unit
from colony_sim.words.units import scaled, symbol

COSTS = (
    ("Work, hours a week", "work_hours_per_week"),
    ("Bins in use", "bins_in_use"),
    ("Larvae, {} of bran", "yield_g_per_kg_bran"),
    ("Beetles lost, of 100 a day", "adult_losses_per_100_per_day"),
    ("Larvae harvested, a day", "yield_larvae_per_day"),
    ("Larvae harvested, {}", YIELD),
)
"""What a way of keeping takes and gives, in a keeper's words; the measure behind it."""
MOST_TURNING = 3


@dataclass(frozen=True)
class Signs:
    """Natural frequencies, to be shown as so many signs.

    Attributes
    ----------
    counts : tuple of (str, int)
        A policy and how many are its; an empty name: those in which none is ahead.
    of : str
        What is counted.
    """

    counts: tuple[tuple[str, int], ...]
    of: str

    @property
    def total(self) -> int:
        """How many there are."""
        return sum(count for _, count in self.counts)

    @property
    def words(self) -> str:
        """The same in a sentence."""
        parts = [
            f"“{name}” gives {'more' if len(self.counts) <= 3 else 'most'} in {count}"
            if name else f"they differ by too little to matter in {count}"
            for name, count in self.counts if count
        ]  # fmt: skip
        return f"Of {self.total} {self.of} {', '.join(parts)}."


@dataclass(frozen=True)
class Sure:
    """What stands between the answer and how it was worked out.

    Attributes
    ----------
    signs : Signs or None
    how_sure, costs, turning : tuple of str
        Sentences.
    ways : tuple of (str, tuple of str)
        Rows of what each policy takes and gives, cells in the order of `names`.
    shortages : tuple of (str, str, str)
        What a keeper may be short of, and in how many of 100 each of the two is ahead by it.
    pair : tuple of str
        The two of `shortages`.
    names : tuple of str
        Policies in the order of what varies.
    """

    signs: Signs | None
    how_sure: tuple[str, ...]
    costs: tuple[str, ...]
    turning: tuple[str, ...]
    ways: tuple[tuple[str, tuple[str, ...]], ...]
    shortages: tuple[tuple[str, str, str], ...]
    pair: tuple[str, ...]
    names: tuple[str, ...]


def gather_sure(folder: Path, facts: dict[str, Any], leaning: Sequence[str]) -> Sure:
    """Read the tables of a comparison; `leaning` is what its findings say it leans on."""
    plan = manifest.plan_from(facts, str(folder / MANIFEST))
    summary, runs = tables.read(folder, "policies"), tables.read(folder, "runs")
    names = tuple(in_order(plan.policies))
    pair = compared(plan, summary)
    ways = tuple(_ways(summary, names))
    found = _over(plan, facts, runs, names, pair)
    if found is None or pair is None:
        signs = None if pair is None else _of_runs(runs, pair)
        how_sure = () if signs is None else (signs.words,)
        turning = tuple(_turning(folder, pair)) or tuple(leaning)
        return Sure(signs, how_sure, (), turning, ways, (), pair or (), names)
    profile = plan.profile.name if plan.profile else ""
    sure, costs = over_words.how_sure(found, profile)
    lean = LeansOn(
        pair, found.worlds, min(found.first.regret_a, found.first.regret_b),
        tables.read(folder, "leans_on"),
    )  # fmt: skip
    many = len(names) > 2
    shown = pair if many else names[:2]
    rows = () if many else over_words.currency_rows(found)
    shortages = tuple((gives, *((a, b) if pair == shown else (b, a))) for gives, a, b, _ in rows)
    decides = "" if many else over_words.disagreement(found)
    return Sure(
        _of_colonies(found, names), (sure,), tuple(filter(None, (decides, costs))),
        (leaning_in_words(lean),), ways, shortages, shown, names,
    )  # fmt: skip


def _over(
    plan: Plan,
    facts: dict[str, Any],
    runs: pd.DataFrame,
    names: Sequence[str],
    pair: tuple[str, str] | None,
) -> OverWorlds | None:
    """The verdicts over worlds, as the comparison came to them; None if it had one world."""
    if pair is None or "world" not in runs or runs["world"].nunique() < 2:
        return None
    zone = (facts.get("over_worlds") or {}).get("zone", 0.0)
    return over_worlds(runs, names, pair, zone)


def _of_colonies(found: OverWorlds, names: Sequence[str]) -> Signs:
    verdict, of = found.first, "possible colonies"
    if len(names) == 2:
        shares = dict(zip(found.pair, (verdict.probability_a, verdict.probability_b), strict=True))
        counts = [(name, int(of_100(shares[name]))) for name in names]
        alike = 100 - sum(count for _, count in counts)
        return Signs((*counts, ("", alike)), of)
    best = found.standings.set_index("policy")["best_share"]
    counts = [(name, int(100 * best[name])) for name in names]
    # Largest remainders, so that there are a hundred.
    left = sorted(names, key=lambda name: int(100 * best[name]) - 100 * best[name])
    more = set(left[: 100 - sum(count for _, count in counts)])
    return Signs(tuple((name, count + (name in more)) for name, count in counts), of)


def _of_runs(runs: pd.DataFrame, pair: tuple[str, str]) -> Signs | None:
    wide = runs.pivot(index="seed", columns="policy", values=YIELD)[list(pair)].dropna()
    if wide.empty:
        return None
    ahead = [int((wide[one] > wide[other]).sum()) for one, other in (pair, pair[::-1])]
    of = "times that both were tried with the same luck"
    return Signs((*zip(pair, ahead, strict=True), ("", len(wide) - sum(ahead))), of)


def _ways(summary: pd.DataFrame, names: Sequence[str]) -> Iterator[tuple[str, tuple[str, ...]]]:
    means = summary.set_index(["measure", "policy"])["mean"]
    for label, key in COSTS:
        unit = {"yield_g_per_kg_bran": "g/kg", YIELD: "g/d"}.get(key, "")
        cells = (scaled(means[key, name], unit) for name in names)
        texts = tuple(NOTHING if pd.isna(x) else dashed(number(x)) for x in cells)
        yield label.format(symbol(unit)), texts


def _turning(folder: Path, pair: tuple[str, str] | None) -> Iterator[str]:
    """What the answer comes to at the ends of the values that move it most."""
    if pair is None or not (folder / "assumptions.parquet").is_file():
        return
    table = tables.read(folder, "assumptions")
    for _, rows in table[table["rank"] <= MOST_TURNING].groupby("rank", sort=True):
        key = str(rows["key"].iloc[0])
        ends = "; ".join(
            f"at {with_unit(key, float(row['value']))} {end_in_words(pair, row)}"
            for _, row in rows.sort_values("value").iterrows()
        )
        yield f"{heading(key)}, here {with_unit(key, float(rows['default'].iloc[0]))}: {ends}."
