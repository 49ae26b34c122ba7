"""Claims: in its larva-pupa-adult limit the engine is the map, in one step and in the long run."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy import stats

from .claim import ALPHA, Check, Claim, close, exact, mean_check
from .lpa_engine import LpaEngine
from .lpa_map import CONTROL_A, S1, S1_HIGH, S2, LpaSet

_SOURCE = (
    "Dennis et al. 1995, Ecol. Monogr. 65:261; Costantino et al. 1997, Science 275:389; Dennis et"
    " al. 2001, Ecol. Monogr. 71:277; values as in shared biology.md, section 3"
)
_SETS = {
    "Costantino 1997": S1,
    "mua .96, cpa .35": replace(S1_HIGH, cpa=0.35),
    "mua .96, cpa 1": replace(S1_HIGH, cpa=1.0),
    "Dennis 2001": S2,
    "control A": CONTROL_A,
}
_NAMES = ("L", "P", "A")


def one_step(s: LpaSet, label: str, states, bins: int, seed: int) -> tuple[list[Check], list]:
    """Mean of one step of the engine from each state against the map; chi-square per stage."""
    squares, count = np.zeros(3), np.zeros(3, int)
    pairs = []
    for k, state in enumerate(states):
        engine = LpaEngine(s, seed + k, bins)
        engine.start(state)
        mean = engine.step().mean(axis=0)
        expected, variance = s.step(state), s.variance(state)
        pairs.append((expected, mean))
        # Where hardly any insect is expected in all bins together, normal theory fails.
        use = variance * bins > 25.0
        squares[use] += (mean - expected)[use] ** 2 / (variance[use] / bins)
        count += use
    checks = [
        Check(
            f"{label}: {_NAMES[j]}' of {count[j]} states, {bins} engines each, chi-square",
            squares[j],
            float(count[j]),
            float(stats.chi2.isf(ALPHA, count[j])) - count[j],
            "upper 0.0001 point of chi-square; variance: Poisson eggs, binomial survival",
            ALPHA,
        )
        for j in range(3)
        if count[j]
    ]
    return checks, pairs


def _states(n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng([seed, 9])
    return np.round(rng.uniform(0, [300, 200, 300], (n, 3)))


class LpaMap(Claim):
    """The map itself."""

    name = "lpa_map"
    statement = (
        "The map used here shows the known behaviour: first steps, fixed points, cycles of 8 and 3,"
        " an invariant loop, and chaos by its Lyapunov exponent."
    )
    source = _SOURCE + " (attractors computed there)"

    def run(self, fast: bool) -> list[Check]:
        steps = 4000 if fast else 40000
        digits = "printed to 3 decimals"
        checks = []
        known = [(10.119, 198.625, 102.362), (183.215, 8.040, 224.352), (12.105, 145.564, 225.441)]
        orbit = S1.orbit(2000)
        for k, state in enumerate(known, start=1):
            gap = float(np.abs(orbit[k] - state).max())
            checks.append(close(f"Costantino 1997, step {k}: gap", gap, 0, 6e-4, digits))
        for label, s, point in (
            ("Costantino 1997", S1, (22.608, 17.962, 385.181)),
            ("mua .96, cpa 0", replace(S1_HIGH, cpa=0.0), (78.41, 62.30, 64.89)),
        ):
            gap = float(np.abs(s.orbit(2000)[-1] - point).max())
            checks.append(close(f"{label}: gap to the fixed point", gap, 0, 6e-3, "as printed"))
        for cpa, period in ((0.05, 8), (1.0, 3)):
            checks.append(
                exact(
                    f"cpa {cpa:g}: length of the cycle", replace(S1_HIGH, cpa=cpa).period(), period
                )
            )
        for cpa, exponent in ((0.10, 0.0), (0.25, 0.024), (0.35, 0.103), (0.50, 0.063)):
            s = replace(S1_HIGH, cpa=cpa)
            value = s.lyapunov(s.orbit(steps)[1000:])
            checks.append(
                close(
                    f"cpa {cpa:g}: Lyapunov exponent",
                    value,
                    exponent,
                    0.025 if fast else 0.006,
                    "mean over a finite orbit; the published digits",
                )
            )
        value = S2.lyapunov(S2.orbit(steps)[1000:])
        checks.append(exact("Dennis 2001, cpa .35: chaos (exponent > 0.05)", int(value > 0.05), 1))
        return checks

    def figure(self, ax) -> None:
        cpa = np.linspace(0, 1, 401)
        s = replace(S1_HIGH, cpa=cpa)
        state = np.tile(S1_HIGH.start, (cpa.size, 1))
        for step in range(1080):
            state = s.step(state)
            if step >= 1000:
                ax.plot(cpa, state[:, 0], ",", color="C0")
        ax.set(xlabel="cpa", ylabel="larvae on the attractor", title="The map, mua = 0.96")


class LpaStep(Claim):
    """One step from many states."""

    name = "lpa_step"
    statement = (
        "Configured as three stages with a 14-day step, exponential egg and pupa predation and"
        " constant fecundity, the engine's mean step from many states is the larva-pupa-adult map."
    )
    source = _SOURCE

    def run(self, fast: bool) -> list[Check]:
        sets = dict(list(_SETS.items())[:2]) if fast else _SETS
        checks, self.pairs = [], []
        for label, s in sets.items():
            states = _states(5 if fast else 25, self.seed)
            found, pairs = one_step(s, label, states, 150 if fast else 300, 1000 * self.seed)
            checks += found
            self.pairs += pairs
        return checks

    def figure(self, ax) -> None:
        expected, mean = (np.array([p[k] for p in self.pairs]) for k in (0, 1))
        for j, name in enumerate(_NAMES):
            ax.plot(expected[:, j], mean[:, j], ".", label=name + "'")
        top = expected.max()
        ax.plot([0, top], [0, top], "k-", lw=0.5)
        ax.set(xlabel="map", ylabel="mean of engines", title="One step from many states")
        ax.legend()


def residuals(s: LpaSet, orbit: np.ndarray, volume: float, label: str) -> list[Check]:
    """Every step of a long run against the map from the state before: no drift, right noise."""
    before, after = orbit[:-1].reshape(-1, 3), orbit[1:].reshape(-1, 3)
    variance = np.array([s.variance(x) for x in before]) / volume
    checks = []
    z = float(stats.norm.isf(ALPHA / 2))
    for j, name in enumerate(_NAMES):
        use = variance[:, j] * volume**2 > 5.0
        u = (after[use, j] - s.step(before[use])[:, j]) / np.sqrt(variance[use, j])
        n = u.size
        if n < 10:
            continue
        # Kurtosis of Poisson and binomial counts is at most 1 / variance.
        spread = math.sqrt((2.0 + 1.0 / (variance[use, j] * volume**2)).sum()) / n
        checks += [
            Check(
                f"{label}: mean residual of {name}', {n} steps",
                float(u.mean()),
                0.0,
                z / math.sqrt(n),
                f"{z:.2f} standard errors",
                ALPHA,
            ),
            Check(
                f"{label}: mean square residual of {name}'",
                float((u**2).mean()),
                1.0,
                z * spread,
                f"{z:.2f} standard errors, kurtosis allowed for",
                ALPHA,
            ),
        ]
    return checks


class LpaRun(Claim):
    """Long runs."""

    name = "lpa_run"
    statement = (
        "In long runs the engine settles on the map's fixed points, follows its 3-cycle and"
        " 8-cycle, and is chaotic where the map is, by the Lyapunov exponent along its own orbit."
    )
    source = _SOURCE

    def run(self, fast: bool) -> list[Check]:
        self.traces = []
        checks = []
        if fast:
            checks += self._cycle(1.0, 3, 150, 18, 0.05)
            checks += self._fixed("mua .96, cpa 0", replace(S1_HIGH, cpa=0.0), 3.0, 40, 4)
            return checks
        checks += self._fixed("Costantino 1997", S1, 3.0, 200, 6)
        checks += self._fixed("mua .96, cpa 0", replace(S1_HIGH, cpa=0.0), 20.0, 60, 6)
        checks += self._cycle(1.0, 3, 200, 36, 0.05)
        checks += self._cycle(0.05, 8, 300, 64, 0.1)
        checks += self._chaos("cpa .35", replace(S1_HIGH, cpa=0.35), 60, 200, 6)
        checks += self._chaos("Dennis 2001, cpa .35", S2, 60, 200, 6)
        return checks

    def _live(self, s, volume, steps, bins) -> np.ndarray:
        engine = LpaEngine(s, self.seed, bins, volume)
        engine.start(s.start)
        return engine.orbit(steps)

    def _fixed(self, label, s, volume, steps, bins) -> list[Check]:
        orbit = self._live(s, volume, steps, bins)
        self.traces.append((label, orbit[:, 0, 0]))
        point = s.orbit(3000)[-1]
        late = orbit[steps // 2 :].mean(axis=0)
        return [
            mean_check(
                f"{label}: {name} at the fixed point",
                late[:, j],
                point[j],
                allowance=0.02 * point[j],
                why="and 2 % for chance on a curved map and the way there",
            )
            for j, name in enumerate(_NAMES)
        ] + residuals(s, orbit, volume, label)

    def _cycle(self, cpa, period, volume, steps, allowed) -> list[Check]:
        """Started on the map's cycle, the engine stays on it and in phase."""
        s = replace(S1_HIGH, cpa=cpa)
        cycle = s.orbit(20000)[-period:]
        orbit = self._live(replace(s, **dict(zip("LPA", cycle[-1], strict=True))), volume, steps, 3)
        self.traces.append((f"cpa {cpa:g}", orbit[:, 0, 0]))
        late = orbit[1 + period * (steps // period // 2) :]
        seen = late.reshape(-1, period, 3, 3).mean(axis=0)
        gap = float(np.abs(seen - cycle[:, None]).max() / cycle.max())
        return [
            close(
                f"cpa {cpa:g}: largest gap to the {period}-cycle, of its height, 3 engines",
                gap,
                0.0,
                allowed,
                f"chance in {volume} units of habitat, where few beetles carry a phase; about"
                " twice the largest gap of 6 engines in a trial",
            ),
            exact(
                f"cpa {cpa:g}: highest phase always in its place",
                self._ordered(late[:, 0, 0], period),
                1,
            ),
            *residuals(s, orbit, volume, f"cpa {cpa:g}"),
        ]

    @staticmethod
    def _ordered(larvae: np.ndarray, period: int) -> int:
        """Whether the highest phase comes at the same place in each cycle."""
        return int(len(set(larvae.reshape(-1, period).argmax(axis=1))) == 1)

    def _chaos(self, label, s, volume, steps, bins) -> list[Check]:
        orbit = self._live(s, volume, steps, bins)
        self.traces.append((label, orbit[:, 0, 0]))
        along = [s.lyapunov(orbit[30:, k]) for k in range(bins)]
        exponent = s.lyapunov(s.orbit(20000)[1000:])
        mean, se = float(np.mean(along)), float(np.std(along, ddof=1)) / math.sqrt(bins)
        return [
            mean_check(
                f"{label}: exponent along the engine's orbit",
                along,
                exponent,
                1e-3,
                0.03,
                "and 0.03 for the chance in few beetles, which lowers it",
            ),
            Check(
                f"{label}: standard errors above zero, at least 3",
                min(mean / se, 3.0),
                3.0,
                0.0,
                "chaos means a positive exponent",
                1e-3,
            ),
            *residuals(s, orbit, volume, label),
        ]

    def figure(self, ax) -> None:
        for k, (label, larvae) in enumerate(self.traces):
            ax.plot(larvae[:60] + 300 * k, lw=1, label=label)
        ax.set(
            xlabel="step of 14 days",
            ylabel="larvae per unit (curves set apart by 300)",
            title="Engine in the larva-pupa-adult limit",
        )
        ax.legend(fontsize=7, loc="upper right")


class LpaAny(Claim):
    """Any parameter set."""

    name = "lpa_set"
    statement = (
        "For any parameter set given by --lpa, the engine's step is the map's step, once and along"
        " a run; its Lyapunov exponent is shown beside the map's."
    )
    source = _SOURCE

    def run(self, fast: bool) -> list[Check]:
        # The command line hands over a set; without it, the control of the 1980 series.
        s = self.options if isinstance(self.options, LpaSet) else CONTROL_A
        states = [s.start, *_states(4 if fast else 12, self.seed)]
        checks, _ = one_step(s, "given set", states, 150 if fast else 300, 1000 * self.seed)
        top = float(s.orbit(300).sum(axis=1).max())
        # As much habitat as keeps some 4,000 insects.
        volume = float(np.clip(4000.0 / max(top, 1.0), 0.2, 200.0))
        engine = LpaEngine(s, self.seed, 2, volume)
        engine.start(s.start)
        steps = 30 if fast else 120
        self.orbit, self.map = engine.orbit(steps), s.orbit(steps)
        checks += residuals(s, self.orbit, volume, "given set")
        if self.orbit[-1].sum() > 0:
            along = float(np.mean([s.lyapunov(self.orbit[:, k]) for k in (0, 1)]))
            checks.append(
                Check(
                    "exponent along the engine's orbit; expected: the map's",
                    along,
                    s.lyapunov(s.orbit(5000)[500:]),
                    0.0,
                    "shown",
                    kind="shown",
                )
            )
        return checks

    def figure(self, ax) -> None:
        ax.plot(self.map[:, 0], "k-", lw=0.8, label="map")
        ax.plot(self.orbit[:, :, 0], lw=1, label=["engine 1", "engine 2"])
        ax.set(xlabel="step of 14 days", ylabel="larvae per unit of habitat", title="Given set")
        ax.legend()
