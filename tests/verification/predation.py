"""Claims: cannibalism as hazards, and what moving the beetles saves."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.model import Colony
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

from .bench import IDEAL, IMMORTAL, Bench
from .claim import Check, Claim, chi2_check, exact, z_check
from .survival import deaths_check


class EggPredation(Claim):
    """Eggs under predators."""

    name = "egg_predation"
    statement = (
        "Eggs under predators survive with probability exp(-integral of the hazard), the hazard in"
        " proportion to adults per dm2 and to predator larvae per kg of substrate; eaters share"
        " the eaten in proportion to their hazards; shortage of bran raises every hazard, lack"
        " of moisture that of beetles; eggs laid below the beetles' reach are safe from them; pupae"
        " attacked once may live on injured."
    )
    source = "competing exponential hazards, closed form"

    def run(self, fast: bool) -> list[Check]:
        n = 5000 if fast else 40000
        self.curves = []
        return [
            *self._varying(n),
            *self._two_eaters(n),
            self._shortage(n),
            self._thirst(n),
            *self._refuge(n),
            *self._injured(n),
        ]

    def _eggs(self, bench: Bench, n: int) -> None:
        bench.add(n, Stage.EGG, mass=450_000, factor=0.01, flags=2)

    def _varying(self, n: int) -> list[Check]:
        """Beetles come and go: 60 for 5 days, 240 for 5, none for 5, 120 for 5; 12 dm2."""
        c, days = 0.008, 5
        bench = Bench(
            {**IMMORTAL, "predation.adult_egg": c, "fecundity.peak_eggs_per_day": 0.0}, self.seed
        )
        self._eggs(bench, n)
        alive, law, total = [n], [1.0], 0.0
        for beetles in (60, 240, 0, 120):
            bench.remove(Stage.ADULT)
            if beetles:
                bench.add_beetles(beetles)
            for _ in range(days):
                bench.step(25.0)
                total += c * beetles / 12.0
                alive.append(int(bench.table[0, 0]))
                law.append(math.exp(-total))
        alive, law = np.array(alive), np.array(law)
        self.curves.append(("beetles come and go", alive, law))
        se = math.sqrt(law[-1] * (1 - law[-1]) / n)
        return [
            deaths_check("eggs by day, beetles come and go", alive, law),
            z_check("share of eggs left after 20 days", alive[-1] / n, law[-1], se),
        ]

    def _two_eaters(self, n: int) -> list[Check]:
        c_adult, c_larva, beetles, larvae = 0.02, 0.0004, 60, 500
        bench = Bench(
            {
                **IMMORTAL,
                "predation.adult_egg": c_adult,
                "predation.larva_egg": c_larva,
                "fecundity.peak_eggs_per_day": 0.0,
                "larva.lower_c": 12.0,
            },
            self.seed + 1,
            bran_g=500.0,
        )
        self._eggs(bench, n)
        bench.add_beetles(beetles)
        # At their lower limit larvae neither grow nor develop; those below 10 mg do not count.
        bench.add(larvae, Stage.LARVA, mass=100_000_000, tally=12)
        bench.add(larvae, Stage.LARVA, mass=9_000_000, tally=8)
        seen = bench.run(10, 12.0, Event.EGG_EATEN_ADULTS, Event.EGG_EATEN_LARVAE)
        adult, larva = c_adult * beetles / 12.0, c_larva * (larvae * 0.1) / 0.5
        both = adult + larva
        dead = 1 - math.exp(-both * 10)
        alive = n - np.concatenate([[0], np.cumsum(seen.sum(axis=1))])
        self.curves.append(("beetles and larvae", alive, np.exp(-both * np.arange(11))))
        shares = [dead * adult / both, dead * larva / both]
        checks = [
            z_check(
                f"share of eggs eaten by {who} in 10 days",
                seen[:, k].sum() / n,
                s,
                math.sqrt(s * (1 - s) / n),
            )
            for k, (who, s) in enumerate(zip(("beetles", "larvae"), shares, strict=True))
        ]
        return checks

    def _shortage(self, n: int) -> Check:
        """Bran for half a day's full intake where two days are wanted: a quarter of intake."""
        c, rise, beetles = 0.01, 3.0, 60
        ask = 0.04 * beetles * 0.1
        bench = Bench(
            {
                **IMMORTAL,
                "predation.adult_egg": c,
                "predation.shortage_rise": rise,
                "fecundity.peak_eggs_per_day": 0.0,
                "adult.feed_share_per_day": 0.04,
                "growth.bran_days": 2.0,
            },
            self.seed + 2,
            bran_g=0.5 * ask,
        )
        return self._left(bench, n, beetles, c * (1 + rise * 0.75), "bran short")

    def _left(self, bench: Bench, n: int, beetles: int, hazard: float, what: str) -> Check:
        """Eggs that five days among beetles leave, at a hazard for each beetle per dm2."""
        self._eggs(bench, n)
        bench.add_beetles(beetles)
        bench.run(5, 25.0)
        share = math.exp(-5 * hazard * beetles / 12.0)
        se = math.sqrt(share * (1 - share) / n)
        return z_check(f"share of eggs left after 5 days, {what}", bench.table[0, 0] / n, share, se)

    def _thirst(self, n: int) -> Check:
        """A quarter of the moisture that beetles need in a day."""
        c, rise, beetles, need = 0.01, 3.0, 60, 0.02
        bench = Bench(
            {
                **IMMORTAL,
                "predation.adult_egg": c,
                "predation.thirst_rise": rise,
                "fecundity.peak_eggs_per_day": 0.0,
                "feed.water_need_per_day": need,
                "feed.evaporation_share": 0.0,
            },
            self.seed + 4,
            moisture_g=0.25 * need * beetles * 0.1,
        )
        return self._left(bench, n, beetles, c * (1 + rise * 0.75), "moisture short")

    def _refuge(self, n: int) -> list[Check]:
        """Beetles that leave no egg within reach: what is left lies deeper, if bran is deep."""
        reach, depth, rise = 2.0, 1.5, 0.1
        beetles = max(60, n // 250)
        per_bran = 12.0 * 100.0 / 4.3
        checks = []
        for cm, refuge in ((5.0, "depth"), (1.9, "depth"), (5.0, "none")):
            bench = Bench(
                {
                    **IMMORTAL,
                    # Certain death within the rest of the day of laying, but below certainty for
                    # a word of 32 bits.
                    "predation.adult_egg": 15.0 * 12.0 / beetles,
                    "predation.refuge": refuge,
                    "predation.reach_cm": reach,
                    "fecundity.laying_depth_cm": depth,
                    "fecundity.depth_rise": rise,
                    "fecundity.peak_eggs_per_day": n / 5 / beetles,
                    "egg.duration_days": 90.0,
                    "feed.bran_cm3_per_g": 4.3,
                    "rack.bin_area_dm2": 12.0,
                },
                self.seed + 5,
                bran_g=cm * per_bran,
            )
            bench.add_beetles(beetles)
            laid = int(bench.run(1, 25.0, Event.EGG_LAID).sum())
            bench.constants = bench.constants._replace(peak_eggs=0.0)
            bench.run(3, 25.0)
            share = math.exp(-reach / (depth * (1 + rise * beetles / 12.0)))
            share *= refuge == "depth" and cm > reach
            left = int(bench.table[0, 0])
            name = f"eggs left under {refuge} in {cm:g} cm of bran, of {laid}"
            if share:
                se = math.sqrt(share * (1 - share) / laid)
                checks.append(z_check(f"share of {name}", left / laid, share, se))
            else:
                checks.append(exact(name, left, 0, "beetles reach every egg"))
        return checks

    def _injured(self, n: int) -> list[Check]:
        """A pupa of 12 days: a first attack injures with probability q, a second kills."""
        c, beetles, q, days = 0.02, 60, 0.4, 12
        bench = Bench(
            {
                **IMMORTAL,
                "predation.adult_pupa": c,
                "predation.injured_share": q,
                "fecundity.peak_eggs_per_day": 0.0,
            },
            self.seed + 3,
        )
        bench.add(n, Stage.PUPA, mass=120_000_000, factor=0.01)
        bench.add_beetles(beetles)
        bench.run(days, 25.0)
        attacks = days * c * beetles / 12.0
        whole = math.exp(-attacks)
        hurt = q * attacks * whole
        rows = bench.insects.rows(Stage.PUPA)
        injured = int((bench.insects.flags[rows] & 4).astype(bool).sum())
        seen = [rows.size - injured, injured, n - rows.size]
        chances = np.array([whole, hurt, 1 - whole - hurt])
        return [
            chi2_check(f"pupae whole, injured, eaten ({n})", seen, n * chances),
        ]

    def figure(self, ax) -> None:
        for name, alive, law in self.curves:
            day = np.arange(law.size)
            line = ax.plot(day, law, lw=1)[0]
            ax.plot(day, alive / alive[0], ".", color=line.get_color(), label=name)
        ax.set(
            xlabel="days",
            ylabel="share of eggs left",
            yscale="log",
            title="Engine (dots) and exp(-integral of hazard) (lines)",
        )
        ax.legend()


def share_eaten(hazard: float, egg_days: float, interval: float) -> float:
    """Share of eggs eaten when beetles stay `interval` days, eggs laid evenly over them.

    An egg laid u days before the beetles leave is exposed min(u, egg_days) days, so with
    m = min(interval, egg_days)

        1 - [ (1 - exp(-h m)) / h + (interval - m) exp(-h egg_days) ] / interval.
    """
    m = min(interval, egg_days)
    alive = -math.expm1(-hazard * m) / hazard if hazard > 0 else m
    return 1 - (alive + (interval - m) * math.exp(-hazard * egg_days)) / interval


class RotationShare(Claim):
    """Eggs eaten against the rotation interval, with the real keeper."""

    name = "rotation_share"
    statement = (
        "The share of eggs that beetles eat before they are moved on follows from rotation"
        " interval R, egg stage E and hazard h:"
        " 1 - [(1 - exp(-h m))/h + (R - m) exp(-h E)]/R, m = min(R, E)."
    )
    source = "derived here: eggs laid evenly over R, each exposed until it hatches or they leave"

    def run(self, fast: bool) -> list[Check]:
        beetles, coefficient, egg = 150, 0.008, 6.5
        self.hazard, self.egg = coefficient * beetles / 12.0, egg
        intervals = (7, 14, 21) if fast else (2, 4, 7, 10, 14, 21, 28, 35)
        runs = 1 if fast else 6
        checks, self.points = [], []
        for interval in intervals:
            laid, eaten = np.sum(
                [self._one(interval, beetles, coefficient, egg, k) for k in range(runs)], axis=0
            )
            share = eaten / laid
            self.points.append((interval, share))
            due = share_eaten(self.hazard, egg, interval)
            se = math.sqrt(due * (1 - due) / laid)
            checks.append(z_check(f"share eaten, R = {interval} d", share, due, se))
        points = dict(self.points)
        checks.append(exact("more is eaten in 21 days than in 14", int(points[14] < points[21]), 1))
        return checks

    def _one(self, interval, beetles, coefficient, egg, k) -> tuple[int, int]:
        values = {
            **IDEAL,
            "predation.adult_egg": coefficient,
            "egg.duration_days": egg,
            "egg.duration_cv": 0.0,
            "egg.viable_share": 1.0,
            "egg.lifetime_days": 1000.0,
            "predation.refuge": "none",
            "predation.thirst_rise": 0.0,
            "adult.hazard_per_day": 0.0,
            "adult.life_mean_days": 1000.0,
            "adult.life_shape": 20.0,
            "fecundity.full_from_days": 0.0,
            "fecundity.decline_per_day": 0.0,
            "rotation.interval_days": interval,
            "rotation.missed_share": 0.0,
            "rotation.killed_share": 0.0,
            "rotation.injured_share": 0.0,
            "rotation.eggs_lost_share": 0.0,
            "bran.start_g": 1e5,
        }
        p = Parameters.default().with_values(values, "verification")
        days = interval + 8
        colony = Colony(p, [p["egg.reference_c"]] * days, self.seed + 100 * k, beetles)
        laid = eaten = 0
        for _ in range(days):
            colony.step()
            laid += int(colony.events[0, Event.EGG_LAID])
            eaten += int(colony.events[0, Event.EGG_EATEN_ADULTS])
        return laid, eaten

    def figure(self, ax) -> None:
        days = np.arange(1, 40)
        ax.plot(days, [share_eaten(self.hazard, self.egg, d) for d in days], label="closed form")
        ax.plot(*zip(*self.points, strict=True), "o", label="engine, real keeper")
        ax.set(
            xlabel="rotation interval, d",
            ylabel="share of eggs eaten by beetles",
            title=f"Hazard {self.hazard:g}/d, egg stage {self.egg:g} d",
        )
        ax.legend()
