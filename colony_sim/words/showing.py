"""How a result shows itself: one line at a prompt, the finding and a table in a notebook."""

from __future__ import annotations

import html
from pathlib import Path

import pandas as pd

LONGEST = 160
MOST_ROWS = 20


def one_line(what: str, finding: str, folder: Path | None = None) -> str:
    """``<what: finding (folder)>``, the finding cut where the line would be too long."""
    where = f" ({folder})" if folder is not None else ""
    said = " ".join(finding.split())
    most = max(LONGEST - len(what) - len(where), 20)
    said = said if len(said) <= most else f"{said[: most - 3]}..."
    return f"<{what}: {said}{where}>"


def as_html(what: str, finding: str, *tables: pd.DataFrame) -> str:
    """The finding above the beginning of the first table."""
    shown = tables[0].head(MOST_ROWS).to_html(index=False, border=0) if tables else ""
    return f"<p><b>{html.escape(what)}</b></p><p>{html.escape(finding)}</p>{shown}"
