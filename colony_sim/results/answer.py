"""The answer of a study as data: one JSON document, whose form is ``answer.schema.json``.

It is made from the manifest and the tables of a results folder, lies in it as ``answer.json``, and
is what a command prints with ``--json``. The same study gives the same bytes, whatever the number
of workers: time and command line stay in the manifest.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from datetime import date
from numbers import Integral, Real
from pathlib import Path
from typing import Annotated, Any, Literal

import pyarrow.parquet as pq
from pydantic import BaseModel, ConfigDict, Field

from colony_sim.results.findings import Role

FILE = "answer.json"
SCHEMA = "answer.schema.json"
"""Next to this module; `schema` makes it."""
VERSION: Literal[1] = 1
"""Goes up when a key changes its meaning or goes; new keys may come."""
MOST_ROWS = 200
"""Rows of a table that is in the document; of a larger one it has the file."""
_COMMON = frozenset({
    "written_by", "kind", "format", "experiment", "climate", "biology", "parameters", "policies",
    "profile", "keeper", "runs", "file_text", "software", "commit", "command", "created_utc",
    "design", "findings", "files",
})  # fmt: skip
"""Keys of a manifest that are not settings of the kind of study."""
_OWN_TABLES = ("over_worlds", "leans_on")
"""Tables of a comparison that have a key of their own."""

Number = Annotated[float | None, Field(description="null: not known, or not finite")]
Probability = Annotated[float | None, Field(ge=0, le=1, description="0 to 1; null: not known")]
Error = Annotated[float | None, Field(ge=0, description="Monte Carlo standard error")]
Cell = str | int | float | bool | None
Row = dict[str, Cell | list[Any]]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Finding(_Part):
    """A paragraph of what was found."""

    role: Role
    text: str


class Experiment(_Part):
    """What was run; handling, climate and biology of every policy are in the manifest."""

    name: str
    days: int | None = Field(description="Length of a run (days).")
    replicates: int | None = Field(description="Runs of each policy (at each point).")
    breeders: int | None = Field(description="Beetles a colony is founded with.")
    larvae: int | None = Field(description="Larvae a colony is founded with.")
    policies: list[str]
    baseline: str | None
    invented: bool = Field(description="Declared to be invented: not data of a real colony.")


class WorldsOf(_Part):
    """The joint draws of what nobody knows that were lived in."""

    name: str
    draws: int = Field(ge=1, description="How many the manifest holds.")
    lived: int | None = Field(description="How many of them were lived in; null: as many as runs.")


class OverWorlds(BaseModel):
    """Policy A (`policy`) against policy B (`baseline`) in one currency.

    Gains are those of A over B, in the unit of the currency.
    """

    model_config = ConfigDict(extra="allow")

    policy: str
    baseline: str
    currency: str
    expected_gain: Number
    expected_gain_se: Error
    probability_a: Probability
    probability_a_se: Error
    probability_b: Probability
    probability_b_se: Error
    low: Number = Field(description="5 % of the gains over worlds are below.")
    high: Number = Field(description="5 % of the gains over worlds are above.")
    regret_a: Number = Field(description="Expected loss of choosing A.")
    regret_b: Number = Field(description="Expected loss of choosing B.")


class Table(_Part):
    """A table of the results folder."""

    parquet: str | None
    csv: str | None
    rows: int = Field(ge=0)
    columns: list[str]
    records: list[Row] | None = Field(
        description=f"Its rows; null if there are more than {MOST_ROWS}, or if they stand under "
        "a key of their own."
    )


class Answer(_Part):
    """The answer of a study of colony_sim as data."""

    format: Literal["colony_sim answer"]
    version: Literal[1] = Field(description="Of this form.")
    kind: str = Field(description="Kind of study, as in the manifest.")
    name: str
    question: str
    answer: str | None = Field(description="In one sentence; null if it takes more: `findings`.")
    findings: list[Finding]
    experiment: Experiment
    worlds: WorldsOf | None = Field(description="null: one set of values.")
    settings: dict[str, Any] = Field(description="Of the kind of study.")
    over_worlds: list[OverWorlds] | None = Field(
        description="How surely which policy is ahead; null but for comparisons over worlds."
    )
    leans_on: list[Row] | None = Field(
        description="What the answer over worlds leans on; null where it was not looked for."
    )
    tables: dict[str, Table]
    files: list[str] = Field(description="Names of all files of the results folder.")
    folder: str = Field(description='Results folder; "." in the file, which lies in it.')
    seed: int | None
    software: dict[str, str] = Field(description="Versions of what can change a result.")
    commit: str | None


def schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the document."""
    found = Answer.model_json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:colony-sim:answer:{VERSION}",
        **found,
    }


def build(folder: Path, data: Mapping[str, Any], files: Iterable[str]) -> dict[str, Any]:
    """The document of a results folder.

    Parameters
    ----------
    folder : Path
        Has the tables.
    data : mapping
        Its manifest.
    files : iterable of str
        Names of all its files.
    """
    files = sorted(files)
    head, kind = data["experiment"], str(data["kind"])
    own = _OWN_TABLES if kind == "comparison" else ()
    rows = {name: _rows(folder / f"{name}.parquet") for name in own}
    found = [Finding(role=each["role"], text=each["text"]) for each in data.get("findings", ())]
    document = Answer(
        format="colony_sim answer",
        version=VERSION,
        kind=kind,
        name=str(head["name"]),
        question=str(head.get("question", "")),
        answer=next((each.text for each in found if each.role == "answer"), None),
        findings=found,
        experiment=_experiment(data),
        worlds=_worlds(data),
        settings=_settings(data),
        over_worlds=_as_verdicts(rows.get("over_worlds")),
        leans_on=rows.get("leans_on"),
        tables={
            path.stem: _table(path, files, whole=path.stem not in own)
            for path in sorted(folder.glob("*.parquet"))
        },
        files=files,
        folder=".",
        seed=head.get("seed", data.get("seed")),
        software=data["software"],
        commit=data.get("commit"),
    )
    plain: dict[str, Any] = finite(document.model_dump(mode="json"))
    return plain


def as_text(document: Mapping[str, Any]) -> str:
    """The document as JSON, in ASCII so that it is read alike whatever a pipe's encoding."""
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def read(folder: Path) -> dict[str, Any]:
    """The document of a results folder, with the folder in it."""
    document = json.loads((folder / FILE).read_text(encoding="utf-8"))
    return {**document, "folder": str(folder)}


def finite(value: Any) -> Any:
    """Plain data: what is not finite or not there becomes None, dates become text."""
    if isinstance(value, Mapping):
        return {str(key): finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [finite(each) for each in value]
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value) if math.isfinite(value) else None
    return value.isoformat() if isinstance(value, date) else str(value)


def _experiment(data: Mapping[str, Any]) -> Experiment:
    # A run has its length, founders and policy beside the experiment.
    head = {**data, **data["experiment"]}
    names = [entry["name"] for entry in data.get("policies", ())] or [head.get("policy")]
    return Experiment(
        name=head["name"],
        days=head.get("days"),
        replicates=head.get("replicates"),
        breeders=head.get("breeders"),
        larvae=head.get("larvae"),
        policies=[name for name in names if name is not None],
        baseline=head.get("baseline"),
        invented=head.get("invented") is True,
    )


def _worlds(data: Mapping[str, Any]) -> WorldsOf | None:
    profile = data.get("profile")
    if not profile:
        return None
    lived = len(set(data["experiment"].get("worlds", ()))) or None
    return WorldsOf(name=profile["name"], draws=len(profile["draws"]), lived=lived)


def _settings(data: Mapping[str, Any]) -> dict[str, Any]:
    """What the manifest has of the kind of study alone; that of one key without the key."""
    own = {key: value for key, value in data.items() if key not in _COMMON}
    for key in ("study", str(data["kind"])):
        own |= own.pop(key, {})
    found: dict[str, Any] = finite(own)
    return found


def _as_verdicts(rows: list[Row] | None) -> list[OverWorlds] | None:
    return None if rows is None else [OverWorlds.model_validate(row) for row in rows]


def _table(path: Path, files: list[str], whole: bool) -> Table:
    facts = pq.read_metadata(path)
    small = whole and facts.num_rows <= MOST_ROWS
    text = f"{path.stem}.csv"
    return Table(
        parquet=path.name,
        csv=text if text in files else None,
        rows=facts.num_rows,
        columns=list(facts.schema.to_arrow_schema().names),
        records=_rows(path) if small else None,
    )


def _rows(path: Path) -> list[Row] | None:
    """The rows of a table, None if there is none."""
    if not path.is_file():
        return None
    rows: list[Row] = finite(pq.read_table(path).to_pylist())
    return rows
