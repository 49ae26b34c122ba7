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

import glob
import hashlib
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import pandas as pd

from colony_sim.atomic import copied, remove
from colony_sim.biology.parameters import Value
from colony_sim.errors import InputError
from colony_sim.experiment.design import Factor, entry
from colony_sim.extras import require
from colony_sim.running.store import journals, refuse_code

if TYPE_CHECKING:
    from optuna.storages import RDBStorage
    from optuna.study import Study
    from optuna.trial import Trial

NAME = "study.sqlite"
"""File of a results folder in which candidates are kept."""
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
    optuna = _optuna()
    if file.exists() and not file.is_file():
        raise InputError(str(file), "file", "no plain file", "candidates as a search keeps them")
    try:
        refuse_code(file)
    except InputError as error:
        if isinstance(error.value, str) and error.value.startswith("has a "):
            raise
        # It cannot be read, and what it held is proposed again.
    if file.exists() and broken(file) != 0:
        print(f"{file}: damaged; its candidates are proposed again.", file=sys.stderr, flush=True)
        remove_candidates(file)
    with _storage(optuna, file) as storage:
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


def broken(file: Path) -> int | None:
    """How many kept candidates are not as they were put there; None: the file cannot be read.

    Raises
    ------
    MissingExtra
        If Optuna is not installed.
    """
    optuna = _optuna()
    try:
        refuse_code(file)
        # In a copy: what only looks changes nothing, and Optuna makes what it misses.
        with copied(file, *journals(file)) as copy, _storage(optuna, copy) as storage:
            return sum(
                trial.user_attrs.get("sum") != _sum(trial, trial.values)
                for name in optuna.get_all_study_names(storage)
                for trial in _finished(optuna, optuna.load_study(study_name=name, storage=storage))
            )
    except Exception:  # Of two libraries below, each of which has its own for what it cannot read.
        return None


def remove_candidates(file: Path) -> None:
    """Delete the file of candidates with what SQLite keeps beside it."""
    for path in file.parent.glob(f"{glob.escape(file.name)}*"):
        remove(path)


def _optuna() -> ModuleType:
    optuna = require("optuna", "optuna>=5.0", "search")
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    return optuna


@contextmanager
def _storage(optuna: ModuleType, file: Path) -> Iterator[RDBStorage]:
    storage = optuna.storages.RDBStorage(f"sqlite:///{os.path.realpath(file)}")
    try:
        yield storage
    finally:
        storage.remove_session()
        storage.engine.dispose()


def _sum(trial: Any, values: Sequence[float]) -> str:
    """SHA-256 over all that is kept of a candidate with these objectives."""
    kept = [trial.number, trial.params, list(values), dict(trial.constraints),
            {name: each for name, each in trial.user_attrs.items() if name != "sum"}]  # fmt: skip
    return hashlib.sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()


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
        values = [float(value) for value in found.values]
        trial.set_user_attr("sum", _sum(trial, values))
        study.tell(trial, values)


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
