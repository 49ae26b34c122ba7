"""Fit the model to a keeper's log: from a schedule to a posterior that was put to the test."""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.biology.calendar import covers_year
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.errors import InputError
from colony_sim.experiment.plan import model_fingerprint, whole
from colony_sim.experiment.worlds import Worlds
from colony_sim.fitting import calibration, inference, learnt, observe, predictive
from colony_sim.fitting.logbook import Logbook, read_log
from colony_sim.fitting.prior import KEYS, Prior, prior_for
from colony_sim.fitting.replay import replay
from colony_sim.fitting.schedule import Schedule, compile_schedule
from colony_sim.fitting.simulated import CALIBRATE, PREDICT, TRAIN, Job, Logs, simulate_logs
from colony_sim.running.runner import Progress, compile_kernels
from colony_sim.running.whole import Whole

#: Ranks of 2,000 logs were a little uneven with a network trained on 2,000 logs (sum of
#: chi-squares 2.7 times its mean), less so on 4,000 (1.7) and 6,000 (1.5; of
#: no value by more than chance alone would in one test of thirty).
SIMULATIONS, CALIBRATIONS, DRAWS = 6000, 200, 2000
LEAST_SIMULATIONS, MOST_SIMULATIONS = 200, 100_000
#: Joint draws in a profile.
PROFILE_DRAWS = 200
#: Seconds of training for each simulated log and flow; measured on one core, for the forecast.
_TRAINING_SECONDS = 0.012


@dataclass(frozen=True)
class Fit:
    """A log and what it has taught.

    Attributes
    ----------
    name : str
    logbook : Logbook
    job : Job
        Schedule, prior, temperatures, handling and the biology that is not fitted.
    simulations : int
        Logs the posterior was learnt from.
    scores : float64 array, shape (draws, keys)
        Posterior draws as standard normal scores of the prior.
    draws : float64 array, shape (draws, keys)
        The same as values, in the units of the keys.
    learnt, predictive, calibration : DataFrame
        See `learnt.learnt_table`, `predictive.predictive_table`, `calibration.calibrate`.
    together : list of (str, str, float)
        Keys known better together than alone, with their correlation.
    plausible_before, plausible_after : float
        How often a log simulated from the prior, and from the posterior, lies as far from the
        others as the keeper's (`predictive.plausibility`).
    """

    name: str
    logbook: Logbook
    job: Job
    simulations: int
    scores: np.ndarray
    draws: np.ndarray
    learnt: pd.DataFrame
    predictive: pd.DataFrame
    calibration: pd.DataFrame
    together: list[tuple[str, str, float]]
    plausible_before: float
    plausible_after: float

    @property
    def prior(self) -> Prior:
        """What was held possible before."""
        return self.job.prior

    @property
    def schedule(self) -> Schedule:
        """The log as work by day."""
        return self.job.schedule

    def profile(self) -> Worlds:
        """The posterior as other commands take it."""
        schedule = self.schedule
        facts = {
            "log": self.logbook.path.name,
            "log_sha256": self.logbook.digest,
            "method": "neural posterior estimation on simulated logs (package sbi)",
            "first_date": schedule.start.isoformat(),
            "last_date": (schedule.start + datetime.timedelta(days=schedule.days)).isoformat(),
            "numbers": len(schedule.observed),
            "simulations": self.simulations,
            "seed": self.job.seed,
            "model": model_fingerprint(),
            "learnt": [row.key for row in self.learnt.itertuples() if row.learnt != learnt.NOT],
            "plausible": round(self.plausible_after, 4),
        }
        return Worlds(self.name, self.prior.keys, self.draws[:PROFILE_DRAWS], facts)


def read_schedule(
    path: str | Path,
    until: datetime.date = datetime.date.max,
    numbers_needed: bool = True,
) -> tuple[Logbook, Schedule]:
    """A log, made ready for replay.

    Parameters
    ----------
    path : str or Path
    until : datetime.date
        Rows after it are left aside.
    numbers_needed : bool
        Whether a log without a number to learn from is a fault.

    Raises
    ------
    InputError
        The first fault, with the number of the others.
    """
    logbook = read_log(path)
    faults = list(logbook.faults)
    entries = [entry for entry in logbook.entries if entry.date <= until]
    schedule = compile_schedule(entries, numbers_needed)
    # Rows that could not be read leave holes; what follows from them is not the keeper's fault.
    faults += [] if faults else list(schedule.faults)
    if faults:
        first, more = faults[0], len(faults) - 1
        rest = f" ({more} more: colony-sim fit --check {logbook.path})" if more else ""
        raise InputError(
            str(path), f"row {first.row}, {first.column}", first.value, f"{first.remedy}{rest}"
        )
    return logbook, replace(schedule, notes=(*logbook.notes, *schedule.notes))


def temperatures(climate: Climate, schedule: Schedule) -> tuple[float, ...]:
    """Daily means (C) from the day after the log's first, day 1 of the replay.

    A yearly wave and a logger's temperatures run by the calendar; a constant and a series begin
    with the bin log.

    Raises
    ------
    InputError
        A logger that has neither the days of the bin log nor a whole year.
    """
    days = schedule.days + 1
    if climate.kind == "logger":
        return _logged(climate, schedule.start + datetime.timedelta(days=1), days)
    if climate.kind == "yearly_wave":
        since = schedule.start.timetuple().tm_yday
        return tuple(climate.daily(since + days)[since:].tolist())
    return tuple(climate.daily(days).tolist())


def _logged(climate: Climate, start: datetime.date, days: int) -> tuple[float, ...]:
    """A logger's temperatures on the dates of the bin log."""
    first, count = datetime.date.fromisoformat(climate.first), len(climate.values)
    offset = (start - first).days
    if not covers_year(first, count) and not 0 <= offset <= count - days + 1:
        until = start + datetime.timedelta(days=days - 2)
        last = first + datetime.timedelta(days=count - 1)
        raise InputError(
            "climate", "logger", f"{first} to {last}",
            f"every day from {start} to {until}, as the bin log has them, or a whole year",
        )  # fmt: skip
    return tuple(replace(climate, start=start.isoformat()).daily(days).tolist())


def make_job(
    schedule: Schedule,
    parameters: Parameters,
    climate: Climate,
    *,
    keys: Sequence[str] | None = None,
    seed: int = 1,
) -> Job:
    """All that simulated logs of a schedule depend on.

    Keys default to `prior.KEYS`, and bran per gain as well where bran was weighed.

    Raises
    ------
    InputError
        Keys that cannot be fitted, or bins of the log that the program cannot hold.
    """
    if keys is None and schedule.bran is not None:
        keys = (*KEYS, "feed.per_gain")
    prior = prior_for(keys, parameters)
    lived = as_lived(parameters, climate)
    return Job(schedule, lived, temperatures(climate, schedule), prior, seed)


def forecast_seconds(job: Job, simulations: int, workers: int) -> float:
    """What a fit will take (s), from one log simulated at the medians of the prior."""
    middle = dict(zip(job.prior.keys, job.prior.values(np.zeros(len(job.prior.keys))).tolist(),
                      strict=True))  # fmt: skip
    parameters = job.parameters.with_values(middle, where="prior")
    compile_kernels()
    warm = np.array(job.temperatures)
    replay(job.schedule, parameters, warm, 0)
    began = time.perf_counter()
    replay(job.schedule, parameters, warm, 1)
    one = time.perf_counter() - began
    logs = simulations + CALIBRATIONS + predictive.LOGS
    return one * logs / workers + _TRAINING_SECONDS * simulations * inference.FLOWS


def fit(
    name: str,
    logbook: Logbook,
    job: Job,
    *,
    simulations: int | None = None,
    calibrations: int = CALIBRATIONS,
    folder: Path | None = None,
    workers: int = 1,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Fit:
    """Fit a log.

    Parameters
    ----------
    name : str
        Of the profile.
    logbook : Logbook
    job : Job
    simulations, calibrations : int
        Logs to learn from, and logs to test with.
    folder : Path, optional
        Where simulated logs are kept, so that a second fit need not simulate them again.
    workers : int
    on_progress : callable
        Told how many logs are simulated, and the time left, training included.

    Raises
    ------
    InputError, MissingExtra, runner.Interrupted, runner.WorkerDied
    """
    simulations = whole(
        "simulations", simulations, LEAST_SIMULATIONS, MOST_SIMULATIONS, SIMULATIONS
    )
    inference.check_installed()
    schedule, seed = job.schedule, job.seed
    paper = observe.on_paper(schedule)

    training = _TRAINING_SECONDS * simulations * inference.FLOWS

    def tell(now: Progress) -> None:
        left = now.seconds_left
        on_progress(now if left is None else replace(now, seconds_left=left + training))

    logs_in_all = Whole(tell, simulations + calibrations + predictive.LOGS)

    def simulated(stream: int, count: int, scores: np.ndarray | None = None) -> Logs:
        logs = simulate_logs(
            job,
            stream,
            count,
            folder,
            scores=scores,
            workers=workers,
            on_progress=logs_in_all.report,
        )
        logs_in_all.next()
        return logs

    logs = simulated(TRAIN, simulations)
    fresh = simulated(CALIBRATE, calibrations)
    posterior = inference.train(schedule, logs.scores, logs.values, seed)
    scores = posterior.draws(paper[None], DRAWS, seed)[0]
    found = calibration.ranks(posterior, fresh, seed)
    training = 0.0
    again = simulated(PREDICT, predictive.LOGS, scores[-predictive.LOGS :])
    return Fit(
        name=name,
        logbook=logbook,
        job=job,
        simulations=simulations,
        scores=scores,
        draws=job.prior.values(scores),
        learnt=learnt.learnt_table(job.prior, scores),
        predictive=predictive.predictive_table(schedule, again.values),
        calibration=calibration.calibrate(found, job.prior.keys),
        together=learnt.together(job.prior, scores),
        plausible_before=predictive.plausibility(schedule, logs.values, paper),
        plausible_after=predictive.plausibility(schedule, again.values, paper),
    )
