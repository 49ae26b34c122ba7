"""What the talk is made of: read once from a results folder, and one run lived again."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import pandas as pd

from colony_sim.errors import InputError
from colony_sim.experiment.asks import in_order
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison import gains, results
from colony_sim.studies.comparison.assumptions import compared
from colony_sim.studies.comparison.egg_fates import Account, account
from colony_sim.studies.comparison.gains import Side
from colony_sim.studies.comparison.leans_on import LeansOn
from colony_sim.studies.comparison.over_words import LIKELY, SURE
from colony_sim.studies.comparison.relive import Traces, retrace
from colony_sim.studies.comparison.results import Results
from colony_sim.words.finding import FADES, difference

LARVAE = "yield_larvae_per_day"
Quote = Callable[[str], str]


@dataclass(frozen=True)
class Case:
    """A comparison as it is told.

    Attributes
    ----------
    results : Results
    folder : Path
    traces : Traces or None
        One run under every policy.
    no_traces : str
        Why there is none.
    side : Side or None
        Gains over possible colonies of one of `pair` over the other; None without such colonies.
    standings : DataFrame or None
        One row a policy, see `over_worlds.OverWorlds`.
    pair : tuple of str
        The policies that stand left and right: the one done so far, and the one of the others that
        gives most; a single one if there is no other.
    asked : two names or None
        The policies that the answer is about.
    order : tuple of str
        All policies in the order of what varies.
    answer : str
        In a sentence, as it was said when the runs ended.
    """

    results: Results
    folder: Path
    traces: Traces | None
    no_traces: str
    side: Side | None
    standings: pd.DataFrame | None
    pair: tuple[str, ...]
    asked: tuple[str, str] | None
    order: tuple[str, ...]
    answer: str

    @property
    def policies(self) -> tuple[str, ...]:
        """All policies, the one done so far first."""
        return self.results.policies

    def index(self, policy: str) -> int:
        """Place in the tables, which decides the sign."""
        return self.results.index(policy)

    def way(self, policy: str) -> str:
        """What a policy is to the keeper, before its name."""
        if len(self.policies) == 1:
            return ""
        if policy == self.policies[0]:
            return "the old way"
        return "the new way" if len(self.policies) == 2 else "tried"

    @cached_property
    def eggs(self) -> Account:
        """Where the eggs went."""
        return account(self.results, self.folder)

    @property
    def runs(self) -> str:
        """How many runs there are, in words."""
        return results.runs_in_words(self.results)

    @property
    def colonies(self) -> int:
        """Possible colonies lived; 0 in a comparison without them."""
        return 0 if self.side is None else len(self.side.gains)

    def mean(self, policy: str, measure: str) -> float:
        """Mean of a measure over runs, each possible colony counting once; NaN if unknown."""
        runs = self.results.runs
        if measure not in runs:
            return math.nan
        own = runs[runs["policy"] == policy]
        by = "world" if "world" in runs else "seed"
        return float(own.groupby(by)[measure].mean().mean())

    def share(self, policy: str) -> float:
        """Share of the possible colonies in which one of `pair` is ahead."""
        assert self.side is not None
        return self.side.shares[0 if self.side.a == policy else 2]

    def gone(self) -> list[tuple[str, int, int]]:
        """Policies that run the colony down, the worst first: name, runs that died out, runs."""
        runs = self.results.runs
        found = []
        for policy in self.policies:
            own = runs.loc[runs["policy"] == policy, "status"]
            died = int((own == "died_out").sum())
            if died >= FADES * len(own):
                found.append((policy, died, len(own)))
        return sorted(found, key=lambda one: -one[1] / one[2])

    @property
    def kind(self) -> str:
        """What is known: ``ahead``, ``open``, ``close`` or ``as well``; ``one`` for one policy."""
        if len(self.policies) == 1:
            return "one"
        if len(self.policies) > 2 and self.standings is not None:
            return "ahead" if self.standings["best_share"].max() >= LIKELY else "open"
        if self.side is None:
            return "ahead" if self.leader() else "open"
        if self.side.likely:
            return "close" if self.side.likely == "close" else "ahead"
        less = min(self.side.shares[0], self.side.shares[2])
        return "as well" if less <= 1.0 - SURE else "open"

    def leader(self) -> str:
        """The policy that gives more than all others as far as is known; else empty."""
        if len(self.policies) == 1:
            return self.policies[0]
        if len(self.policies) > 2 and self.standings is not None:
            return str(self.standings.loc[self.standings["best_share"].idxmax(), "policy"])
        if self.side is not None:
            return max(self.pair, key=self.share)
        table = self.results.all_differences
        for policy in self.policies:
            rows = [difference(table, YIELD, policy, o) for o in self.policies if o != policy]
            if all(separated(row) and row["difference"] > 0 for row in rows):
                return policy
        return ""

    @property
    def probably(self) -> str:
        """The word before a lead that is likely but not sure."""
        if self.side is None:
            return ""
        if len(self.policies) > 2 and self.standings is not None:
            share = float(self.standings["best_share"].max())
        else:
            share = self.share(self.leader())
        return "" if share >= SURE else "Probably "

    @cached_property
    def leaning(self) -> LeansOn | None:
        """What the answer leans on; None without possible colonies."""
        tables, table = gains.read(self.folder), _table(self.folder, "leans_on")
        if tables is None or table is None or self.asked is None:
            return None
        row = _of_pair(tables[1], self.asked).iloc[0]
        evpi = float(min(row["regret_a"], row["regret_b"]))
        return LeansOn(self.asked, self.colonies, evpi, table)


def read(folder: Path, seed: int | None = None) -> Case:
    """The case of a results folder; the same folder as last time is not read again."""
    folder = Path(folder)
    return _read(folder, seed, (folder / MANIFEST).stat().st_mtime_ns)


@lru_cache(maxsize=1)
def _read(folder: Path, seed: int | None, changed: int) -> Case:
    found = results.read(folder)
    tables = gains.read(folder)
    standings = _table(folder, "standings")
    pair = _pair(found, standings)
    side = None
    if tables is not None and len(pair) == 2:
        rows = _of_pair(tables[1], pair)
        if len(rows):
            (side,) = gains.sides_of(tables[0], rows, str(tables[1]["currency"].iloc[0]))
    order, asked = tuple(found.policies), None
    with suppress(InputError):
        # A folder whose plan cannot be made again can still be shown in part.
        plan = manifest.plan_from(found.manifest, str(folder / MANIFEST))
        asked = compared(plan, found.summary)
        # Two keep their places: the old way stands at the left.
        order = tuple(in_order(plan.policies)) if len(order) > 2 else order
    try:
        traces, why = retrace(folder, seed=seed), ""
    except InputError as error:
        traces, why = None, f"the stored runs {error.value}"
    stored = [one["text"] for one in found.manifest.get("findings", ()) if one["role"] == "answer"]
    return Case(
        found, folder, traces, why, side, standings if side is not None else None,
        pair, asked, order, " ".join(stored),
    )  # fmt: skip


def _table(folder: Path, name: str) -> pd.DataFrame | None:
    path = folder / f"{name}.parquet"
    return pd.read_parquet(path) if path.is_file() else None


def _pair(found: Results, standings: pd.DataFrame | None) -> tuple[str, ...]:
    """The policy done so far, and the one that gives most of the others."""
    first, *others = found.policies
    if len(others) <= 1:
        return tuple(found.policies)
    if standings is not None:
        best = standings.set_index("policy")["best_share"]
    else:
        best = pd.Series({p: found.of(p)["mean"] for p in found.policies})
    return first, max(others, key=lambda policy: best[policy])


def _of_pair(verdicts: pd.DataFrame, pair: tuple[str, ...]) -> pd.DataFrame:
    """The verdict on yield on a pair."""
    both = verdicts["policy"].isin(pair) & verdicts["baseline"].isin(pair)
    return verdicts[both & (verdicts["currency"] == verdicts["currency"].iloc[0])]
