"""The worlds of the package: kept draws and what is known of them, as plain CSV files in ``data``.

``colony-sim worlds --remake --ship`` makes them again. The draws are in the one format of worlds,
so that ``--profile published`` takes them as it takes a keeper's own.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from colony_sim.atomic import write_text
from colony_sim.experiment.worlds import SHIPPED, read_worlds, shipped_file, write_worlds
from colony_sim.worlds.digest import digest
from colony_sim.worlds.remake import Remade

#: Tables beside the draws.
TABLES = (
    "numbers",
    "values",
    "ties",
    "structures",
    "surfaces",
    "seen",
    "held",
    "told_apart",
    "power",
    "reliability",
    "verdicts",
    "repeat",
)
#: Significant digits of the tables.
_DIGITS = 5
_FOLDER = shipped_file().parent


def shipped() -> Remade:
    """The worlds of the package and their tables."""
    tables = {
        name: pd.read_csv(path) for name in TABLES if (path := _FOLDER / f"{name}.csv").is_file()
    }
    if "numbers" in tables:
        tables["numbers"]["why"] = tables["numbers"]["why"].fillna("")
    return Remade(read_worlds(SHIPPED), tables)


def current(remade: Remade) -> bool:
    """Whether formulas, values, standings and replications are those the worlds were made of."""
    return bool(remade.worlds.facts.get("digest") == digest())


def ship(remade: Remade) -> Path:
    """Put worlds and tables into the package; its folder."""
    write_worlds(shipped_file(), remade.worlds)
    for name, table in remade.tables.items():
        write_text(_FOLDER / f"{name}.csv", rounded(table).to_csv(index=False, lineterminator="\n"))
    return _FOLDER


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """A table with real numbers to `_DIGITS` digits, as it is kept."""
    kept = table.copy()
    for name in kept.select_dtypes("float"):
        kept[name] = [float(f"{value:.{_DIGITS}g}") for value in kept[name]]
    return kept
