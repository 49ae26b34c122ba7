"""One run of one policy, with everything that happened in every bin, as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from colony_sim.experiment.plan import PlannedRun
from colony_sim.experiment.worlds import Worlds
from colony_sim.results import manifest
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.running.runner import compile_kernels
from colony_sim.studies.study import Study

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

    with claim(folder, name, STUDY.files):
        compile_kernels()
        record = simulate.simulate(run.scenario, record_bins=True)
        with replace_tables(folder) as staged:
            for table in TABLES:
                write_table(staged, table, getattr(record, table))
            data = manifest.build_single(name, run, command, profile, draw)
            manifest.write(staged, data)
    return record


def findings(folder: Path, data: dict[str, Any]) -> dict[str, pd.DataFrame]:
    """The tables of a run by name."""
    return {name: pd.read_parquet(folder / f"{name}.parquet") for name in TABLES}


STUDY = Study(kind="single run", tables=TABLES, figures=(), run=run_single, findings=findings)
