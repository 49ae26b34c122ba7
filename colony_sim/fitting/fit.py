"""Fit the model to a keeper's log: possible colonies reweighted by it, and put to the test."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from colony_sim.assimilation.ensemble import Ensemble, live
from colony_sim.assimilation.misfit import Misfit, misfit, rank_of_values
from colony_sim.assimilation.values import Values
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters
from colony_sim.experiment.plan import model_fingerprint
from colony_sim.experiment.worlds import Worlds
from colony_sim.fitting import calibration, learnt, predictive
from colony_sim.fitting.posterior import Learner, Posterior, drawn, picked, structures
from colony_sim.fitting.state import STATE, of_posterior, rack_of, state_table
from colony_sim.logs import observe
from colony_sim.logs.logbook import Logbook
from colony_sim.logs.reading import read_schedule
from colony_sim.logs.schedule import Schedule
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole

MEMBERS = 1024
"""Possible colonies that live the log: each of the worlds of the package once."""
LEAST_MEMBERS = 100
PROFILE_DRAWS = 200
"""Joint draws in a profile; each lives the log again."""
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
        `calibration.calibrate` and `state.state_table`.
    racks : DataFrame
        One row a draw of the profile: what `state.STATE` names, on the last day of the log.
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
    racks: pd.DataFrame
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
    return logbook, Ensemble.of(schedule, parameters, climate, worlds, seed)


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
    judged = misfit(
        schedule, features[posterior.members], log, rank_of_values(features, log, values)
    )  # fmt: skip
    racks = of_posterior(features, rack_of(found.contents), posterior, log)
    each = picked(posterior, draws, ensemble.seed)
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
        state=state_table(learner, found.contents, racks, log),
        racks=pd.DataFrame(racks.values["rack"][each], columns=list(STATE)),
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
