"""The tables of a comparison that its figures need, and what stands at the foot of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from colony_sim.experiment.worlds import SHIPPED
from colony_sim.figures import style
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results import manifest
from colony_sim.words.finding import measures_in_house
from colony_sim.words.labels import shortened
from colony_sim.words.units import scaled

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOSS = "adult_losses_per_100_per_day"
CAUSES = {cause: LOSS.replace("losses", f"losses_{cause}") for cause in style.LOSSES}
"""Measure of each cause of loss."""
MODEL_ONLY = "a statement about the model, not about a real colony"


@dataclass(frozen=True)
class Results:
    """The tables of a results folder that the figures need; policies baseline first."""

    manifest: dict[str, Any]
    policies: tuple[str, ...]
    runs: pd.DataFrame
    summary: pd.DataFrame
    differences: pd.DataFrame
    all_differences: pd.DataFrame
    daily: pd.DataFrame

    def in_house(self) -> Results:
        """The same with yields in the unit of the house."""
        units = {YIELD: "g/day"}
        return replace(
            self,
            runs=self.runs.assign(**{YIELD: scaled(self.runs[YIELD], "g")}),
            summary=measures_in_house(self.summary, units),
            differences=measures_in_house(self.differences, units),
            all_differences=measures_in_house(self.all_differences, units),
            daily=self.daily.assign(harvest_g=scaled(self.daily["harvest_g"], "g")),
        )

    def of(self, policy: str, measure: str = YIELD) -> pd.Series:
        """Mean, interval and run counts of one measure under one policy."""
        rows = self.summary
        return rows[(rows["policy"] == policy) & (rows["measure"] == measure)].iloc[0]

    def values(self, policy: str, measure: str = YIELD) -> pd.Series:
        """A measure of the runs under a policy for which it has a meaning, by seed.

        One run a world, as in the tables of means.
        """
        runs = self.runs[self.runs["policy"] == policy]
        runs = runs.drop_duplicates("world") if "world" in runs else runs
        return runs.set_index("seed")[measure].astype(float).dropna()

    @property
    def days(self) -> int:
        """Length of a run (days)."""
        return int(self.manifest["experiment"]["days"])

    @property
    def invented(self) -> bool:
        """Whether the scenario was declared to be invented."""
        return manifest.is_invented(self.manifest)

    @property
    def profile(self) -> str:
        """Name of the keeper's profile that the biology was drawn from; empty if there was none."""
        name = str((self.manifest.get("profile") or {}).get("name", ""))
        return "" if name == SHIPPED else name

    @property
    def worlds(self) -> int:
        """Worlds that were lived in, of those that the package holds; 0 if of no or of others."""
        if (self.manifest.get("profile") or {}).get("name") != SHIPPED or "world" not in self.runs:
            return 0
        return int(self.runs["world"].nunique())

    def handling(self, policy: str) -> dict[str, Any]:
        """The handling keys of a policy."""
        entries = self.manifest["policies"]
        return next(entry["handling"] for entry in entries if entry["name"] == policy)

    def index(self, policy: str) -> int:
        """Place of a policy in the tables, which decides its colour and marker."""
        return self.policies.index(policy)


def read(folder: Path) -> Results:
    """Read the tables of a results folder.

    Raises
    ------
    InputError
        If the manifest is missing or not that of a comparison.
    """
    facts = manifest.read(folder)

    def table(name: str, columns: list[str] | None = None) -> pd.DataFrame:
        return pd.read_parquet(folder / f"{name}.parquet", columns=columns)

    return Results(
        manifest=facts,
        policies=tuple(entry["name"] for entry in facts["policies"]),
        runs=table("runs"),
        summary=table("policies"),
        differences=table("differences"),
        all_differences=table("all_differences"),
        daily=table("daily", ["policy", "seed", "day", "harvest_g"]),
    )


def runs_in_words(results: Results, policies: Sequence[str] | None = None) -> str:
    """How many runs there are, for example "20 runs a policy"."""
    chosen = results.policies if policies is None else policies
    counts = sorted({int(results.of(policy)["n_runs"]) for policy in chosen})
    noun = "run" if counts == [1] else "runs"
    return f"{span(counts)} {noun} a policy"


def run_in_words(seed: int) -> str:
    """That a slide shows one run of each policy, and which."""
    return f"1 run a policy, its seed {seed}"


def span(counts: Sequence[int]) -> str:
    """Counts as one number or as least and most."""
    return f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"


def footer(figure: Figure, results: Results, runs: str | None = None) -> None:
    """Experiment, seed, number of runs and their length at the foot of a slide."""
    head = results.manifest["experiment"]
    parts = [
        shortened(str(head["name"]), 50),
        f"seed {head['seed']}",
        runs or runs_in_words(results),
        f"{head['days']} days",
    ]
    if results.profile:
        parts.append(f"with profile {results.profile}")
    if results.worlds and runs is None:
        parts.append(f"{results.worlds} possible colonies")
    if results.invented:
        parts.append("invented scenario")
    text = "  ·  ".join(parts)
    widths = [style.text_width(figure, words, style.FOOT) for words in (text, MODEL_ONLY)]
    # Side by side, or one above the other where the experiment has a long name.
    up = 0.14 if sum(widths) < style.WIDTH - 1.1 else 0.36
    for x, y, words, ha in (
        (0.4, 0.14, text, "left"),
        (style.WIDTH - 0.4, up, MODEL_ONLY, "right"),
    ):
        figure.text(
            x / style.WIDTH,
            y / style.HEIGHT,
            words,
            size=style.FOOT,
            color=style.QUIET,
            ha=ha,
        )
