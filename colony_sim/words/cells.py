"""Texts in the cells of a CSV, which a spreadsheet must not take for formulas."""

from __future__ import annotations

from typing import Any

import pandas as pd

_BEGINS = ("=", "+", "-", "@", "\t", "\r")
"""First letters of what a spreadsheet works out (OWASP, CSV injection)."""


def without_formulas(frame: pd.DataFrame) -> pd.DataFrame:
    """A table whose texts no spreadsheet works out: an apostrophe goes before those it would.

    Numbers, and texts that are numbers, stay as they are.
    """
    return frame.apply(
        lambda column: column.map(_plain) if column.dtype == object or _is_text(column) else column
    )


def as_csv(frame: pd.DataFrame, head: bool = True) -> str:
    """A table as the text of a CSV file, `without_formulas`; `head`: names of columns first."""
    text: str = without_formulas(frame).to_csv(header=head, index=False, lineterminator="\n")
    return text


def _is_text(column: pd.Series) -> bool:
    return isinstance(column.dtype, pd.StringDtype)


def _plain(cell: Any) -> Any:
    if not isinstance(cell, str) or not cell.startswith(_BEGINS):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
