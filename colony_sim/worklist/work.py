"""Read the folder of a run or a plan: its bin log, its handling and the day it starts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa

from colony_sim.biology.calendar import DATES, is_usual
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.binlog import COLUMNS
from colony_sim.drawing.lived import COLUMNS as OF_BINS
from colony_sim.errors import InputError
from colony_sim.experiment.units import METRIC, House
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.worklist.task import day_in_words

RUN, PLAN = "single run", "plan"
STARTUP = ("event", "label", "runs", "day", "day_low", "day_high")
"""Columns of a plan's table of first days that are told of."""
FIRSTS = ("first_pupa", "first_own_beetle", "first_harvest")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_FOLDERS = "the folder of a finished colony-sim plan or colony-sim run"


@dataclass(frozen=True)
class Work:
    """The work of one run of the model, with a date for its first day.

    Attributes
    ----------
    name : str
        Of the run or plan.
    origin : str
        Which run it is, in words.
    start : date
        Day 1. The keeper works at the end of a day, so the founders of day 0 go in on the
        morning of day 1.
    days : int
        Days the log covers.
    ended : int or None
        Day the colony of the run died out.
    handling : Parameters
        The rules of the keeper's.
    breeders, larvae : int
        Founders; none where a plan goes on from bins that are there.
    log : DataFrame
        Columns of `colony.binlog.COLUMNS`, in the order the work was done.
    made : datetime
        When the folder was made (UTC).
    notes : tuple of str
        What a reader must know about the dates.
    bins : DataFrame or None
        What the bins of the run held, one row a day and bin (`drawing.lived.COLUMNS`); None where
        that was not kept, as by a plan.
    house : House
        In which units it is shown.
    """

    name: str
    origin: str
    start: date
    days: int
    ended: int | None
    handling: Parameters
    breeders: int
    larvae: int
    log: pd.DataFrame
    made: datetime
    notes: tuple[str, ...] = ()
    bins: pd.DataFrame | None = None
    house: House = METRIC

    def date(self, day: int) -> date:
        """The date of a day of the log; day 0 is the morning of day 1 (see `start`)."""
        return self.start if day == 0 else self.start + timedelta(day - 1)


def read_work(folder: Path, start: str | None = None) -> Work:
    """Read the folder of ``colony-sim plan`` or ``colony-sim run``.

    Parameters
    ----------
    folder : Path
    start : str, optional
        First day, as YYYY-MM-DD; default: that of the plan. A run has no date of its own.

    Raises
    ------
    InputError
        If the folder is of another kind, a file is missing or damaged, or there is no start.
    """
    chosen = None if start is None else _date(start, "argument start", "date")
    try:
        data = manifest.read(folder, kinds=(PLAN, RUN))
    except InputError as error:
        if error.key != "file":
            raise
        raise InputError(error.where, error.key, error.value, _FOLDERS) from None
    where = str(folder / MANIFEST)
    try:
        reader = _read_plan if data["kind"] == PLAN else _read_run
        return reader(folder, data, chosen, where)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            where, "contents", f"damaged ({error})", "a manifest as colony-sim wrote it"
        ) from None


def _read_run(folder: Path, data: Mapping[str, Any], start: date | None, where: str) -> Work:
    if start is None:
        raise InputError("argument start", "date", None, f"needed for the folder of a run: {DATES}")
    held = folder / "bins_daily.parquet"
    lived = len(_table(folder / "daily.parquet", ("day",), data))
    notes = [] if _is_constant(data) else [
        "The temperatures are those of the run: its first day stands for the start date, "
        "whatever the season of that date."
    ]  # fmt: skip
    return Work(
        name=data["experiment"]["name"],
        origin=f'one run of the model (policy "{data["policy"]}", seed {data["seed"]})',
        start=start,
        days=lived,
        ended=lived if lived < data["days"] else None,
        handling=Parameters.default().with_values(data["parameters"], where=where),
        breeders=data["breeders"],
        larvae=data["larvae"],
        log=_table(folder / "bin_log.parquet", COLUMNS, data),
        made=_made(data),
        notes=tuple(notes),
        bins=_table(held, OF_BINS, data) if held.is_file() else None,
        house=manifest.house_of(data),
    )


def _read_plan(folder: Path, data: Mapping[str, Any], start: date | None, where: str) -> Work:
    study, head = data["study"], data["experiment"]
    planned = _date(study["start"], where, "study.start")
    first = start or planned
    met, want = study["met"], study["want"]
    runs = "possible colonies" if study.get("luck") else "runs"
    notes = [
        f"What is wanted, {want['in_words']}, is met in {met['met']} of {met['runs']} {runs} of "
        "this plan.",
        *_first_days(_table(folder / "startup.parquet", STARTUP, data), first),
    ]
    if first != planned and not _is_constant(data):
        notes.append(
            f"The plan was made for a start on {planned}; its temperatures are not moved with "
            f"the start. Make a new plan for {first} instead."
        )
    return Work(
        name=head["name"],
        origin=f"the median run of the plan (seed {study['log_seed']})",
        start=first,
        days=int(head["days"]),
        ended=None,
        handling=Parameters.default().with_values(study["policy"], where=where),
        breeders=head["breeders"],
        larvae=head["larvae"],
        log=_table(folder / "plan_log.parquet", COLUMNS, data),
        made=_made(data),
        notes=tuple(notes),
        house=manifest.house_of(data),
    )


def _first_days(startup: pd.DataFrame, start: date) -> list[str]:
    """How far the first dates spread over the runs of a plan."""
    told = []
    for row in startup[startup["event"].isin(FIRSTS)].itertuples():
        if pd.isna(row.day):
            continue
        low, middle, high = (
            "later" if pd.isna(day) else day_in_words(start + timedelta(int(day) - 1))
            for day in (row.day_low, row.day, row.day_high)
        )
        told.append(f"{row.label} {middle} ({low} to {high})")
    if not told:
        return []
    runs = int(startup["runs"].iloc[0])
    return [f"Median over {runs} runs of the plan, with 80 % range: {'; '.join(told)}."]


def _is_constant(data: Mapping[str, Any]) -> bool:
    return data["climate"]["kind"] == "constant"


def _made(data: Mapping[str, Any]) -> datetime:
    return datetime.fromisoformat(data["created_utc"]).astimezone(UTC)


def _date(text: Any, where: str, key: str) -> date:
    try:
        found = date.fromisoformat(text) if _DATE.fullmatch(text) else None
    except (TypeError, ValueError):
        found = None
    if found is None or not is_usual(found):
        raise InputError(where, key, text, DATES)
    return found


def _table(path: Path, columns: tuple[str, ...], data: Mapping[str, Any]) -> pd.DataFrame:
    """A stored table with at least these columns, of the folder with this manifest."""
    try:
        # Opened here: pandas has no reason to give where there is no file.
        with open(path, "rb") as handle:
            table = pd.read_parquet(handle)
    except (OSError, pa.ArrowException, ValueError) as error:
        reason = getattr(error, "strerror", None) or "damaged"
        raise InputError(str(path), "file", reason, "a table as colony-sim wrote it") from None
    missing = [name for name in columns if name not in table.columns]
    if missing:
        written = f"this folder was written by colony_sim {data['software']['colony_sim']}"
        if data.get("commit"):
            written += f", commit {data['commit'][:7]}"
        raise InputError(str(path), "column", missing[0], f"in the table; {written}: make it again")
    return table
