"""Claim: free growth is that of the projection matrix and of Euler and Lotka."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.population.insects import Stage

from .bench import IDEAL, Bench
from .claim import Check, Claim, close, mean_check
from .matrix import STAGES, Projection

_ONE_RATE = {"larva.young_hazard_per_day": 0.0006, "larva.hazard_per_day": 0.0006}
#: Few replicates make Student's t wide at the usual rate.
_ALPHA = 1e-3
#: Default biology, and quicker larvae that reach the stable distribution sooner.
_QUICK = {**_ONE_RATE, "larva.duration_days": 30.0, "larva.duration_cv": 0.25}


class GrowthRate(Claim):
    """Leslie and Lefkovitch, Euler and Lotka."""

    name = "growth_rate"
    statement = (
        "Without predators, crowding, limits and keeper, the population grows at the dominant"
        " eigenvalue of the age- and stage-classified matrix of the same parameters, in its stable"
        " stage distribution; the Euler-Lotka root agrees."
    )
    source = "Leslie 1945; Lefkovitch 1965; scipy.sparse.linalg.eigs and scipy.optimize.brentq"

    def run(self, fast: bool) -> list[Check]:
        self.traces = []
        # Beetles are the fewest and carry the growth, so the cap decides the precision.
        cases = [("quick larvae, 27 C", _QUICK, 27.0, 400, 120, 8, 3000)]
        if not fast:
            cases = [
                ("quick larvae, 27 C", _QUICK, 27.0, 550, 150, 12, 16000),
                ("quick larvae, 22 C", _QUICK, 22.0, 800, 200, 12, 16000),
                ("default biology, 27 C", _ONE_RATE, 27.0, 1700, 290, 10, 16000),
            ]
        return [check for case in cases for check in self._case(*case)]

    def _case(self, name, over, t, days, window, runs, cap) -> list[Check]:
        values = {**IDEAL, **over}
        p = Parameters.default().with_values(values, "verification")
        m = Projection(p, t)
        left = m.damping ** (days - window)
        r = math.log(m.growth)
        found = [self._grow(values, t, days, window, cap, 10 * self.seed + k) for k in range(runs)]
        self.traces.append((name, found[0][2], m.stable))
        rates = [f[0] for f in found]
        slack = r / m.generation_days()
        checks = [
            close(
                f"{name}: Euler-Lotka with daily classes",
                m.euler_lotka_daily(),
                m.growth,
                1e-9,
                "the same sum, solved another way",
            ),
            close(
                f"{name}: Euler-Lotka in continuous time, r",
                math.log(m.euler_lotka()),
                r,
                slack,
                "growth that one day more or less in a generation makes: beetles lay and age"
                " by whole days",
            ),
            mean_check(
                f"{name}: growth rate r of {runs} engines, 1/d",
                rates,
                r,
                _ALPHA,
                allowance=0.02 * r * left,
                why=f"and what is left of the start ({left:.2g} of 2 %)",
            ),
        ]
        for s in STAGES:
            shares = [f[1][s] for f in found]
            allowance = 0.2 * left * m.stable[s]
            checks.append(
                mean_check(
                    f"{name}: share of stage {s}",
                    shares,
                    m.stable[s],
                    _ALPHA,
                    allowance,
                    why=f"and what is left of the start ({left:.2g} of 20 %)",
                )
            )
        return checks

    def _grow(self, values, t, days, window, cap, seed):
        """Rate and shares over the last `window` days; half is culled at random beyond `cap`."""
        bench = Bench(values, seed, bran_g=1e7, moisture_g=1e7)
        rng = np.random.default_rng([seed, 77])
        # Beetles of a life of their own found the population, and die off.
        lives = rng.weibull(bench.p["adult.life_shape"], 400)
        bench.add_beetles(400, factor=lives, flags=rng.integers(0, 2, 400))
        logs = np.empty(days)
        shares = np.empty((days, 4))
        shift = 0.0
        for day in range(days):
            bench.step(t)
            counts = bench.table[0, :4]
            total = counts.sum()
            logs[day] = math.log(total) + shift
            shares[day] = counts / total
            if total > cap:
                gone = rng.random(bench.insects.n) < 0.5
                bench.insects.view("stage")[gone] = Stage.DEAD
                bench.insects.compact()
                bench.count()
                shift += math.log(total / bench.table[0, :4].sum())
        rate = (logs[-1] - logs[-1 - window]) / window
        mean = dict(zip(STAGES, shares[-window:].mean(axis=0), strict=True))
        return float(rate), mean, shares

    def figure(self, ax) -> None:
        name, shares, stable = self.traces[-1]
        day = np.arange(1, len(shares) + 1)
        for k, stage in enumerate(STAGES):
            line = ax.plot(day, np.maximum(shares[:, k], 1e-5), lw=1, label=stage)[0]
            ax.axhline(stable[stage], ls="--", lw=1, color=line.get_color())
        ax.set(
            yscale="log",
            ylim=(1e-3, 1),
            xlabel="day",
            ylabel="share of insects",
            title=f"Engine and stable distribution (dashed): {name}",
        )
        ax.legend()
