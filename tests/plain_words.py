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
_KEY = re.compile(rf"(?<![\w./:@-])[a-z][a-z0-9_]*\.(?!{_FILE}\b)[a-z][a-z0-9_]*(?![\w/]|\.\w)")


def jargon(text: str) -> list[str]:
    """Words of the list and dotted keys in a text, as they stand there."""
    return [found.group() for found in (*_WORDS.finditer(text), *_KEY.finditer(text))]
