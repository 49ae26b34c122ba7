"""Words of the trade that a keeper should not meet on the first screen, page or slide."""

from __future__ import annotations

import re

WORDS = (
    "settled", "paired", "Holm", "baseline", "seed", "seeds", "root scale", "MSER-5", "front",
    "fronts", "posterior", "Little's law", "world", "worlds", "currency", "currencies", "regret",
    "regrets", "ensemble", "ensembles",
)  # fmt: skip
_WORDS = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, WORDS))})(?![\w-])", re.IGNORECASE)
_FILE = (
    r"(?:csv|toml|txt|json|html|md|svg|png|pdf|ics|parquet|sqlite|py|gif|mp4|pptx|zip|org|com|ch)"
)
# A key such as rotation.interval_days: no decimal, no file, no address, no end of a sentence.
_KEY = re.compile(
    rf"(?<![\w./:@-])[a-z][a-z0-9_]{{2,}}\.(?!{_FILE}\b)[a-z][a-z0-9_]{{2,}}(?![\w/]|\.\w)"
)


def jargon(text: str) -> list[str]:
    """Words of the list and dotted keys in a text, as they stand there."""
    return [found.group() for found in (*_WORDS.finditer(text), *_KEY.finditer(text))]


HOW = "How it was worked out"
"""Below a line that begins like this every word is allowed."""
LINES, COLUMNS = 25, 80
_SENTENCE = re.compile(r"[“\w][^\n]{10,}?[.!](?: |$)")


def faults(screen: str) -> list[str]:
    """What is wrong with what a command printed: too much, no answer first, words of the trade."""
    above = re.split(rf"^{HOW}", screen, maxsplit=1, flags=re.MULTILINE)[0]
    lines = above.splitlines()
    found = [f"word: {word}" for word in jargon("\n".join(lines[:LINES]))]
    if len(screen.splitlines()) > LINES and f"\n\n{HOW}" not in screen:
        found.append(f"{len(screen.splitlines())} lines")
    if not _SENTENCE.match(" ".join(lines[:6])):
        found.append(f"no sentence first: {lines[:1]}")
    return found
