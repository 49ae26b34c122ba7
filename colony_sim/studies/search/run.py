"""Search for good handling under a keeper's limits: yield, adult losses and work at once.

Candidates are proposed by Optuna's multi-objective tree-structured Parzen estimator (Ozaki et al.
2022, J. Artif. Intell. Res. 73:1209-1250), which learns from feasible and infeasible trials. A
candidate's objectives are means over a few seeds, the same for all. The best of many noisy means
is too good to be true, so every candidate of the front is run again with fresh seeds, and only
these runs are reported.

Limits: the rack (``rack.bins``) and the founder beetles are set; minutes a week is a constraint;
the colony must persist (insects alive at the end, eggs laid in the measured days) with a given
probability, which the fresh seeds are asked to show: the lower one-sided 95 % limit of Clopper &
Pearson (1934) must reach it. For 95 % that takes 59 runs without a loss.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import stats

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import Factor, entry, parse_vary
from colony_sim.experiment.plan import Plan, model_fingerprint, replicate_seeds
from colony_sim.extras import require
from colony_sim.measuring.catalogue import YIELD
from colony_sim.running.runner import Progress
from colony_sim.studies.points import (
    PointRunner,
    Window,
    fits,
    mean_interval,
    only,
    open_points,
    window,
)

if TYPE_CHECKING:
    from optuna.storages import RDBStorage
    from optuna.study import Study
    from optuna.trial import Trial

NO_BEETLES = 100.0
"""Losses (per 100 adults a day) that the search is told where there was no beetle: all in a day."""
LOSSES, WORK, LAID = "adult_losses_per_100_per_day", "work_hours_per_week", "eggs_laid_per_day"
MEASURES = (YIELD, LOSSES, WORK, LAID)
OBJECTIVES = {
    "yield_g_per_day": "maximize",
    "adult_losses": "minimize",
    "minutes_per_week": "minimize",
}
WARM_UP, USED = 420, 504
BATCH = 4
"""Candidates proposed at a time; fixed, so that a search does not depend on the workers."""
MOST_FRONT = 10
LEVEL = 0.95


@dataclass(frozen=True)
class Limits:
    """What the keeper has.

    Attributes
    ----------
    bins : int or None
        Bins in the rack; None: as in the experiment file.
    minutes_per_week : float or None
        Work at most; None: no limit.
    breeders : int or None
        Founder beetles; None: as in the experiment file.
    persist : float
        Probability with which the colony must persist.
    """

    bins: int | None = None
    minutes_per_week: float | None = None
    breeders: int | None = None
    persist: float = 0.95


@dataclass(frozen=True)
class Search:
    """A finished search.

    Attributes
    ----------
    keys : tuple of str
        Keys searched.
    limits : Limits
    span : Window
        Length of the runs and days measured.
    search_seeds, fresh_seeds : int
        Seeds of a trial, and of a candidate run again.
    trials : pandas.DataFrame
        One row per candidate tried: keys, means over the search seeds, feasible.
    front : pandas.DataFrame
        One row per candidate run again, and one for the experiment's baseline, on fresh seeds.
    """

    keys: tuple[str, ...]
    limits: Limits
    span: Window
    search_seeds: int
    fresh_seeds: int
    trials: pd.DataFrame
    front: pd.DataFrame


def needed(persist: float, level: float = LEVEL) -> int:
    """Runs without a loss that show a probability of `persist` at this level."""
    return math.ceil(math.log(1 - level) / math.log(persist)) if persist > 0 else 1


def persistence(lived: int, runs: int, persist: float, level: float = LEVEL) -> tuple[float, str]:
    """Lower one-sided limit of the probability to persist, and what the runs say about it.

    "shown": the lower limit reaches `persist`; "not met": the upper one does not; else "open".
    """
    low = float(stats.beta.ppf(1 - level, lived, runs - lived + 1)) if lived else 0.0
    high = float(stats.beta.ppf(level, lived + 1, runs - lived)) if lived < runs else 1.0
    return low, "shown" if low >= persist else "not met" if high < persist else "open"


def search(
    plan: Plan,
    folder: Path,
    keys: Sequence[str],
    limits: Limits,
    *,
    trials: int = 100,
    replicates: int = 3,
    fresh: int | None = None,
    policy: str | None = None,
    warm_up: int = WARM_UP,
    used: int = USED,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Search:
    """Search the handling keys and run the front again with fresh seeds.

    Parameters
    ----------
    plan : Plan
        The experiment.
    folder : Path
        Results folder, held with ``folder.claim``. Trials are kept in ``study.sqlite`` there: the
        same search goes on where it stopped, or on to more trials.
    keys : sequence of str
        ``key`` (its plausible range, or all its choices), ``key=low:high`` or ``key=a,b,c``.
    limits : Limits
    trials : int
        Candidates to try.
    replicates : int
        Seeds of each.
    fresh : int, optional
        Fresh seeds of each candidate of the front; default: as many as can show persistence.
    policy : str, optional
        Policy that the other keys are taken from; default: the baseline.
    warm_up, used, workers, on_progress
        As for the other studies.

    Raises
    ------
    InputError
        If a key or a limit is not allowed.
    MissingExtra
        If Optuna is not installed.
    PointsFailed
        If a run raised.
    """
    optuna = require("optuna", "optuna>=5.0", "search")
    plan = only(plan, [policy or plan.baseline], "policy")
    factors = [_factor(spec) for spec in dict.fromkeys(keys)]
    fixed = _fixed(plan, factors, limits, trials, replicates)
    fresh = needed(limits.persist) if fresh is None else fresh
    if fresh < 2:
        raise InputError(ARGUMENT, "fresh_seeds", fresh, "2 or more")
    span = window(plan, warm_up, used)
    seeds = replicate_seeds(plan.seed, replicates + fresh)
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    settings = {
        "factors": [[f.key, list(f.values), f.low, f.high] for f in factors], "fixed": fixed,
        "minutes": limits.minutes_per_week, "persist": limits.persist, "seeds": seeds[:replicates],
        "span": [span.warm_up, span.days], "climate": plan.climate.as_dict(),
        "parameters": plan.policies[0].parameters.as_dict(), "larvae": plan.larvae,
        "breeders": plan.breeders, "model": model_fingerprint(),
    }  # fmt: skip
    if plan.profile is not None:
        settings["profile"] = [plan.profile.keys, plan.profile.draws.tolist()]
    name = hashlib.sha256(json.dumps(settings, sort_keys=True).encode()).hexdigest()
    storage = optuna.storages.RDBStorage(f"sqlite:///{(folder / 'study.sqlite').resolve()}")
    try:
        study = _study(optuna, storage, name, plan, factors)
        with open_points(folder, workers) as runner:
            watch = _Watch(on_progress, trials * replicates, len(study.trials))
            _try(optuna, study, trials, factors, fixed, limits, plan, runner, seeds[:replicates],
                 span, watch)  # fmt: skip
            table = _trial_table(optuna, study, factors)
            best = pareto(table[table["feasible"]])
            chosen = _thinned(table.loc[best])
            points = [{}, *({f.key: row[f.key] for f in factors} for _, row in chosen.iterrows())]
            points = [{**fixed, **_plain(point)} for point in points]
            # Fresh draws of a profile as well.
            rows = runner.run(replace(plan, first=replicates + 1), points, seeds[replicates:], span,
                              measures=MEASURES, on_progress=on_progress)  # fmt: skip
    finally:
        storage.remove_session()
        storage.engine.dispose()
    front = _front(rows, points, chosen, plan, factors, limits)
    return Search(tuple(f.key for f in factors), limits, span, replicates, fresh, table, front)


def _factor(spec: str) -> Factor:
    item = entry(spec.partition("=")[0].strip(), "argument keys")
    if item.group != "handling":
        raise InputError(
            "argument keys", "key", item.key, "a handling key: what a keeper can choose"
        )
    if "=" not in spec and item.kind == "boolean":
        return Factor(item.key, (True, False))
    if "=" not in spec and item.kind == "choice":
        return Factor(item.key, item.choices)
    return parse_vary(spec, "argument keys")


def _fixed(
    plan: Plan, factors: Sequence[Factor], limits: Limits, trials: int, replicates: int
) -> dict[str, Value]:
    """Values laid over every candidate, checked."""
    if not factors:
        raise InputError(ARGUMENT, "keys", "nothing", "one handling key or more")
    for option, number in (("trials", trials), ("replicates", replicates)):
        if number < 1:
            raise InputError(ARGUMENT, option, number, "1 or more")
    if not 0 < limits.persist < 1:
        raise InputError(ARGUMENT, "persist", limits.persist, "above 0 and below 1")
    minutes = limits.minutes_per_week
    if minutes is not None and not 0 < minutes < math.inf:
        raise InputError(ARGUMENT, "minutes_per_week", minutes, "above 0")
    fixed: dict[str, Value] = {}
    for key, option, value in (("rack.bins", "argument bins", limits.bins),
                               ("start.breeders", "argument breeders", limits.breeders),
                               ):  # fmt: skip
        if value is not None:
            fixed[key] = entry(key).check(value, option)
    if "rack.bins" in fixed and any(f.key == "rack.bins" for f in factors):
        raise InputError(
            "argument keys", "key", "rack.bins", "keys other than rack.bins with `bins`"
        )
    return fixed


def _study(
    optuna: ModuleType, storage: RDBStorage, name: str, plan: Plan, factors: Sequence[Factor]
) -> Study:
    """The study of these settings, new or as it was left."""
    known = {summary.study_name: summary.n_trials
             for summary in optuna.get_all_study_summaries(storage)}  # fmt: skip
    done = known.get(name, 0)
    # A sampler begun anew would propose again what it proposed first.
    sampler = optuna.samplers.TPESampler(
        seed=(plan.seed + done) % 2**32, multivariate=True, constant_liar=True
    )
    study = optuna.create_study(
        storage=storage, study_name=name, sampler=sampler, directions=list(OBJECTIVES.values()),
        load_if_exists=True,
    )  # fmt: skip
    for trial in study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.RUNNING,)):
        # Left by a process that was stopped; its finished runs are in the store of runs.
        study.tell(trial.number, state=optuna.trial.TrialState.FAIL)
    if done == 0:
        p = plan.policies[0].parameters
        own = {f.key: p[f.key] for f in factors if _inside(f, p[f.key])}
        if len(own) == len(factors):
            study.enqueue_trial(own)
    return study


def _inside(factor: Factor, value: Any) -> bool:
    return value in factor.values if factor.values else factor.ends[0] <= value <= factor.ends[1]


def _try(
    optuna: ModuleType, study: Study, trials: int, factors: Sequence[Factor],
    fixed: Mapping[str, Value], limits: Limits, plan: Plan, runner: PointRunner,
    seeds: Sequence[int], span: Window, watch: _Watch,
) -> None:  # fmt: skip
    finished = (optuna.trial.TrialState.COMPLETE,)
    base = plan.policies[0].parameters
    while (left := trials - len(study.get_trials(deepcopy=False, states=finished))) > 0:
        asked = [study.ask() for _ in range(min(BATCH, left))]
        points = [{**fixed, **{f.key: _suggest(trial, f) for f in factors}} for trial in asked]
        for point in points:
            values = {k: v for k, v in point.items() if k != "start.breeders"}
            if not fits(base, values):
                base.with_values(values, where="argument keys")  # Raises and says why.
        rows = runner.run(plan, points, seeds, span, measures=MEASURES, on_progress=watch.report)
        for i, trial in enumerate(asked):
            means, lived = _means(rows[rows["point"] == i])
            minutes = limits.minutes_per_week
            over = means["minutes_per_week"] - minutes if minutes is not None else 0.0
            # So few seeds cannot show a probability; a single loss counts against it.
            constraints = [over, float(len(seeds) - lived)]
            trial.set_constraint("minutes", constraints[0])
            trial.set_constraint("runs_lost", constraints[1])
            trial.set_user_attr("constraints", constraints)
            trial.set_user_attr("no_beetles", math.isnan(means["adult_losses"]))
            # Without beetles there is no rate of losses; the search needs a number all the same.
            told = [NO_BEETLES if math.isnan(value) else value for value in means.values()]
            study.tell(trial, told)
        watch.next(len(asked) * len(seeds))


def _suggest(trial: Trial, factor: Factor) -> Any:
    if factor.values:
        return trial.suggest_categorical(factor.key, list(factor.values))
    low, high = factor.ends
    if entry(factor.key).kind == "integer":
        return trial.suggest_int(factor.key, int(low), int(high))
    return trial.suggest_float(factor.key, low, high)


def _means(rows: pd.DataFrame) -> tuple[dict[str, float], int]:
    """Objectives of a candidate, means over its runs, and the number of runs that persisted."""
    lived = rows["died_out_day"].isna() & (rows[LAID] > 0)
    losses = rows[LOSSES].dropna()
    return {
        "yield_g_per_day": float(rows[YIELD].mean()),
        "adult_losses": float(losses.mean()) if len(losses) else math.nan,
        "minutes_per_week": float(60 * rows[WORK].mean()),
    }, int(lived.sum())


def _trial_table(optuna: ModuleType, study: Study, factors: Sequence[Factor]) -> pd.DataFrame:
    rows = []
    for trial in study.get_trials(deepcopy=False, states=(optuna.trial.TrialState.COMPLETE,)):
        constraints = trial.user_attrs["constraints"]
        rows.append({
            "trial": trial.number, **{f.key: trial.params[f.key] for f in factors},
            **dict(zip(OBJECTIVES, trial.values, strict=True)),
            "minutes_over": constraints[0], "runs_lost": int(constraints[1]),
            "feasible": max(constraints) <= 0,
        })  # fmt: skip
        if trial.user_attrs["no_beetles"]:
            rows[-1]["adult_losses"] = math.nan
    return pd.DataFrame(rows)


def pareto(table: pd.DataFrame) -> list[int]:
    """Index labels of the rows that no other row betters in one objective and matches in all."""
    if table.empty:
        return []
    sign = np.array([1.0 if way == "maximize" else -1.0 for way in OBJECTIVES.values()])
    worth = np.nan_to_num(table[list(OBJECTIVES)].to_numpy(dtype=float) * sign, nan=-math.inf)
    kept, seen = [], set()
    for i, row in enumerate(worth):
        beaten = ((worth >= row).all(axis=1) & (worth > row).any(axis=1)).any()
        # The same candidate may have been tried twice.
        if not beaten and tuple(row) not in seen:
            seen.add(tuple(row))
            kept.append(table.index[i])
    return kept


def _thinned(front: pd.DataFrame) -> pd.DataFrame:
    """At most `MOST_FRONT` candidates, spread evenly over the order of yields."""
    front = front.sort_values("yield_g_per_day", ascending=False)
    if len(front) <= MOST_FRONT:
        return front
    places = np.unique(np.linspace(0, len(front) - 1, MOST_FRONT).round().astype(int))
    return front.iloc[places]


def _plain(point: Mapping[str, Any]) -> dict[str, Value]:
    """Numbers out of a table, in the kind of their key."""
    plain = {}
    for key, value in point.items():
        value = value.item() if isinstance(value, np.generic) else value
        plain[key] = int(value) if entry(key).kind == "integer" else value
    return plain


def _front(
    rows: pd.DataFrame, points: Sequence[Mapping[str, Value]], chosen: pd.DataFrame, plan: Plan,
    factors: Sequence[Factor], limits: Limits,
) -> pd.DataFrame:  # fmt: skip
    p = plan.policies[0].parameters
    promised = [math.nan, *chosen["yield_g_per_day"]]
    table = []
    for number, point in enumerate(points):
        here = rows[rows["point"] == number]
        means, lived = _means(here)
        low, persist = persistence(lived, len(here), limits.persist)
        row: dict[str, Any] = {"candidate": "as in the file" if number == 0 else ""}
        row |= {f.key: point.get(f.key, p[f.key]) for f in factors} | means
        for name, measure, scale in (("yield", YIELD, 1), ("losses", LOSSES, 1),
                                     ("minutes", WORK, 60)):  # fmt: skip
            _, _, bottom, top = mean_interval(scale * here[measure].dropna().to_numpy(float))
            row |= {f"{name}_low": bottom, f"{name}_high": top}
        limit = limits.minutes_per_week
        row |= {
            "runs": len(here), "persisted": lived, "persist_low": low, "persistence": persist,
            "within_minutes": limit is None or means["minutes_per_week"] <= limit,
            "yield_in_search": promised[number],
        }  # fmt: skip
        table.append(row)
    front = pd.DataFrame(table)
    allowed = front["within_minutes"] & (front["persistence"] != "not met")
    # Whether a candidate is on the front is decided anew, on the fresh runs alone.
    front["on_front"] = False
    front.loc[pareto(front[allowed]), "on_front"] = True
    others = front.iloc[1:].sort_values("yield_g_per_day", ascending=False, ignore_index=True)
    others["candidate"] = [_letter(i) for i in range(len(others))]
    return pd.concat([others, front.iloc[:1]], ignore_index=True)


def _letter(place: int) -> str:
    return chr(ord("A") + place) if place < 26 else f"A{place - 25}"


class _Watch:
    """One count of runs over all batches."""

    def __init__(self, on_progress: Callable[[Progress], None], total: int, tried: int) -> None:
        self._on_progress, self.total, self.tried = on_progress, total, tried
        self.before = 0

    def report(self, now: Progress) -> None:
        left = now.seconds_left
        ended = now.done + now.failed
        if left is not None and now.total > ended:
            left *= max(self.total - self.before - ended, 0) / (now.total - ended)
        self._on_progress(
            replace(now, done=self.before + now.done, total=self.total, seconds_left=left)
        )

    def next(self, runs: int) -> None:
        self.before += runs
