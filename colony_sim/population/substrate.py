"""Stocks of the bins: bran, frass, moisture, shed skins and dead beetles."""

from __future__ import annotations

import numpy as np


class Substrate:
    """Columns over bins, the tray last (it holds no stocks).

    Attributes
    ----------
    bran, frass, moisture, skin_mass : int64 arrays, shape (bins + 1,), ng
    skins, visible_skins, dead_adults : int64 arrays, shape (bins + 1,), counts
    food, wetness, crowding : float64 arrays, shape (bins + 1,)
        The day's limits (shares of full intake, of the day's need of moisture, of growth).
    feeding : float64 array, shape (bins + 1,)
        What all limits left of the day's growth (share).
    temperature : float64 array, shape (bins + 1,)
        Mean of the day (C); NaN before the first.
    """

    def __init__(self, bins: int) -> None:
        slots = bins + 1
        self.bran = np.zeros(slots, np.int64)
        self.frass = np.zeros(slots, np.int64)
        self.moisture = np.zeros(slots, np.int64)
        self.skin_mass = np.zeros(slots, np.int64)
        self.skins = np.zeros(slots, np.int64)
        self.visible_skins = np.zeros(slots, np.int64)
        self.dead_adults = np.zeros(slots, np.int64)
        self.food = np.ones(slots, np.float64)
        self.wetness = np.ones(slots, np.float64)
        self.crowding = np.ones(slots, np.float64)
        self.feeding = np.ones(slots, np.float64)
        self.temperature = np.full(slots, np.nan)
