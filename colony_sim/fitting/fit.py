"""Fit the model to a keeper's log: possible colonies reweighted by it, and put to the test."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.assimilation import lived
from colony_sim.assimilation.conditioning import Draws, adjust, kernel, near_of, quantiles
from colony_sim.assimilation.ensemble import Ensemble, Lived, live
from colony_sim.assimilation.misfit import Misfit, misfit, rank_of_values
from colony_sim.assimilation.today import KINDS, weights_of
from colony_sim.assimilation.values import Values
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.experiment.files import Policy
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.experiment.worlds import Worlds
from colony_sim.fitting import calibration, learnt, predictive
from colony_sim.fitting.posterior import Learner, Posterior, drawn, structures
from colony_sim.logs import observe
from colony_sim.logs.logbook import Logbook
from colony_sim.logs.reading import read_schedule, temperatures
from colony_sim.logs.schedule import Schedule
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole

MEMBERS = 1024
"""Possible colonies that live the log: each of the worlds of the package once."""
LEAST_MEMBERS = 100
PROFILE_DRAWS = 200
"""Joint draws in a profile; each lives the log again."""
STATE = ("larvae", "pupae", "beetles", "g of harvest size")
"""What is compared in the rack on the last day of the log."""
_METHOD = "possible colonies nearest the log, their values moved to it by regression"


@dataclass(frozen=True)
class Fit:
    """A log and what it has taught.

    Attributes
    ----------
    name : str
    logbook : Logbook
    ensemble : Ensemble
        The possible colonies.
    members : int
        How many of them lived the log.
    values : Values
        Of these.
    posterior : Posterior
    profile : Worlds
        Equally likely draws of it, as other commands take them.
    learnt, structures, predictive, calibration, state : DataFrame
        See `learnt.learnt_table`, `posterior.structures`, `predictive.predictive_table`,
        `calibration.calibrate` and `state_table`.
    together : list of (str, str, float)
        Keys known better together than alone, with their correlation.
    misfit : Misfit or None
        Whether a possible colony can have written the log.
    """

    name: str
    logbook: Logbook
    ensemble: Ensemble
    members: int
    values: Values
    posterior: Posterior
    profile: Worlds
    learnt: pd.DataFrame
    structures: pd.DataFrame
    predictive: pd.DataFrame
    calibration: pd.DataFrame
    state: pd.DataFrame
    together: list[tuple[str, str, float]]
    misfit: Misfit | None

    @property
    def schedule(self) -> Schedule:
        """The log as work by day."""
        return self.ensemble.schedule

    @property
    def p(self) -> float:
        """How often a possible colony's log is as far off; 1 where too little is counted."""
        return 1.0 if self.misfit is None else self.misfit.p


def ensemble_of(
    log: str | Path, parameters: Parameters, climate: Climate, worlds: Worlds, seed: int = 1
) -> tuple[Logbook, Ensemble]:
    """A log, and the possible colonies that are to live it to its last row.

    Raises
    ------
    InputError
        The first fault of the log, a log without a number, or a climate without its days.
    """
    logbook, schedule = read_schedule(log)
    warm = temperatures(climate, schedule)
    as_is = as_lived(parameters, climate)
    all_drawn = with_hands(worlds, (Policy("as logged", as_is),))
    return logbook, Ensemble(schedule, schedule.days, as_is, all_drawn, warm, seed)


def fit(
    name: str,
    logbook: Logbook,
    ensemble: Ensemble,
    *,
    members: int = MEMBERS,
    tests: int = calibration.TESTS,
    draws: int = PROFILE_DRAWS,
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
    ensemble : Ensemble
    members, tests : int
        Possible colonies that live the log, and how many of them are taken as logs to test with.
    draws : int
        Joint draws of the profile; each lives the log again.
    folder : Path, optional
        Where lives are kept, so that a second fit need not live them again.
    workers : int
    on_progress : callable
        Told how many lives are lived, and the time left.

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
    """
    schedule = ensemble.schedule
    whole = Whole(on_progress, members + draws)
    found = live(
        ensemble, range(1, members + 1), folder, workers=workers, on_progress=whole.report
    )  # fmt: skip
    whole.next()
    values = Values.of(ensemble.worlds, found.members)
    features = observe.features(schedule, found.written)
    log = observe.features(schedule, observe.on_paper(schedule))[0]
    learner = Learner(features, values)
    posterior = learner.of_log(log)
    profile = drawn(values, posterior, draws, ensemble.parameters, ensemble.seed, name)
    again = replace(ensemble, worlds=profile, seed=ensemble.seed + 1)
    lives = live(
        again, range(1, draws + 1), folder, workers=workers, on_progress=whole.report
    )  # fmt: skip
    near = kernel(learner.nearness.distances(log), near_of(members)) > 0
    judged = misfit(schedule, features[near], log, rank_of_values(features, log, values))
    table = learnt.learnt_table(values, posterior)
    facts = _facts(logbook, ensemble, members, table, judged)
    return Fit(
        name=name,
        logbook=logbook,
        ensemble=ensemble,
        members=members,
        values=values,
        posterior=posterior,
        profile=replace(profile, facts=facts),
        learnt=table,
        structures=structures(values, posterior),
        predictive=predictive.predictive_table(schedule, lives.written),
        calibration=calibration.calibrate(calibration.below(learner, tests), values.keys),
        state=state_table(found, lives, features, log),
        together=learnt.together(values.keys, posterior, values.scores),
        misfit=judged,
    )


def _facts(
    logbook: Logbook, ensemble: Ensemble, members: int, table: pd.DataFrame, judged: Misfit | None
) -> dict[str, object]:
    schedule = ensemble.schedule
    return {
        "log": logbook.path.name,
        "log_sha256": logbook.digest,
        "method": _METHOD,
        "first_date": schedule.start.isoformat(),
        "last_date": (schedule.start + datetime.timedelta(days=schedule.days)).isoformat(),
        "numbers": len(schedule.observed),
        "members": members,
        "worlds": ensemble.worlds.name,
        "seed": ensemble.seed,
        "model": model_fingerprint(),
        "learnt": [row.key for row in table.itertuples() if row.learnt != learnt.NOT],
        "misfit_p": None if judged is None else round(judged.p, 4),
    }


def state_table(found: Lived, lives: Lived, features: np.ndarray, log: np.ndarray) -> pd.DataFrame:
    """The rack on the last day of the log: told from the log, and as colonies of the fit have it.

    The first is that of `assimilation.today` (the values are never asked for), the second that of
    the profile's draws, which live the log once more. They should agree.

    Parameters
    ----------
    found, lives : Lived
        Possible colonies, and draws of the fit.
    features : float64 array, shape (members, features)
    log : float64 array, shape (features,)

    Returns
    -------
    DataFrame
        One row for each of `STATE`: `what`, `told_low`, `told_median`, `told_high`, `fit_low`,
        `fit_median`, `fit_high` (90 %), and `apart`: the distance of the medians of log(1 + x) over
        half the width of the interval told.
    """
    weights = weights_of(features, found.contents, log, near_of(len(features)))
    near = weights > 0
    wanted = {"rack": _rack(found.contents[near])}
    told = adjust(features[near], wanted, {"rack": KINDS["rack"]}, weights[near], log)
    even = np.full(len(lives.members), 1 / len(lives.members))
    fitted = Draws(even, {"rack": _rack(lives.contents)})
    levels = (0.05, 0.5, 0.95)
    one, two = (quantiles(d.values["rack"], d.weights, levels) for d in (told, fitted))
    half = np.maximum((np.log1p(one[2]) - np.log1p(one[0])) / 2, 1e-9)
    apart = np.abs(np.log1p(one[1]) - np.log1p(two[1])) / half
    return pd.DataFrame({
        "what": STATE, "told_low": one[0], "told_median": one[1], "told_high": one[2],
        "fit_low": two[0], "fit_median": two[1], "fit_high": two[2], "apart": apart,
    })  # fmt: skip


def _rack(contents: np.ndarray) -> np.ndarray:
    """What `STATE` names, summed over the rack (members x quantities)."""
    sums = dict(zip(lived.CONTENTS, np.moveaxis(contents.sum(axis=1), 1, 0), strict=True))
    larvae = sums["small_larvae"] + sums["medium_larvae"] + sums["large_larvae"]
    return np.column_stack([larvae, sums["pupae"], sums["beetles"], sums["large_g"]])
