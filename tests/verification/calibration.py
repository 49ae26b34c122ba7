"""Claim: a fit to a bin log knows how much it knows, and sees some of what it cannot explain."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from colony_sim.assimilation.conditioning import kernel, near_of
from colony_sim.assimilation.ensemble import Ensemble, live
from colony_sim.assimilation.misfit import misfit, rank_of_values
from colony_sim.assimilation.values import Values
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.errors import InputError
from colony_sim.experiment.worlds import SHIPPED, read_worlds
from colony_sim.fitting import calibration
from colony_sim.fitting.fit import MEMBERS
from colony_sim.fitting.posterior import Learner
from colony_sim.fitting.state import of_posterior, rack_of, state_table
from colony_sim.logs import demo, observe
from colony_sim.logs.logbook import parse
from colony_sim.logs.schedule import compile_schedule

from .claim import ALPHA, Check, Claim, chi2_check, close

#: One bin only, counts by the handful, weights of mixed stages, a fortnight not written down.
ONE_BIN = """\
date,bin,action,stage,count,grams,about,until,note
2031-03-01,A,beetles in,beetles,90,,,,
2031-03-08,A,dead beetles,beetles,5,,,,
2031-03-15,A,beetles out,beetles,75,,,,
2031-04-12,A,count,larvae,900,,yes,,
2031-04-14,A,moisture started,,,,,,
2031-04-24,A,sample,larvae,40,0.6,,,
2031-05-05,,not written,,,,,2031-05-18,
2031-05-20,A,weight,mixed,,60,30%,,
2031-06-02,A,harvest,large larvae,,20,,,
2031-06-09,A,harvest,large larvae,,,,,
2031-06-12,A,pupae picked,pupae,20,,,,
2031-06-16,A,harvest,large larvae,,20,,,
2031-06-18,A,pupae picked,pupae,20,,yes,,
2031-06-20,A,weight,mixed,,20,,,
"""
#: What a year's log informs most; these are put outside their ranges.
TOLD = (
    "fecundity.peak_eggs_per_day",
    "predation.adult_egg",
    "larva.young_hazard_per_day",
    "larva.duration_days",
    "larva.mature_mass_mg",
    "growth.crowding_slope",
    "growth.dry_share",
    "adult.life_mean_days",
)
STRANGE = 100


@dataclass
class Power:
    """How often a test sees what a set of logs has that no possible colony has, at 5 %."""

    kind: str
    logs: int
    numbers: float
    values: float
    together: float


class Calibration(Claim):
    """Calibration of ``colony-sim fit``, and the power of its test of misfit."""

    name = "calibration"
    statement = (
        "Fitted to the logs of possible colonies that were left out, the intervals of 50 and 90 %"
        " hold the known values that often, and the share of the fit below them is uniform: for"
        " the shipped demo log of a year, and for a log of one bin only with counts by the handful,"
        " weights of mixed stages, rows without numbers and a fortnight not written down. Logs of"
        " the same worlds are called strange as rarely as stated, and how often those are of other"
        " structures, and of two or three values outside their ranges, is shown."
    )
    source = (
        "Cook, Gelman and Rubin 2006, J. Comput. Graph. Stat. 15:675; Talts, Betancourt, Simpson,"
        " Vehtari and Gelman 2018, arXiv:1804.06788; Fearnhead and Prangle 2012, J. R. Stat. Soc."
        " B 74:419"
    )

    def run(self, fast: bool) -> list[Check]:
        self.bars: list[tuple[str, np.ndarray]] = []
        self.power: list[Power] = []
        entries = parse(ONE_BIN)[0]
        checks = self._checks("one bin", entries, {}, 300 if fast else MEMBERS, fast)
        if not fast:
            handling = demo.HANDLING | {"rack.bins": demo.BINS}
            checks += self._checks("demo log", demo.entries(), handling, MEMBERS, fast)
        print(self.table(), flush=True)
        return checks

    def _checks(self, name, entries, handling, members: int, fast: bool) -> list[Check]:
        ensemble = ensemble_of(entries, handling, self.seed)
        found = live(ensemble, range(1, members + 1), workers=_workers())
        values = Values.of(ensemble.worlds, found.members)
        features = observe.features(ensemble.schedule, found.written)
        learner = Learner(features, values)
        below = calibration.below(learner, members)
        checks = []
        for level in calibration.LEVELS:
            inside = float(np.mean(np.abs(below - 0.5) <= level / 2))
            mean = (
                f"{name}: share of {members} logs in the {100 * level:.0f} % interval, all values"
            )
            checks.append(close(mean, inside, level - 0.01, level + 0.01, "to a hundredth"))
        told = [values.keys.index(key) for key in TOLD if key in values.keys]
        for place in told:
            counts = calibration.histogram(below[:, place])
            even = np.full(counts.size, members / counts.size)
            about = f"{name}, {values.keys[place]}"
            checks.append(chi2_check(f"{about}: shares below flat, chi-square", counts, even))
            self.bars.append((about, counts / even))
        checks += self._racks(name, ensemble, learner, found.contents, 60 if fast else 200)
        return checks + self._seen(name, ensemble, features, values, members, fast)

    def _racks(self, name, ensemble, learner, contents, tests: int) -> list[Check]:
        """The rack on the last day, in colonies of the fit and as `today` tells it."""
        log = observe.features(ensemble.schedule, observe.on_paper(ensemble.schedule))[0]
        fitted = of_posterior(learner.features, rack_of(contents), learner.of_log(log), log)
        table = state_table(learner, contents, fitted, log, tests)
        print(table.round(3).to_string(index=False), flush=True)
        checks = []
        for row in table.itertuples():
            for how in ("told", "fit"):
                for level in (0.5, 0.9):
                    share = getattr(row, f"{how}_{100 * level:.0f}")
                    about = f"{name}, {row.what} by {how}: share of {tests} racks in {level:.0%}"
                    error = math.sqrt(level * (1 - level) / tests)
                    # Where most racks have none, 0 is inside more often than stated.
                    checks.append(Check(about, min(share, level), level,
                                        float(stats.norm.isf(ALPHA)) * error,
                                        "not less, binomial", ALPHA))  # fmt: skip
        return checks

    def _seen(self, name, ensemble, features, values, members, fast) -> list[Check]:
        """How often logs are called strange: those of members left out, and strange ones."""
        learner = Learner(features, values)
        own = []
        for member in range(0, members, 4 if fast else 8):
            far = np.linalg.norm(learner.nearness.places - learner.nearness.places[member], axis=1)
            others = np.arange(members) != member
            rest = Values.of(ensemble.worlds, np.flatnonzero(others) + 1)
            of_values = rank_of_values(features[others], features[member], rest)
            own.append(_p(ensemble, features[others], far[others], features[member], of_values))
        self._row(name, "same worlds", own)
        share = float(np.mean([p[2] < 0.05 for p in own]))
        most = 0.05 + float(stats.norm.isf(ALPHA)) * math.sqrt(0.05 * 0.95 / len(own))
        checks = [close(f"{name}: share of {len(own)} logs of the same worlds with p < .05",
                        share, 0.0, most, "5 % or less, binomial")]  # fmt: skip
        for kind, worlds in {} if fast else strange_worlds(ensemble).items():
            other = replace(ensemble, worlds=worlds, seed=ensemble.seed + 77)
            there = live(other, range(1, len(worlds.draws) + 1), workers=_workers())
            found = []
            for log in observe.features(ensemble.schedule, there.written):
                of_values = rank_of_values(features, log, values)
                far = learner.nearness.distances(log)
                found.append(_p(ensemble, features, far, log, of_values))
            self._row(name, kind, found)
            seen = float(np.mean([p[2] < 0.05 for p in found]))
            checks.append(close(f"{name}: share of {len(found)} logs of {kind} with p < .05", seen,
                                0.0, 1.0, "shown", "shown"))  # fmt: skip
        return checks

    def _row(self, name, kind, found) -> None:
        shares = np.mean(np.array(found) < 0.05, axis=0)
        self.power.append(Power(f"{name}: {kind}", len(found), *shares.tolist()))

    def table(self) -> str:
        """The power of the tests as text."""
        lines = [f"{'logs of':58s}    n  numbers  values  both (p < .05)"]
        for row in self.power:
            lines.append(f"{row.kind:58s} {row.logs:4d}  {row.numbers:7.2f}  {row.values:6.2f}"
                         f"  {row.together:4.2f}")  # fmt: skip
        return "\n".join(lines)

    def figure(self, ax) -> None:
        names = list(dict.fromkeys(about.split(", ")[0] for about, _ in self.bars))
        rows = dict.fromkeys(about.split(", ")[1] for about, _ in self.bars)
        for about, share in self.bars:
            name, key = about.split(", ")
            left, low = 1.2 * names.index(name), -2.0 * list(rows).index(key)
            edges = left + np.arange(len(share) + 1) / len(share)
            ax.stairs(share + low, edges, baseline=low, fill=True, alpha=0.6, color="#14508c")
            ax.hlines(1 + low, left, left + 1, color="black", linewidth=0.6)
        for place, name in enumerate(names):
            ax.text(1.2 * place, 2.0, name, fontsize=9, weight="bold")
        ax.set_yticks([0.5 - 2.0 * i for i in range(len(rows))], list(rows), fontsize=7)
        ax.set_ylim(-2.0 * len(rows) + 1.6, 3.0)
        ax.set_xticks([])
        ax.set_xlabel("share of the fit below the known value; line: uniform")


def _p(ensemble, features, far, log, of_values) -> tuple[float, float, float]:
    """P of the numbers, of the values read from them, and of both."""
    near = kernel(far, near_of(len(features))) > 0
    numbers = misfit(ensemble.schedule, features[near], log)
    both = misfit(ensemble.schedule, features[near], log, of_values)
    assert numbers is not None and both is not None
    return numbers.p, of_values, both.p


def _workers() -> int:
    return min(2, os.cpu_count() or 1)


def ensemble_of(entries, handling: dict, seed: int) -> Ensemble:
    """Possible colonies of a log."""
    parameters = Parameters.default().with_values(handling, where="claim")
    warm = constant(demo.TEMPERATURE_C)
    return Ensemble.of(compile_schedule(entries), parameters, warm, read_worlds(SHIPPED), seed)


def strange_worlds(ensemble: Ensemble) -> dict[str, object]:
    """Worlds that hardly a possible colony lives in, by what is strange about them."""
    worlds = ensemble.worlds
    chance = np.random.default_rng([ensemble.seed, 5])
    outside = worlds.draws[-2 * STRANGE :].copy()
    for row in outside:
        for key in chance.choice(TOLD, size=chance.integers(2, 4), replace=False):
            entry, far = catalogue()[str(key)], chance.uniform(0.3, 0.6)
            low, high = entry.ends
            up = low <= 0 or chance.random() < 0.5
            # Beyond an end by 30 to 60 % of the range; in the logarithm where there is one.
            out = high + far * (high - low)
            if low > 0:
                out = high * (high / low) ** far if up else low * (low / high) ** far
            row[worlds.keys.index(str(key))] = min(max(out, entry.least), entry.most)
    fine = []
    for row in outside:
        one = replace(worlds, draws=row[None])
        try:
            one.check("strange", ensemble.parameters)
        except InputError:
            continue
        fine.append(row)
    floor = worlds.draws[:STRANGE].copy()
    floor[:, worlds.keys.index("growth.crowding")] = 1
    floor[:, worlds.keys.index("growth.law")] = 0
    return {
        "two or three values outside": replace(worlds, draws=np.array(fine[:STRANGE])),
        "crowding by the floor, another growth law": replace(worlds, draws=floor),
    }
