"""What the page of a results folder says, from its tables, texts and manifest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd

from colony_sim.experiment.worlds import SHIPPED
from colony_sim.measuring.catalogue import YIELD
from colony_sim.report import tables
from colony_sim.report.sure import Sure, gather_sure
from colony_sim.report.tables import Table
from colony_sim.results import findings
from colony_sim.results.folder import MANIFEST
from colony_sim.results.manifest import is_invented
from colony_sim.studies.comparison.verdict import REMINDER
from colony_sim.studies.registry import study
from colony_sim.talk.deck import Deck, gather
from colony_sim.words.estimate import dashed, number
from colony_sim.words.units import scaled, symbol

COMPARISON = "comparison"


@dataclass(frozen=True)
class Contents:
    """Everything on the page but the pictures and the rack.

    Attributes
    ----------
    facts : dict
        The manifest.
    question, part_of, answer, evidence : str
        The question; of a study, that of the experiment it is part of; the answer in one
        sentence; how many runs stand behind it.
    details, leaning : tuple of str
        Paragraphs: the finding in full, and what it leans on.
    unsaid : tuple of str
        What the answer does not say.
    policies : Table or None
    between : Table or None
        Of more than two policies: their paired differences in yield.
    all_measures : list of Table
    assumptions : Table or None
    deck : Deck
    sure : Sure or None
        Of a comparison.
    invented : bool
        Whether the scenario was declared to be invented.
    """

    facts: dict[str, Any]
    question: str
    part_of: str
    answer: str
    evidence: str
    details: tuple[str, ...]
    leaning: tuple[str, ...]
    unsaid: tuple[str, ...]
    policies: Table | None
    between: Table | None
    all_measures: list[Table]
    assumptions: Table | None
    deck: Deck
    sure: Sure | None
    invented: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Policies, baseline first."""
        return ordered(self.facts)


def ordered(facts: dict[str, Any]) -> tuple[str, ...]:
    """Policies of a manifest, baseline first."""
    baseline = facts.get("experiment", {}).get("baseline")
    names = [str(entry["name"]) for entry in facts.get("policies", ())]
    return tuple(sorted(names, key=lambda name: name != baseline))


def gather_contents(folder: Path, facts: dict[str, Any], *, beside: bool = True) -> Contents:
    """Read a results folder of any kind that has figures; `facts` is its manifest.

    Raises
    ------
    InputError
        If the folder has no results, results that cannot be drawn, or damaged ones.
    """
    compared = facts.get("kind") == COMPARISON
    question = str(facts.get("experiment", {}).get("question", ""))
    said = _said(folder, facts)
    handling = {entry["name"]: entry["handling"] for entry in facts.get("policies", ())}
    handling = {name: handling[name] for name in ordered(facts)}
    summary = tables.read(folder, "policies") if compared else None
    differences = tables.read(folder, "differences") if compared else None
    deck = gather(folder, beside)
    kind = study(facts.get("kind"))
    assert kind is not None  # Its slides are gathered.
    shared: dict[str, Any] = {
        "facts": facts,
        "question": kind.question or question or kind.kind.capitalize(),
        "part_of": question if kind.question else "",
        "deck": deck,
        "invented": is_invented(facts),
        "policies": None if not handling else tables.policies_table(handling, summary, differences),
    }
    if not compared:
        headline = "".join(said["answer"]) or dashed(deck.slides[0].title)
        return Contents(
            answer=f"{_under(facts)}: {headline.rstrip('.')}.",
            evidence="",
            details=said["detail"],
            leaning=(),
            unsaid=(REMINDER, *(slide.caveat for slide in deck.slides[:1] if slide.caveat)),
            between=None,
            all_measures=[],
            assumptions=None,
            sure=None,
            **shared,
        )
    looked = (folder / "assumptions.parquet").is_file()
    assumptions = tables.assumptions_table(tables.read(folder, "assumptions")) if looked else None
    return Contents(
        answer=" ".join(said["answer"]),
        evidence=_evidence(summary, differences),
        details=said["detail"],
        leaning=said["leaning"],
        unsaid=tuple(_unsaid(folder, summary, differences)),
        between=tables.yield_table(differences) if len(handling) > 2 else None,
        all_measures=[
            tables.measures_table(summary, tuple(handling)),
            *tables.difference_tables(differences),
        ],
        assumptions=assumptions,
        sure=gather_sure(folder, facts, said["leaning"]),
        **shared,
    )


def _under(facts: dict[str, Any]) -> str:
    profile = facts.get("profile")
    if not profile or profile["name"] == SHIPPED:
        return "In this model and under its assumptions"
    return f"In this model with profile “{profile['name']}” and under its other assumptions"


def _said(folder: Path, facts: dict[str, Any]) -> dict[str, tuple[str, ...]]:
    """Paragraphs by role; a sweep has none besides its slides."""
    said: dict[str, list[str]] = {role: [] for role in get_args(findings.Role)}
    if (folder / findings.FILE).is_file():
        for found in findings.read(facts, str(folder / MANIFEST)):
            parts = (part.strip() for part in found.text.split("\n\n"))
            said[found.role] += [dashed(part) for part in parts if part]
    return {role: tuple(parts) for role, parts in said.items()}


def _evidence(summary: pd.DataFrame, differences: pd.DataFrame) -> str:
    rows = differences[differences["measure"] == YIELD]
    runs = int(summary["n_runs"].max())
    if len(rows) == 1:
        row = rows.iloc[0]
        count = int(row["n_pairs"])
        text = f"{count} {'pair' if count == 1 else 'pairs'} of runs with the same seed"
        return f"From {text}."
    pairs = sorted({int(n) for n in rows["n_pairs"]}) or [0]
    span = f"{pairs[0]}" if len(pairs) == 1 else f"{pairs[0]} to {pairs[-1]}"
    return f"From {runs} runs of each policy, {span} pairs with the same seed and the baseline."


def _unsaid(folder: Path, summary: pd.DataFrame, differences: pd.DataFrame) -> Iterator[str]:
    yield REMINDER
    rows = differences[differences["measure"] == YIELD]
    runs = tables.read(folder, "runs")
    for _, row in rows.iterrows():
        values = _pairs(runs, row["policy"], row["baseline"])
        if len(values) > 1 and len(rows) == 1:
            low, high = (dashed(number(scaled(end, "g"))) for end in (values.min(), values.max()))
            yield (
                "The interval is that of the mean over many runs. Single pairs of runs differed "
                f"by {low} to {high} {symbol('g')} per day, and a real colony has one life only."
            )
        if row["low"] <= 0 <= row["high"] and len(rows) == 1:
            yield "Policies that the runs do not separate need not be equal."
    of_yield = summary[summary["measure"] == YIELD]
    if (of_yield["n_settled"] < of_yield["n_runs"]).any():
        yield (
            "A colony that died out counts with no harvest from then on, a run that was never "
            "steady with the last half of its days."
        )


def _pairs(runs: pd.DataFrame, policy: str, baseline: str) -> np.ndarray:
    """Differences in yield of the pairs."""
    by_seed = runs.pivot(index="seed", columns="policy", values=YIELD)
    if not {policy, baseline} <= set(by_seed.columns):
        return np.empty(0)
    return (by_seed[policy] - by_seed[baseline]).dropna().to_numpy()
