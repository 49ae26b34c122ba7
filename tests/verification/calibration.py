"""Claim: a fit to a bin log knows how much it knows."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.fitting import calibration, demo, inference
from colony_sim.fitting.fit import SIMULATIONS, make_job
from colony_sim.fitting.logbook import parse
from colony_sim.fitting.schedule import compile_schedule
from colony_sim.fitting.simulated import CALIBRATE, TRAIN, simulate_logs

from .claim import Check, Claim, chi2_check, close, z_check

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


class Calibration(Claim):
    """Simulation-based calibration of ``colony-sim fit``."""

    name = "calibration"
    statement = (
        "Fitted to logs that were simulated from known values of the biology, the intervals of 50"
        " and 90 % hold the known value that often and its rank among the draws is uniform: for"
        " the shipped demo log of a year, and for a log of one bin only with counts by the handful,"
        " weights of mixed stages, rows without numbers and a fortnight not written down."
    )
    source = (
        "Cook, Gelman and Rubin 2006, J. Comput. Graph. Stat. 15:675; Talts, Betancourt, Simpson,"
        " Vehtari and Gelman 2018, arXiv:1804.06788"
    )

    def run(self, fast: bool) -> list[Check]:
        self.bars: list[tuple[str, np.ndarray]] = []
        entries, _ = parse(ONE_BIN)
        size = (500, 200) if fast else (SIMULATIONS, 1000)
        checks = self._checks("one bin", entries, {}, *size)
        if not fast:
            handling = demo.HANDLING
            checks += self._checks("demo log", demo.entries(), handling, *size)
        return checks

    def _checks(self, name, entries, handling, learn: int, test: int) -> list[Check]:
        parameters = Parameters.default().with_values(handling, where="claim")
        schedule = compile_schedule(entries)
        job = make_job(schedule, parameters, constant(demo.TEMPERATURE_C), seed=self.seed)
        logs = simulate_logs(job, TRAIN, learn)
        posterior = inference.train(schedule, logs.scores, logs.values, self.seed)
        fresh = simulate_logs(job, CALIBRATE, test)
        draws = posterior.draws(fresh.values, calibration.DRAWS, self.seed)
        ranks = (draws < fresh.scores[:, None, :]).sum(axis=1)
        checks = []
        for place, key in enumerate(job.prior.keys):
            about = f"{name}, {key}"
            mine = ranks[:, place]
            for level in calibration.LEVELS:
                share = calibration.expected(level)
                checks.append(
                    z_check(
                        f"{about}: share of {test} logs in the {100 * level:.0f} % interval",
                        calibration.covered(mine, level),
                        share,
                        math.sqrt(share * (1 - share) / test),
                        why="binomial",
                    )
                )
            counts = calibration.histogram(mine)
            even = np.full(counts.size, test / counts.size)
            checks.append(chi2_check(f"{about}: ranks flat, chi-square", counts, even))
            explained = 1 - float(np.mean(draws[:, :, place].var(axis=1)))
            told = f"{about}: share of the prior's variance that a log takes away"
            checks.append(close(told, explained, 0.0, math.inf, "how much is learnt", "shown"))
            self.bars.append((about, counts / even))
        return checks

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
        ax.set_xlabel("rank of the known value among the draws; line: uniform")
