"""Review of Ribeiro et al. 2018: the best temperature, here that of fastest growth of numbers."""

from __future__ import annotations

import numpy as np

from colony_sim.evidence.lab import Found, Lab

CONDITIONS = ()

_TEMPERATURES = (22.0, 24.0, 26.0, 28.0, 30.0, 32.0)


def live(lab: Lab) -> Found:
    growth = [1.0 / lab.doubling_days(t) for t in _TEMPERATURES]
    return {"optimum": _TEMPERATURES[int(np.argmax(growth))]}
