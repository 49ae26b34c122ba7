"""What was found, as data: paragraphs by the part they play, in the manifest and as a text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from colony_sim.atomic import put_text
from colony_sim.errors import InputError

Role = Literal["answer", "detail", "leaning"]
FILE = "verdict.txt"


@dataclass(frozen=True)
class Finding:
    """A paragraph of what was found.

    Attributes
    ----------
    role : str
        "answer": the finding in one sentence; "detail": what it rests on, in full; "leaning": the
        assumptions it leans on.
    text : str
    """

    role: Role
    text: str


def as_data(findings: Iterable[Finding]) -> list[dict[str, str]]:
    """Plain data for a manifest."""
    return [asdict(finding) for finding in findings]


def read(manifest: Mapping[str, Any], where: str) -> tuple[Finding, ...]:
    """The findings of a manifest.

    Raises
    ------
    InputError
        If there are none, as in folders of earlier versions, or they are damaged.
    """
    allowed = "findings as this version writes them; run the same command again"
    found = manifest.get("findings")
    if found is None:
        version = (manifest.get("software") or {}).get("colony_sim")
        raise InputError(where, "findings", f"missing (written by version {version})", allowed)
    try:
        findings = tuple(Finding(entry["role"], str(entry["text"])) for entry in found)
    except (TypeError, KeyError):
        raise InputError(where, "findings", "damaged", allowed) from None
    for finding in findings:
        if finding.role not in get_args(Role):
            raise InputError(where, "role", finding.role, f"one of {', '.join(get_args(Role))}")
    return findings


def write_text(folder: Path, findings: Iterable[Finding], question: str = "") -> None:
    """Write ``verdict.txt``: the question, if there is one, and the findings."""
    parts = [question, *(finding.text for finding in findings)]
    text = "\n\n".join(part for part in parts if part).rstrip()
    put_text(folder / FILE, f"{text}\n")
