"""Answers as data, checked with a general-purpose library against the schema that is shipped."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

from jsonschema import Draft202012Validator

from colony_sim.results.answer import FILE, SCHEMA

SHIPPED = json.loads(files("colony_sim.results").joinpath(SCHEMA).read_text(encoding="utf-8"))


def _refuse(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")


def parsed(text: str) -> dict:
    """One JSON document, without the NaN and Infinity that Python alone would read."""
    return json.loads(text, parse_constant=_refuse)


def valid(text: str) -> dict:
    """An answer that the schema allows."""
    document = parsed(text)
    Draft202012Validator(SHIPPED).validate(document)
    return document


def of_folder(folder: Path, kind: str) -> dict:
    """The answer in a results folder: valid, of this kind, and naming the files that are there."""
    document = valid((folder / FILE).read_text(encoding="utf-8"))
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    assert document["kind"] == manifest["kind"] == kind
    assert document["files"] == manifest["files"]
    assert {path.name for path in folder.iterdir()} >= set(document["files"])
    tables = {path.stem for path in folder.glob("*.parquet")}
    assert document["tables"].keys() == tables
    assert document["findings"] == manifest["findings"]
    return document
