"""What the worlds depend on: formulas, values, standings and replications, but not the engine.

An engine that is proven equal in distribution (``python -m tests.verification``) keeps the worlds.
Of source count its tokens without comments and docstrings, so that words and layout change nothing.
"""

from __future__ import annotations

import hashlib
import io
import tokenize
from functools import cache
from pathlib import Path

from colony_sim.biology.parameters import catalogue
from colony_sim.source import source_bytes
from colony_sim.worlds.prior import SPREADS, STRAIN, STRUCTURES

_FORMULAS = (
    "development",
    "growth",
    "heat",
    "predation",
    "rates",
    "reproduction",
    "substrate",
    "survival",
)
_TABLES = ("allowed.toml", "conditions.toml", "numbers.csv")


@cache
def digest() -> str:
    """SHA-256 over all of it, 64 hexadecimal digits."""
    package = Path(__file__).parents[1]
    values = [
        (entry.key, entry.value, entry.low, entry.high, entry.choices)
        for entry in catalogue().values()
        if entry.group == "biology"
    ]
    spreads = [(of.name, of.median, of.sd) for of in SPREADS]
    found = hashlib.sha256(repr((values, spreads, STRAIN, STRUCTURES)).encode())
    evidence = package / "evidence"
    source = [package / "biology" / f"{name}.py" for name in _FORMULAS]
    source += [evidence / "lab.py", evidence / "box.py"]
    source += sorted((evidence / "replications").glob("*.py"))
    for path in source:
        found.update(bare(source_bytes(path).decode()).encode())
    for name in _TABLES:
        found.update(source_bytes(evidence / name))
    return found.hexdigest()


def bare(text: str) -> str:
    """Tokens of source without comments, docstrings and empty lines."""
    kept: list[str] = []
    starts = True
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type in (tokenize.COMMENT, tokenize.NL):
            continue
        if token.type in (tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT):
            kept.append(tokenize.tok_name[token.type])
            starts = True
        elif not (starts and token.type == tokenize.STRING):
            kept.append(token.string)
            starts = False
    return "".join(kept)
