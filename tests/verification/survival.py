"""Claims: survival against exponential and Weibull laws, and heat."""

from __future__ import annotations

import math

import numpy as np
from scipy import integrate

from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

from . import twin_biology as bio
from .bench import IMMORTAL, Bench
from .claim import Check, Claim, chi2_check, z_check
from .durations import lognormal


def deaths_check(name: str, alive: np.ndarray, survival: np.ndarray) -> Check:
    """Daily deaths of a cohort against a survival function given at the same days.

    `alive` and `survival` start at day 0.
    """
    n = alive[0]
    deaths = np.append(-np.diff(alive), alive[-1])
    chance = np.append(-np.diff(survival), survival[-1])
    return chi2_check(f"{name}, {n} insects", deaths, n * chance)


class Survival(Claim):
    """Survival of larvae, pupae and adults."""

    name = "survival"
    statement = (
        "Larvae die exponentially at the rate of their size; beetles follow a Weibull law whose"
        " time runs with a Q10, times an exponential background; pupae emerge with probability"
        " E[exp(-h D)] over the lognormal duration D; the hazard of heat and cold is 1 per day at"
        " the lethal temperature and e times less for each scale further in; eggs outlast a"
        " Weibull wear in calendar age."
    )
    source = "closed forms; ageing as Weibull (the engine's choice; a Gompertz law is not offered)"

    def run(self, fast: bool) -> list[Check]:
        n = 5000 if fast else 40000
        self.curves: list[tuple[str, np.ndarray, np.ndarray]] = []
        checks = [
            self._larvae(n, "young larvae", 500_000, "larva.young_hazard_per_day", 0.02),
            self._larvae(n, "larvae", 50_000_000, "larva.hazard_per_day", 0.004),
            self._adults(n, 25.0, 0.0),
            self._adults(n, 30.0, 0.01),
            self._pupae(n),
        ]
        for stage, kind, side, within in (
            ("egg", Stage.EGG, "high", 0.5),
            ("larva", Stage.LARVA, "high", 2.0),
            ("pupa", Stage.PUPA, "low", 4.0),
            ("adult", Stage.ADULT, "low", -1.0),
            ("adult", Stage.ADULT, "high", 1.5),
        ):
            checks.append(self._lethal(n, stage, kind, side, within))
        checks += [self._wear(n, 12.0, 6.0), self._wear(n, 9.5, 1.0)]
        return checks

    def _watch(self, bench: Bench, days: int, t: float) -> np.ndarray:
        alive = [int(bench.table[:, :4].sum())]
        for _ in range(days):
            bench.step(t)
            alive.append(int(bench.table[:, :4].sum()))
        return np.array(alive)

    def _larvae(self, n: int, name: str, mass: int, key: str, hazard: float) -> Check:
        # At the threshold of development nothing grows, so nothing changes its class.
        bench = Bench({**IMMORTAL, key: hazard}, self.seed)
        bench.add(n, Stage.LARVA, mass=mass, tally=1)
        alive = self._watch(bench, 60, bench.p["larva.lower_c"])
        law = np.exp(-hazard * np.arange(61))
        self.curves.append((name, alive, law))
        return deaths_check(f"{name}, exponential {hazard:g}/d", alive, law)

    def _adults(self, n: int, t: float, background: float) -> Check:
        values = {
            "adult.hazard_per_day": background,
            "fecundity.peak_eggs_per_day": 0.0,
            "pupa.duration_cv": 0.0,
        }
        bench = Bench({**IMMORTAL, **values}, self.seed + 1)
        pace = bio.development(bench.p, "pupa", t)
        # Rounded up to complete the stage within, not after, the day.
        bench.add(n, Stage.PUPA, mass=130_000_000, progress=1.0 - pace + 1e-6)
        bench.step(t)
        days = 200
        alive = self._watch(bench, days, t)
        day = np.arange(days + 1)
        age = day * bio.ageing(bench.p, t)
        law = np.exp(-(age ** bench.p["adult.life_shape"]) - background * day)
        self.curves.append((f"beetles {t:g} C", alive, law))
        return deaths_check(f"beetles at {t:g} C, Weibull and {background:g}/d", alive, law)

    def _pupae(self, n: int) -> Check:
        hazard, t = 0.03, 22.0
        bench = Bench({**IMMORTAL, "pupa.hazard_per_day": hazard}, self.seed + 2)
        bench.add(n, Stage.LARVA, mass=150_000_000, progress=1.0, tally=14)
        bench.step(t)
        emerged = int(bench.run(60, t, Event.ADULT_EMERGED).sum())
        law = lognormal(bench.p["pupa.duration_cv"], 1.0 / bio.development(bench.p, "pupa", t))
        share = integrate.quad(
            lambda d: math.exp(-hazard * d) * law.pdf(d), 1.0, 60.0, points=[law.mean()]
        )[0]
        se = math.sqrt(share * (1 - share) / n)
        return z_check(f"share of pupae emerging, {n} pupae", emerged / n, share, se)

    def _wear(self, n: int, lifetime: float, shape: float) -> Check:
        """Eggs too cold to develop; the law ends where the hazard becomes constant."""
        values = {"egg.lifetime_days": lifetime, "egg.lifetime_shape": shape}
        bench = Bench({**IMMORTAL, **values}, self.seed + 4)
        bench.add(n, Stage.EGG, mass=450_000, flags=2)
        days = int(2 * lifetime)
        alive = self._watch(bench, days, bench.p["egg.lower_c"])
        law = np.exp(-((np.arange(days + 1) / lifetime) ** shape))
        self.curves.append((f"eggs, wear of {lifetime:g} d", alive, law))
        return deaths_check(f"eggs, Weibull wear of {lifetime:g} d, shape {shape:g}", alive, law)

    def _lethal(self, n: int, stage: str, kind: Stage, side: str, within: float) -> Check:
        """Deaths at some degrees within a lethal limit (beyond it, if negative)."""
        values = {f"{stage}.duration_days": 100.0} if stage in ("egg", "pupa") else {}
        values |= {"survival.heat_scale_k": 0.8, "survival.cold_scale_k": 3.0}
        bench = Bench({**IMMORTAL, **values, "fecundity.peak_eggs_per_day": 0.0}, self.seed + 3)
        bench.add(
            n, kind, mass=50_000_000, factor=1000.0 if stage == "adult" else 0.01, tally=1, flags=2
        )
        limit = bench.p[f"{stage}.lethal_{side}_c"]
        t = limit - within if side == "high" else limit + within
        alive = self._watch(bench, 5, t)
        hazard = math.exp(-within / (0.8 if side == "high" else 3.0))
        law = np.exp(-hazard * np.arange(6))
        return deaths_check(f"{stage} at {t:g} C, exp(-{hazard:.2g} n)", alive, law)

    def figure(self, ax) -> None:
        for name, alive, law in self.curves:
            day = np.arange(law.size)
            line = ax.plot(day, law, lw=1)[0]
            ax.plot(day[::6], alive[::6] / alive[0], ".", color=line.get_color(), label=name)
        ax.set(xlabel="days", ylabel="share alive", title="Engine (dots) and law (lines)")
        ax.legend()
