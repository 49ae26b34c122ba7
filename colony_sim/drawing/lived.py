"""Bins as the daily series of a run has them, as something to draw."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from colony_sim.drawing.content import BREEDING, FREE, GROWING, BinContent

COLUMNS = (
    "day", "bin", "phase", "date_in", "date_out", "eggs", "larvae", "pupae", "adults", "larvae_g",
    "bran_g", "frass_g", "visible_skins", "moisture_g",
)  # fmt: skip
"""Of the daily series of bins that are needed."""
MOIST_G = 1.0
"""Free moisture (g) from which a piece of vegetable is drawn."""
_HELD = ("larvae_g", "bran_g", "frass_g", "visible_skins", "moisture_g")


def since(table: pd.DataFrame) -> dict[str, np.ndarray]:
    """Days since the beetles went in (``in_for``) and out (``out_for``); 0 where that is not."""
    days = table["day"].to_numpy(float)
    return {
        name: np.nan_to_num(days - table[date].to_numpy(float)).astype(int)
        for name, date in (("in_for", "date_in"), ("out_for", "date_out"))
    }


def contents(table: pd.DataFrame) -> Iterator[BinContent]:
    """Each row as a bin to draw; `table` has what `since` adds as well."""
    columns = ["bin", "phase", "eggs", "larvae", "pupae", "adults", *_HELD, "in_for", "out_for"]
    for row in table[columns].itertuples(index=False):
        label = {BREEDING: f"in {row.in_for} d", GROWING: f"out {row.out_for} d"}
        yield BinContent(
            int(row.bin), row.phase, int(row.eggs), int(row.larvae), int(row.pupae),
            int(row.adults), 1000.0 * row.larvae_g / row.larvae if row.larvae else 0.0,
            row.bran_g, row.frass_g, int(row.visible_skins), row.moisture_g >= MOIST_G,
            (label.get(row.phase, FREE),),
        )  # fmt: skip
