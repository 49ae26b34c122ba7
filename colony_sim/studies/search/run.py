"""Search for good handling under a keeper's limits: yield, work and risk of fading at once.

Candidates are proposed by Optuna (`proposing`, which says why). A candidate's objectives are means
over a few runs, each in a world of its own, the same worlds and seeds for all. The best of many
noisy means is too good to be true, so every candidate of the front is run again in worlds and with
seeds that the search has not seen, and only these runs are reported.

Limits: the rack (``rack.bins``) and the founder beetles are set; minutes and bran a week and the
grams wanted must be kept to in a given share of runs (`limits`); the colony must not fade with a
given probability, which the fresh runs are asked to show: the lower one-sided 95 % limit of Clopper
& Pearson (1934) must reach it. For 80 % that takes 14 runs without a loss, for 95 % 59.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy

from colony_sim.biology.parameters import Parameters, Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import Factor, entry, parse_vary
from colony_sim.experiment.files import MOST_POINTS, MOST_REPLICATES
from colony_sim.experiment.plan import Plan, model_fingerprint, replicate_seeds, whole
from colony_sim.measuring.catalogue import YIELD
from colony_sim.running.runner import Progress
from colony_sim.running.whole import Whole
from colony_sim.statistics.over_worlds import verdict_over_worlds
from colony_sim.studies.points import (
    MOST_RUNS,
    Window,
    fits,
    mean_interval,
    only,
    open_points,
    window,
)
from colony_sim.studies.search.limits import (
    LOSSES,
    MEASURES,
    WORK,
    Limits,
    came_to,
    expected_breeders,
)
from colony_sim.studies.search.proposing import NAME, Judged, propose

OBJECTIVES = {
    "yield_g_per_day": "maximize",
    "minutes_per_week": "minimize",
    "fading": "minimize",
}
WARM_UP, USED = 420, 504
CANDIDATES, REPLICATES, FRESH = 48, 8, 32
"""Candidates, worlds of each, and fresh worlds of those run again, unless told otherwise."""
ALL_HANDLING = (
    "rotation.interval_days=10,14,18,21,28",
    "rotation.when",
    "rotation.surplus",
    "rotation.most_breeders_per_bin=50,100,200,300",
    "rotation.when_no_bin_free",
    "harvest.fraction=0.5,0.7,0.8,0.9,0.95",
    "harvest.when",
    "rack.clear_when",
    "rack.clear_after_days=120,140,180,240",
    "rack.small_larvae",
)
"""What is searched unless told otherwise: surplus, clearing, beetles a bin, harvest and the rules
that look before they act. Values within the plausible ranges of `parameters.toml`."""
MOST_FRONT = 6
LEVEL = 0.95


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
    candidates : pandas.DataFrame
        One row per candidate tried: keys, means over the search seeds, feasible.
    front : pandas.DataFrame
        One row per candidate run again, and one for the experiment's baseline, on fresh seeds.
    """

    keys: tuple[str, ...]
    limits: Limits
    span: Window
    search_seeds: int
    fresh_seeds: int
    candidates: pd.DataFrame
    front: pd.DataFrame


def needed(persist: float, level: float = LEVEL) -> int:
    """Runs without a loss that show a probability of `persist` at this level."""
    return math.ceil(math.log(1 - level) / math.log(persist)) if persist > 0 else 1


def persistence(lived: int, runs: int, persist: float, level: float = LEVEL) -> tuple[float, str]:
    """Lower one-sided limit of the probability to persist, and what the runs say about it.

    "shown": the lower limit reaches `persist`; "not met": the upper one does not; else "open".
    """
    low = float(scipy.stats.beta.ppf(1 - level, lived, runs - lived + 1)) if lived else 0.0
    high = float(scipy.stats.beta.ppf(level, lived + 1, runs - lived)) if lived < runs else 1.0
    return low, "shown" if low >= persist else "not met" if high < persist else "open"


def search(
    plan: Plan,
    folder: Path,
    keys: Sequence[str] | None,
    limits: Limits,
    *,
    candidates: int = CANDIDATES,
    replicates: int = REPLICATES,
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
        same search goes on where it stopped, or on to more candidates.
    keys : sequence of str or None
        ``key`` (its plausible range, or all its choices), ``key=low:high`` or ``key=a,b,c``; None:
        `ALL_HANDLING`.
    limits : Limits
    candidates : int
        Candidates to try.
    replicates : int
        Runs of each; with a profile replicate r lives in world r.
    fresh : int, optional
        Fresh runs of each candidate of the front, in the worlds after those; default: `FRESH`, or
        as many as can show persistence.
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
    plan = only(plan, [policy or plan.baseline], "policy")
    factors = [factor_of(spec) for spec in dict.fromkeys(ALL_HANDLING if keys is None else keys)]
    fixed = _fixed(factors, limits, candidates, replicates)
    if fresh is None:
        fresh = max(needed(limits.persist), FRESH)
        if plan.profile is not None:  # A keeper's profile may have few draws.
            fresh = max(2, min(fresh, len(plan.profile.draws) - replicates))
    check_fresh(fresh)
    _check_worlds(plan, replicates, fresh)
    span = window(plan, warm_up, used)
    seeds = replicate_seeds(plan.seed, replicates + fresh)
    base = plan.policies[0].parameters
    name = search_name(plan, factors, fixed, limits, seeds[:replicates], span)
    # The front is known only after the search.
    total = candidates * replicates + (1 + min(MOST_FRONT, candidates // 3)) * fresh
    check_runs(total, candidates)
    with open_points(folder, workers) as runner:
        work = Whole(on_progress, total)

        def judge(found: list[dict[str, Value]]) -> list[Judged]:
            points = [{**fixed, **point} for point in found]
            check_points(base, points)
            rows = runner.run(plan, points, seeds[:replicates], span, measures=MEASURES,
                              on_progress=work.report)  # fmt: skip
            work.next()
            came = [came_to(rows[rows["point"] == i], expected_breeders(plan, point), limits)
                    for i, point in enumerate(points)]  # fmt: skip
            return [
                Judged([one.means[name] for name in OBJECTIVES], one.short,
                       {"adult_losses": _number(one.means["adult_losses"]), "kept": one.all_kept})
                for one in came
            ]  # fmt: skip

        own = {f.key: base[f.key] for f in factors}
        table = propose(folder / NAME, name, factors, OBJECTIVES, candidates, judge,
                        seed=plan.seed, first=own)  # fmt: skip
        table = table.astype({"adult_losses": "float64"})
        chosen = _thinned(table.loc[pareto(table[table["feasible"]])])
        points = [{}, *({f.key: row[f.key] for f in factors} for _, row in chosen.iterrows())]
        points = [{**fixed, **plain(point)} for point in points]
        # Fresh worlds as well.
        work.expect(0)
        rows = runner.run(replace(plan, first=replicates + 1), points, seeds[replicates:], span,
                          measures=MEASURES, on_progress=work.report)  # fmt: skip
    front = _front(rows, points, chosen, plan, factors, limits)
    return Search(tuple(f.key for f in factors), limits, span, replicates, fresh, table, front)


def search_name(
    plan: Plan, factors: Sequence[Factor], fixed: Mapping[str, Value], limits: Limits,
    seeds: Sequence[int], span: Window,
) -> str:  # fmt: skip
    """Hash of all that decides what the candidates of a search of the first policy come to."""
    settings: dict[str, Any] = {
        "factors": [[f.key, list(f.values), f.low, f.high] for f in factors], "fixed": fixed,
        "limits": asdict(limits), "seeds": list(seeds), "span": [span.warm_up, span.days],
        "climate": plan.climate.as_dict(), "parameters": plan.policies[0].parameters.as_dict(),
        "larvae": plan.larvae, "breeders": plan.breeders, "model": model_fingerprint(),
        "worlds": list(plan.worlds),
    }  # fmt: skip
    if plan.profile is not None:
        settings["profile"] = [plan.profile.keys, plan.profile.draws.tolist()]
    return hashlib.sha256(json.dumps(settings, sort_keys=True).encode()).hexdigest()


def _check_worlds(plan: Plan, replicates: int, fresh: int) -> None:
    """Refuse more runs than there are worlds: those judged on must be fresh."""
    if plan.profile is None:
        return
    there = len(plan.profile.draws)
    if replicates + 2 > there:
        allowed = f"at most {there - 2} of the {there} worlds, two of which stay for fresh runs"
        raise InputError(ARGUMENT, "replicates", replicates, allowed)
    if replicates + fresh > there:
        allowed = f"with {replicates} of the search at most {there}, as many as there are worlds"
        raise InputError(ARGUMENT, "fresh_seeds", fresh, allowed)


def check_points(base: Parameters, points: Sequence[Mapping[str, Value]]) -> None:
    """`InputError` if a point does not go with the other values."""
    for point in points:
        values = {k: v for k, v in point.items() if k != "start.breeders"}
        if not fits(base, values):
            base.with_values(values, where="argument keys")  # Raises and says why.


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value


def factor_of(spec: str) -> Factor:
    """What is searched, from text; a choice or truth value alone means all there are."""
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


def check_fresh(fresh: int) -> None:
    """`InputError` unless it is a number of fresh runs."""
    whole("fresh_seeds", fresh, 2, MOST_REPLICATES, fresh)


def check_runs(total: int, candidates: int) -> None:
    """`InputError` if all runs of so many candidates are more than anybody waits for."""
    if total > MOST_RUNS:
        allowed = f"fewer, or fewer runs of each: they are {total:,} runs, at most {MOST_RUNS:,}"
        raise InputError(ARGUMENT, "candidates", candidates, allowed)


def _fixed(
    factors: Sequence[Factor], limits: Limits, candidates: int, replicates: int
) -> dict[str, Value]:
    """Values laid over every candidate, checked."""
    if not factors:
        raise InputError(ARGUMENT, "keys", "nothing", "one handling key or more")
    whole("candidates", candidates, 1, MOST_POINTS, candidates)
    whole("replicates", replicates, 1, MOST_REPLICATES, replicates)
    fixed = limits.check()
    if "rack.bins" in fixed and any(f.key == "rack.bins" for f in factors):
        raise InputError(
            "argument keys", "key", "rack.bins", "keys other than rack.bins with `bins`"
        )
    return fixed


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


def plain(point: Mapping[str, Any]) -> dict[str, Value]:
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
    yields = rows.pivot(index="point", columns="seed", values=YIELD).to_numpy(float)
    table = []
    for number, point in enumerate(points):
        here = rows[rows["point"] == number]
        came = came_to(here, expected_breeders(plan, point), limits)
        low, persist = persistence(came.persisted, len(here), limits.persist)
        row: dict[str, Any] = {"candidate": "as in the file" if number == 0 else ""}
        row |= {f.key: point.get(f.key, p[f.key]) for f in factors} | came.means
        for name, measure, scale in (("yield", YIELD, 1), ("losses", LOSSES, 1),
                                     ("minutes", WORK, 60)):  # fmt: skip
            _, _, bottom, top = mean_interval(scale * here[measure].dropna().to_numpy(float))
            row |= {f"{name}_low": bottom, f"{name}_high": top}
        against = verdict_over_worlds([[gain] for gain in yields[number] - yields[0]])
        row |= {
            "runs": len(here), "persisted": came.persisted, "persist_low": low,
            "persistence": persist, "kept": came.all_kept,
            "within_limits": all(came.kept[name] >= limits.sure for name in came.kept),
            "gain": against.gain, "gain_se": against.gain_se,
            "ahead": against.probability_a, "ahead_se": against.probability_a_se,
            "yield_in_search": promised[number],
        }  # fmt: skip
        table.append(row)
    front = pd.DataFrame(table)
    allowed = front["within_limits"] & (front["persistence"] != "not met")
    # Whether a candidate is on the front is decided anew, on the fresh runs alone.
    front["on_front"] = False
    front.loc[pareto(front[allowed]), "on_front"] = True
    others = front.iloc[1:].sort_values("yield_g_per_day", ascending=False, ignore_index=True)
    others["candidate"] = [_letter(i) for i in range(len(others))]
    return pd.concat([others, front.iloc[:1]], ignore_index=True)


def _letter(place: int) -> str:
    return chr(ord("A") + place) if place < 26 else f"A{place - 25}"
