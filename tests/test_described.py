"""The description of the model names every parameter of the file, and no other."""

import re
from pathlib import Path

import colony_sim
from colony_sim.biology.parameters import catalogue

DOCS = Path(colony_sim.__file__).parent / "docs"


def test_every_parameter_is_described_and_every_name_exists():
    text = (DOCS / "model.md").read_text("utf-8")
    sections = {key.split(".")[0] for key in catalogue()}
    named = {
        token
        for token in re.findall(r"`([a-z]+\.[a-z_0-9]+)`", text)
        if token.split(".")[0] in sections
    }
    assert named == set(catalogue())


def test_odd_elements_are_all_there():
    text = (DOCS / "model.md").read_text("utf-8")
    headings = re.findall(r"^## (\d)\. (.+)$", text, flags=re.M)
    assert headings == [
        ("1", "Purpose and patterns"),
        ("2", "Entities, state variables and scales"),
        ("3", "Process overview and scheduling"),
        ("4", "Design concepts"),
        ("5", "Initialisation"),
        ("6", "Input data"),
        ("7", "Submodels"),
    ]


def test_every_default_has_a_source_a_range_and_a_confidence():
    for entry in catalogue().values():
        assert entry.source, entry.key
        assert entry.basis in {
            "published",
            "derived",
            "common practice, no source",
            "assumption to be tested",
        }, entry.key
        assert entry.confidence in {"high", "medium", "low"}, entry.key
        if entry.kind in {"number", "integer"}:
            assert entry.least <= entry.low <= entry.value <= entry.high <= entry.most, entry.key
