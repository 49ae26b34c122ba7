"""The values of a key along an axis, numbers where they lie and words side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from matplotlib.ticker import MaxNLocator

from colony_sim.figures import style
from colony_sim.studies.sweep.stored import StoredSweep, is_number
from colony_sim.words import labels

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Scale:
    """Where the values of a key lie.

    Attributes
    ----------
    key : str
    values : list
        In order.
    numeric : bool
        Whether they are numbers; others stand side by side.
    """

    key: str
    values: list[Any]
    numeric: bool

    @classmethod
    def of(cls, sweep: StoredSweep, key: str) -> Scale:
        """The scale of a key of a sweep."""
        return cls(key, sweep.values(key), is_number(sweep.points[key]))

    def at(self, values: Sequence[Any] | pd.Series) -> np.ndarray:
        """Places of values, numbers in the unit of the house."""
        if self.numeric:
            return np.asarray(labels.at(self.key, np.asarray(values, dtype=float)))
        return np.array([self.values.index(value) for value in values], dtype=float)

    @property
    def span(self) -> tuple[float, float]:
        """Ends of the axis, with a margin."""
        places = self.at(self.values)
        low, high = float(places.min()), float(places.max())
        margin = 0.06 * (high - low) if self.numeric and high > low else 0.6
        return low - margin, high + margin

    def ticks(self, axes: Axes) -> None:
        """Limits and ticks: at the values as far as they have room, else at round numbers."""
        axes.set_xlim(*self.span)
        if self.numeric and len(self.values) > 9:
            axes.xaxis.set_major_locator(MaxNLocator(4))
            return
        low, high = self.span
        inch = axes.get_window_extent().width / axes.figure.dpi / (high - low)
        texts, edge = [], -np.inf
        for place, value in zip(self.at(self.values), self.values, strict=True):
            text = labels.shown(value, self.key)
            half = style.text_width(axes.figure, text, style.BODY) / 2 + 0.06
            free = (place - low) * inch - half > edge
            texts.append(text if free else "")
            edge = (place - low) * inch + half if free else edge
        axes.set_xticks(self.at(self.values), labels=texts)
