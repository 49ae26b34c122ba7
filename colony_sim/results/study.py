"""Write what a study found: tables, text, figure and manifest, all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.plan import Plan
from colony_sim.results import answer as answers
from colony_sim.results import findings, manifest
from colony_sim.results.findings import Finding
from colony_sim.results.folder import MANIFEST, replace_tables, write_table
from colony_sim.results.methods import METHODS


def files_of(tables: Iterable[str], figures: Iterable[str]) -> frozenset[str]:
    """Names of all files of a results folder with these tables and figures."""
    names = {f"{name}.{end}" for name in tables for end in ("parquet", "csv")}
    names |= {f"{name}.{end}" for name in figures for end in ("png", "svg")}
    return frozenset({*names, findings.FILE, answers.FILE, METHODS, MANIFEST})


def write_study(
    plan: Plan,
    folder: Path,
    kind: str,
    tables: Mapping[str, pd.DataFrame],
    text: str,
    facts: Mapping[str, Any],
    *,
    answer: str = "",
    design: str = "",
    command: str = "",
    draw: Callable[[Path], object] | None = None,
) -> None:
    """Replace the tables of a results folder (held with ``folder.claim``).

    Parameters
    ----------
    plan : Plan
        The experiment; its name is that of the folder's owner.
    folder : Path
        Results folder.
    kind : str
        Of the study, for the manifest.
    tables : mapping of str to DataFrame
        By name, without suffix; each goes to Parquet and CSV.
    text : str
        What was found, in words.
    facts : mapping
        Settings of the study, for the manifest.
    answer : str
        What was found in one sentence, if it can be said in one.
    design : str
        How it was done and what was estimated, in sentences for a paper.
    command : str
        Command line, for the manifest.
    draw : callable, optional
        Draws the figures of a folder into that folder, from its tables and manifest, as they
        would be drawn later.
    """
    found = [Finding("answer", answer)] if answer else []
    found.append(Finding("detail", text))
    with replace_tables(folder) as staged:
        for name, table in tables.items():
            write_table(staged, name, table)
        findings.write_text(staged, found)
        data = manifest.build(plan, [], command)
        data |= {
            "kind": kind, "study": dict(facts), "design": design,
            "findings": findings.as_data(found),
        }  # fmt: skip
        manifest.write(staged, data)
        if draw is not None:
            draw(staged)
            manifest.write(staged, data)
