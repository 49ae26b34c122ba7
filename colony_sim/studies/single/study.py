"""One run of one policy, with everything that happened in every bin, as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from colony_sim.experiment.plan import PlannedRun
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import Worlds
from colony_sim.results import findings as told
from colony_sim.results import manifest
from colony_sim.results.findings import Finding
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.runner import compile_kernels
from colony_sim.studies.study import Study
from colony_sim.words.estimate import number
from colony_sim.words.units import bran as bran_of
from colony_sim.words.units import show

if TYPE_CHECKING:
    from colony_sim.colony.simulate import RunRecord

TABLES = ("daily", "bins_daily", "bin_log")


def run_single(
    run: PlannedRun,
    folder: Path,
    name: str,
    *,
    profile: Worlds | None = None,
    draw: int | None = None,
    command: str = "",
) -> RunRecord:
    """Simulate a run and write its results folder.

    Parameters
    ----------
    run : PlannedRun
    folder : Path
        Results folder; made if it is not there.
    name : str
        Of its owner.
    profile : Worlds, optional
        What the biology was taken from: its central draw, or draw number `draw`.
    command : str
        Command line, for the manifest.
    """
    from colony_sim.colony import simulate

    with using(run.house), claim(folder, name, STUDY.files):
        compile_kernels()
        record = simulate.simulate(run.scenario, record_bins=True)
        with replace_tables(folder) as staged:
            for table in TABLES:
                write_table(staged, table, getattr(record, table))
            data = manifest.build_single(name, run, command, profile, draw)
            said = [Finding("answer", " ".join(in_words(run, record)))]
            manifest.write(staged, {**data, "findings": told.as_data(said)})
    return record


def in_words(run: PlannedRun, record: RunRecord) -> list[str]:
    """How the run went: what the policy gave and took, in a sentence, and what was there last."""
    daily, name = record.daily, f"“{run.policy}”"
    if not len(daily):
        return [f"{name} gave nothing: the colony died out on day {record.died_out_day}."]
    grams, larvae, bran = (
        float(daily[column].sum()) for column in ("harvest_g", "harvest_larvae", "bran_given_g")
    )
    hours = daily["work_minutes"].sum() / 60
    took = (
        f"gave {show(grams, 'g')} ({larvae:.0f} larvae) in {len(daily)} days, for "
        f"{number(hours)} hours of work and {bran_of(bran)} of bran."
    )
    if record.died_out_day is not None:
        return [f"{name} ran the colony down: it died out on day {record.died_out_day}. It {took}"]
    last = daily.iloc[-1]
    stocks = ", ".join(
        f"{int(last[stage])} {stage}" for stage in ("eggs", "larvae", "pupae", "adults")
    )
    return [
        f"{name} {took}",
        f"At the end: {stocks}, {int(last['bins_in_use'])} bins in use.",
    ]


def findings(folder: Path, data: dict[str, Any]) -> dict[str, pd.DataFrame]:
    """The tables of a run by name."""
    return {name: pd.read_parquet(folder / f"{name}.parquet") for name in TABLES}


STUDY = Study(kind="single run", tables=TABLES, figures=(), run=run_single, findings=findings)
