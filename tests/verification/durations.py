"""Claims: durations of stages have their closed forms."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from colony_sim.biology.parameters import Parameters
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

from . import twin_biology as bio
from .bench import IMMORTAL, Bench
from .claim import Check, Claim, chi2_check, exact, z_check
from .twin_growth import LAWS


def lognormal(cv: float, mean: float = 1.0):
    """Lognormal distribution with a given mean and coefficient of variation (scipy)."""
    variance = math.log(1.0 + cv * cv)
    return stats.lognorm(s=math.sqrt(variance), scale=mean * math.exp(-variance / 2.0))


def by_day(law, days: int, rates=None, head: float = 0.0) -> np.ndarray:
    """Probability that a duration ends on day 1, 2, ... when whole days are counted.

    `rates` are the daily shares of the mean stage; then `law` has mean 1. `head` is what
    could pass on the day of entry, which comes at a uniform time of that day.
    """
    edges = np.arange(days + 1) if rates is None else np.concatenate([[0], np.cumsum(rates)])
    start = head * (np.arange(200) + 0.5)[:, None] / 200
    return np.diff(law.cdf(edges + start), axis=1).mean(axis=0)


class Durations(Claim):
    """Each stage's duration at constant and at changing temperature."""

    name = "durations"
    statement = (
        "The time in a stage is lognormal with the mean of Briere's curve and the coefficient of"
        " variation of the parameter file, at constant and at changing temperature; counted in"
        " whole days it is F(n) - F(n - 1), for eggs averaged over the time of laying."
        " The share of eggs that can hatch is binomial."
    )
    source = "closed form; Briere et al. 1999, Environ. Entomol. 28:22 for the mean"

    def run(self, fast: bool) -> list[Check]:
        n = 6000 if fast else 40000
        self.drawn: list[tuple[str, np.ndarray, np.ndarray]] = []
        checks: list[Check] = []
        for t in (20.0, 30.0):
            checks += self._egg(n, [t] * 40, f"eggs at {t:g} C")
        checks += self._egg(n, [18.0, 31.0] * 20, "eggs at 18 and 31 C by turns")
        for t in (25.0,) if fast else (20.0, 25.0, 33.0):
            checks += self._larva(n, t)
            checks += self._pupa(n, t)
        checks += [self._viable(n), self._teneral(28.0), self._teneral(20.0)]
        return checks

    def _matches(self, name: str, seen: np.ndarray, chance: np.ndarray) -> list[Check]:
        n = seen.sum()
        expected = n * chance
        self.drawn.append((name, seen, expected))
        day = np.arange(1, seen.size + 1)
        mean = float((seen * day).sum() / n)
        hoped = float((chance * day).sum() / chance.sum())
        sd = math.sqrt(float((chance * (day - hoped) ** 2).sum() / chance.sum()))
        # What lies beyond the last day watched, or before the first, gets a class of its own.
        rest = max(0.0, n - expected.sum())
        return [
            chi2_check(f"{name}: days, {n} insects", [*seen, 0], [*expected, rest]),
            z_check(f"{name}: mean, d", mean, hoped, sd / math.sqrt(n)),
        ]

    def _egg(self, n: int, air: list[float], name: str) -> list[Check]:
        bench = Bench(IMMORTAL, self.seed)
        bench.lay(n, 25.0)
        seen = np.array([bench.run(1, t, Event.EGG_HATCHED)[0, 0] for t in air])
        rates = [bio.development(bench.p, "egg", t) for t in air]
        law = lognormal(bench.p["egg.duration_cv"])
        head = bio.development(bench.p, "egg", 25.0)
        return self._matches(name, seen, by_day(law, len(air), rates, head))

    def _larva(self, n: int, t: float) -> list[Check]:
        # Eggs that all take one day to the minute, so that larvae start with a day.
        start = {"egg.duration_cv": 0.0, "egg.duration_days": 1.0, "egg.reference_c": 25.0}
        bench = Bench({**IMMORTAL, **start, "larva.critical_mass_mg": 0.5}, self.seed + 1)
        bench.hatch_at_once(n, 25.0)
        mean = 1.0 / bio.development(bench.p, "larva", t)
        days = round(2.5 * mean)
        seen = bench.run(days, t, Event.PUPA_FORMED)[:, 0]
        law = lognormal(bench.p["larva.duration_cv"], mean)
        return self._matches(f"larvae at {t:g} C", seen, by_day(law, days))

    def _pupa(self, n: int, t: float) -> list[Check]:
        bench = Bench({**IMMORTAL, "adult.life_mean_days": 1000.0}, self.seed + 2)
        bench.add(n, Stage.LARVA, mass=150_000_000, progress=1.0, tally=14)
        bench.step(t)
        mean = 1.0 / bio.development(bench.p, "pupa", t)
        days = round(2.5 * mean)
        seen = bench.run(days, t, Event.ADULT_EMERGED)[:, 0]
        law = lognormal(bench.p["pupa.duration_cv"], mean)
        return self._matches(f"pupae at {t:g} C", seen, by_day(law, days))

    def _viable(self, n: int) -> Check:
        share = Parameters.default()["egg.viable_share"]
        bench = Bench({**IMMORTAL, "egg.viable_share": share}, self.seed + 3)
        # Parents at 29 C: a straight line between the two viability limits.
        bench.lay(n, 29.0)
        laid = int(bench.table[0, 0])
        hatched = int(bench.run(30, 27.0, Event.EGG_HATCHED).sum())
        p = bench.p
        share *= (p["egg.viability_none_c"] - 29.0) / (
            p["egg.viability_none_c"] - p["egg.viability_full_c"]
        )
        se = math.sqrt(share * (1 - share) / laid)
        return z_check("share hatching, parents at 29 C", hatched / laid, share, se)

    def _teneral(self, t: float) -> Check:
        quick = {"pupa.duration_cv": 0.0, "fecundity.peak_eggs_per_day": 90.0}
        bench = Bench(
            {**IMMORTAL, **quick, "adult.life_mean_days": 1000.0, "fecundity.full_from_days": 0.0},
            self.seed + 4,
        )
        pace = bio.development(bench.p, "pupa", t)
        bench.add(50, Stage.PUPA, mass=130_000_000, progress=1.0 - pace + 1e-6, flags=1)
        laid = bench.run(40, t, Event.ADULT_EMERGED, Event.EGG_LAID)
        emerged, first = (int(np.flatnonzero(laid[:, k])[0]) for k in (0, 1))
        due = math.ceil(1.0 / bio.ripening(bench.p, t) - 1e-4) + 1
        return exact(
            f"day of first laying after emergence at {t:g} C",
            first - emerged,
            due,
            "whole days until the teneral period is over, laying from the next day on",
        )

    def figure(self, ax) -> None:
        for name, seen, expected in self.drawn:
            day = np.arange(1, seen.size + 1)
            line = ax.plot(day, expected / seen.sum(), lw=1)[0]
            keep = seen > 0
            ax.plot(
                day[keep], seen[keep] / seen.sum(), ".", ms=4, color=line.get_color(), label=name
            )
        ax.set(
            xscale="log",
            xlabel="days in the stage",
            ylabel="share",
            title="Engine (dots) and closed form (lines)",
        )
        ax.legend(fontsize=7)


class Growth(Claim):
    """Mass by the growth laws."""

    name = "growth_law"
    statement = (
        "Without limits, larval mass follows the chosen growth law on the larval clock, to mature"
        " mass at its end; instars follow Dyar's rule on that mass."
    )
    source = (
        "closed forms; West, Brown and Enquist 2001, Nature 413:628; Richards 1959, J. Exp. Bot."
        " 10:290"
    )

    def run(self, fast: bool) -> list[Check]:
        self.curves = []
        rooms = (25.0,) if fast else (20.0, 25.0, 30.0)
        return [check for law in LAWS for t in rooms for check in self._law(law, t)]

    def _law(self, law: str, t: float) -> list[Check]:
        same = {
            "growth.law": law,
            "larva.duration_cv": 0.0,
            "larva.size_cv": 0.0,
            "egg.duration_cv": 0.0,
            "egg.duration_days": 1.0,
            "egg.reference_c": 25.0,
        }
        bench = Bench({**IMMORTAL, **same}, self.seed)
        p = bench.p
        bench.hatch_at_once(5, 25.0)
        mean = 1.0 / bio.development(p, "larva", t)
        days = int(mean)
        mass, ideal, instar = [], [], 1
        for day in range(1, days + 1):
            bench.step(t)
            mass.append(float(bench.insects.view("mass").mean()) / 1e6)
            ideal.append(LAWS[law].mass(p, day / mean, p["larva.asymptotic_mass_mg"]))
            instar = int(bench.insects.view("tally").max())
        self.curves.append((f"{law}, {t:g} C", np.array(mass), np.array(ideal)))
        worst = float(np.abs(np.array(mass) / np.array(ideal) - 1).max())
        grown = ideal[-1] / p["larva.hatchling_mass_mg"]
        due = 1 + int(math.log(grown) / math.log(p["larva.molt_mass_ratio"]))
        return [
            Check(
                f"{law}: largest relative gap in mass at {t:g} C",
                worst,
                0.0,
                1e-4,
                "masses are worked in single precision (6e-8) over some 100 days",
            ),
            exact(f"{law}: instars passed at {t:g} C", instar, due, "Dyar's rule on mass"),
        ]

    def figure(self, ax) -> None:
        for name, mass, ideal in self.curves:
            day = np.arange(1, mass.size + 1)
            line = ax.plot(day, ideal, lw=1)[0]
            ax.plot(day[::5], mass[::5], ".", color=line.get_color(), label=name)
        ax.set(xlabel="days since hatching", ylabel="mg", title="Engine (dots), growth law (lines)")
        ax.legend()
