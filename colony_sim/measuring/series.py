"""The daily series of a run as the bytes of a Parquet file, as a comparison keeps it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.colony.simulate import RunRecord, Scenario
from colony_sim.measuring.outcome import SteadyMeasuring

_META = b"colony_sim"


@dataclass(frozen=True)
class Series:
    """The daily series of a run and the day it died out, if it did."""

    daily: pd.DataFrame
    died_out_day: int | None


@dataclass(frozen=True)
class WholeSeries(SteadyMeasuring):
    """Keeps the whole daily series of a run, lived until it is steady or `LONGEST` is reached."""

    @property
    def digest(self) -> str:
        """As of a steady measuring, and that the series is kept."""
        return f"{super().digest} series"

    def of_record(self, scenario: Scenario, record: RunRecord) -> bytes:
        """The series as `pack` gives it."""
        return pack(record.daily, record.died_out_day)


def pack(daily: pd.DataFrame, died_out_day: int | None) -> bytes:
    """A finished run as bytes; the same run always gives the same."""
    table = pa.Table.from_pandas(daily, preserve_index=False)
    facts = {"died_out_day": None if died_out_day is None else int(died_out_day)}
    text = json.dumps(facts).encode()
    table = table.replace_schema_metadata({**(table.schema.metadata or {}), _META: text})
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink)
    return sink.getvalue().to_pybytes()


def unpack(packed: bytes, columns: Sequence[str] | None = None) -> Series:
    """A run packed by `pack`; `columns` of its series, default all."""
    table = pq.read_table(pa.BufferReader(packed), columns=columns)
    facts = json.loads(table.schema.metadata[_META])
    return Series(table.to_pandas(), facts["died_out_day"])
