"""A finished comparison of policies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from colony_sim.results.findings import Finding
from colony_sim.studies.comparison.over_worlds import OverWorlds
from colony_sim.words.showing import as_html, one_line


@dataclass(frozen=True, repr=False)
class Comparison:
    """A finished comparison of policies.

    Attributes
    ----------
    name : str
        Name of the experiment.
    folder : Path
        Where the tables, figures and the manifest are.
    verdict : str
        What the evidence on yield does and does not support, in one sentence.
    details : str
        Runs left out, means, losses and intervals, in words.
    runs : pandas.DataFrame
        One row per policy and seed: status, warm-up, every measure.
    policies : pandas.DataFrame
        One row per policy and measure: mean, 95 % interval, run counts.
    differences : pandas.DataFrame
        One row per policy other than the baseline and measure: paired difference to the baseline.
    died_out : pandas.DataFrame
        One row per policy: runs that died out.
    leaning : str
        The three assumptions the verdict leans on most, or why they were not looked for.
    assumptions : pandas.DataFrame or None
        One row per uncertain value and end of its range, if they were looked for.
    precision : tuple of str
        What precision was asked for and reached, in sentences; empty if none was asked for.
    circumstances : tuple of str
        The profile and the log of temperatures it rests on, in sentences.
    answer : tuple of str
        Over worlds: how surely a policy is ahead, what it leans on and, for a keeper's profile,
        how the answer differs from the default, in sentences.
    over_worlds, gains, standings, against_default, leans_on : pandas.DataFrame or None
        The tables behind that.
    found : OverWorlds or None
        The verdicts over worlds.
    profile : str
        Name of the worlds.
    advice : tuple of str
        For a keeper's profile: how the answer differs from that of the default.
    turning : str
        Over worlds: what would change the answer.
    left_over : tuple of str
        Which policy leaves means unused, in sentences.
    stopped : bool
        Ctrl-C ended it: it holds the whole stages that were lived before.
    """

    name: str
    folder: Path
    verdict: str
    details: str
    runs: pd.DataFrame
    policies: pd.DataFrame
    differences: pd.DataFrame
    died_out: pd.DataFrame
    leaning: str = ""
    assumptions: pd.DataFrame | None = None
    precision: tuple[str, ...] = ()
    circumstances: tuple[str, ...] = ()
    answer: tuple[str, ...] = ()
    over_worlds: pd.DataFrame | None = None
    gains: pd.DataFrame | None = None
    standings: pd.DataFrame | None = None
    against_default: pd.DataFrame | None = None
    leans_on: pd.DataFrame | None = None
    found: OverWorlds | None = None
    profile: str = ""
    advice: tuple[str, ...] = ()
    turning: str = ""
    left_over: tuple[str, ...] = ()
    stopped: bool = False

    @property
    def findings(self) -> list[Finding]:
        """Everything in words, by the part it plays."""
        advice = (*self.advice, self.turning, *self.left_over)
        details = (*self.answer, *advice, *self.circumstances, self.details)
        return [
            Finding("answer", self.verdict),
            *(Finding("detail", text) for text in details if text),
            Finding("leaning", self.leaning),
        ]

    def __repr__(self) -> str:
        return one_line(f"Comparison {self.name}", self.verdict, self.folder)

    def _repr_html_(self) -> str:
        return as_html(f"Comparison {self.name}", self.verdict, self.differences)
