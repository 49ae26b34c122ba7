"""Candidates proposed by Optuna, batch after batch, from what the earlier ones came to.

The search is noisy (a candidate is judged on a few worlds), mixed (choices, whole numbers, shares),
bound by limits and small: some dozens of candidates at seconds each. Optuna's tree-structured
Parzen estimator (Bergstra et al. 2011, Adv. Neural Inf. Process. Syst. 24:2546-2554; several
objectives: Ozaki et al. 2022, J. Artif. Intell. Res. 73:1209-1250) proposes one by one from the
densities of good and bad candidates, so noise in a single one does not mislead it much, it takes
choices and limits as they are, and its candidates are kept in a file. The evolutionary algorithms
of pymoo, the other library looked at, want populations of tens over tens of generations, that is
thousands of judged candidates, and Gaussian processes (Optuna's GPSampler) need torch.

Each batch begins with a sampler of its own, seeded by the number of finished candidates, so that a
search that was stopped goes on as if it had not been.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.experiment.design import Factor, entry
from colony_sim.extras import require
from colony_sim.running.store import refuse_code

if TYPE_CHECKING:
    from optuna.storages import RDBStorage
    from optuna.study import Study
    from optuna.trial import Trial

BATCH = 4
"""Candidates proposed at a time; fixed, so that a search does not depend on the workers."""
AT_RANDOM = 8
"""Candidates before the estimator learns."""


@dataclass(frozen=True)
class Judged:
    """What the search is told of a candidate.

    Attributes
    ----------
    values : sequence of float
        Objectives, in the order of the directions.
    short : mapping
        By how much each limit is missed; above 0 is not allowed.
    facts : mapping
        What else is kept of it: numbers, texts and truth values by name.
    """

    values: Sequence[float]
    short: Mapping[str, float]
    facts: Mapping[str, Any] = field(default_factory=dict)


Judge = Callable[[list[dict[str, Value]]], list[Judged]]


def propose(
    file: Path,
    name: str,
    factors: Sequence[Factor],
    objectives: Mapping[str, str],
    candidates: int,
    judge: Judge,
    *,
    seed: int,
    first: Mapping[str, Value] | None = None,
) -> pd.DataFrame:
    """Have so many candidates judged.

    Parameters
    ----------
    file : Path
        SQLite file in which the candidates are kept; the search of this name goes on from there.
    name : str
        Unlike for all searches that differ in anything.
    factors : sequence of Factor
        What is searched.
    objectives : mapping
        "maximize" or "minimize" by name.
    candidates : int
        Candidates in all.
    judge : callable
        Given the points of a batch; what each came to.
    seed : int
        Of the proposals.
    first : mapping, optional
        A candidate to begin with; left out if it is not among what is searched.

    Returns
    -------
    pandas.DataFrame
        One row a candidate: trial, the keys, the objectives, facts, feasible.

    Raises
    ------
    MissingExtra
        If Optuna is not installed.
    """
    optuna = require("optuna", "optuna>=5.0", "search")
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    refuse_code(file)
    storage = optuna.storages.RDBStorage(f"sqlite:///{file.resolve()}")
    try:
        study = optuna.create_study(
            storage=storage, study_name=name, directions=list(objectives.values()),
            load_if_exists=True,
        )  # fmt: skip
        for trial in study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.RUNNING,)):
            # Left by a process that was stopped; its finished runs are in the store of runs.
            study.tell(trial.number, state=optuna.trial.TrialState.FAIL)
        while (done := len(_finished(optuna, study))) < candidates:
            _batch(optuna, storage, name, factors, min(BATCH, candidates - done), judge,
                   seed + done, first if done == 0 else None)  # fmt: skip
        return _table(optuna, study, factors, list(objectives))
    finally:
        storage.remove_session()
        storage.engine.dispose()


def _finished(optuna: ModuleType, study: Study) -> list[Any]:
    return study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.COMPLETE,))


def _batch(
    optuna: ModuleType, storage: RDBStorage, name: str, factors: Sequence[Factor], count: int,
    judge: Judge, seed: int, first: Mapping[str, Value] | None,
) -> None:  # fmt: skip
    sampler = optuna.samplers.TPESampler(
        seed=seed % 2**32, multivariate=True, constant_liar=True, n_startup_trials=AT_RANDOM
    )
    study = optuna.load_study(storage=storage, study_name=name, sampler=sampler)
    if first is not None and all(_inside(f, first[f.key]) for f in factors):
        study.enqueue_trial({f.key: first[f.key] for f in factors}, skip_if_exists=False)
    asked = [study.ask() for _ in range(count)]
    points = [{f.key: _suggest(trial, f) for f in factors} for trial in asked]
    for trial, found in zip(asked, judge(points), strict=True):
        for limit, short in found.short.items():
            trial.set_constraint(limit, float(short))
        trial.set_user_attr("feasible", max(found.short.values(), default=0.0) <= 1e-12)
        trial.set_user_attr("facts", dict(found.facts))
        study.tell(trial, [float(value) for value in found.values])


def _inside(factor: Factor, value: Any) -> bool:
    return value in factor.values if factor.values else factor.ends[0] <= value <= factor.ends[1]


def _suggest(trial: Trial, factor: Factor) -> Any:
    if factor.values:
        return trial.suggest_categorical(factor.key, list(factor.values))
    low, high = factor.ends
    if entry(factor.key).kind == "integer":
        return trial.suggest_int(factor.key, int(low), int(high))
    return trial.suggest_float(factor.key, low, high)


def _table(
    optuna: ModuleType, study: Study, factors: Sequence[Factor], objectives: Sequence[str]
) -> pd.DataFrame:
    return pd.DataFrame([
        {
            "trial": number, **{f.key: trial.params[f.key] for f in factors},
            **dict(zip(objectives, trial.values, strict=True)), **trial.user_attrs["facts"],
            "feasible": trial.user_attrs["feasible"],
        }
        for number, trial in enumerate(_finished(optuna, study))
    ])  # fmt: skip
