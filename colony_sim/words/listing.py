"""Names in a row."""

from __future__ import annotations

from collections.abc import Iterable


def listed(names: Iterable[str], shown: int | None = None, rest: str = "more") -> str:
    """``a, b and c``; beyond `shown` names (and one more) the others are counted."""
    all_ = list(names)
    if shown is not None and len(all_) > shown + 1:
        all_ = [*all_[:shown], f"{len(all_) - shown} {rest}"]
    return " and ".join([part for part in (", ".join(all_[:-1]), *all_[-1:]) if part])
