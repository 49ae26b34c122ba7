"""Claim: moisture, crowding and shortage of bran limit a day's growth and clock as described."""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize

from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Flow

from . import twin_biology as bio
from .bench import Bench
from .claim import Check, Claim, close
from .twin_growth import LAWS

_MG = 60.0
_N = 500
_T = 27.0
_WHY = "one day of growth in single precision: 1e-5 of a larva, some 1e-3 of its gain"


class Limits(Claim):
    """One day under a limit."""

    name = "limits"
    statement = (
        "A day's growth is that of the growth law slowed by moisture (a straight line from the dry"
        " share) and crowding (exp(-slope g/L) or exp(-slope g/dm2)), and cut in proportion when"
        " bran runs short; the clock slows by its sensitivity to the first two and in full with"
        " intake; bran eaten is gain times feed per gain and upkeep."
    )
    source = "closed form of one day under each growth law; Holling 1959, type I"

    def run(self, fast: bool) -> list[Check]:
        grams = _N * _MG / 1000
        need = 0.02 * grams
        area, volume = {"growth.crowding": "per_area"}, {"growth.crowding": "per_volume"}
        slope, slope_area = {"growth.crowding_slope": 0.1}, {"growth.crowding_slope_area": 0.05}
        self.bars: list[tuple[str, float, float]] = []
        # Bran is 4.3 cm3/g, on 12 dm2; no more than 10 cm of depth count.
        cases = [
            ("no limit", {}, 1e6, 1e6, 1.0),
            ("no moisture", {}, 1e6, 0.0, 0.6),
            ("half the moisture", {}, 1e6, need / 2, 0.8),
            ("crowded by area", {**area, **slope_area}, 1e6, 1e6, math.exp(-0.05 * grams / 12)),
            ("crowded in 4.3 L", {**volume, **slope}, 1e3, 1e6, math.exp(-0.1 * grams / 4.3)),
            ("crowded in 12 L", {**volume, **slope}, 1e6, 1e6, math.exp(-0.1 * grams / 12)),
            *((law, {"growth.law": law}, 1e6, 1e6, 1.0) for law in LAWS if law != "logistic"),
        ]
        checks = []
        for name, values, bran, water, limit in cases:
            checks += self._day(name, values, bran, water, limit, 1.0)
        # What is eaten in plenty, then a bin with bran for one day where two are wanted.
        full = self.eaten["no limit"]
        checks += self._day("bran for a day", {}, full, 1e6, 1.0, 0.5)
        return checks

    eaten: dict[str, float] = {}

    def _day(self, name, values, bran_g, water_g, limit, food) -> list[Check]:
        fixed = {
            "larva.hazard_per_day": 0.0,
            "growth.dry_share": 0.6,
            "larva.starvation_hazard_per_day": 0.0,
            "feed.water_need_per_day": 0.02,
            "larva.clock_sensitivity": 0.5,
            "growth.bran_days": 2.0,
            "rack.bin_area_dm2": 12.0,
            "growth.law": "logistic",
            "growth.crowding_slope": 0.0,
            "growth.crowding_slope_area": 0.0,
            "growth.usable_depth_cm": 10.0,
            "feed.bran_cm3_per_g": 4.3,
            "larva.size_cv": 0.0,
            "heat.own": False,
        }
        bench = Bench({**fixed, **values}, self.seed, bran_g=bran_g, moisture_g=water_g)
        p = bench.p
        bench.add(_N, Stage.LARVA, mass=round(_MG * 1e6), progress=0.25, tally=12)
        bench.step(_T)
        rate = bio.development(p, "larva", _T)
        law, top = LAWS[p["growth.law"]], p["larva.asymptotic_mass_mg"]
        start = optimize.brentq(lambda c: law.mass(p, c, top) - _MG, 0.0, 1.0)
        gain = (law.mass(p, start + rate * limit, top) - _MG) * food
        seen = float(bench.insects.view("mass").mean() / 1e6 - _MG)
        pace = rate * (1 - 0.5 * (1 - limit)) * food
        clock = float(bench.insects.view("progress").mean()) - 0.25
        upkeep = p["feed.maintenance_per_day"] * rate * p["larva.duration_days"] * _MG
        bran = (p["feed.per_gain"] * gain / food + upkeep) * food * _N / 1000
        eaten = float(bench.flows[Flow.BRAN_EATEN]) / 1e9
        self.eaten = {**self.eaten, name: eaten}
        self.bars.append((name, seen, gain))
        return [
            close(f"{name}: gain of a day, mg", seen, gain, 2e-3 * gain, _WHY),
            close(f"{name}: clock of a day", clock, pace, 1e-3 * pace, "single precision"),
            close(f"{name}: bran eaten, g", eaten, bran, 2e-3 * bran, _WHY),
        ]

    def figure(self, ax) -> None:
        names, seen, due = zip(*self.bars, strict=True)
        place = np.arange(len(names))
        ax.bar(place - 0.2, seen, 0.4, label="engine")
        ax.bar(place + 0.2, due, 0.4, label="closed form")
        ax.set_xticks(place, names, rotation=25, ha="right")
        ax.set(ylabel="mg", title=f"A day's growth of a larva of {_MG:g} mg at {_T:g} C")
        ax.legend()
