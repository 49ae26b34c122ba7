"""Sensitivity over worlds: which of the values that nobody knows does the result hang on?

The values of a world hang together: worlds are joint draws that the published experiments allow.
Sobol's split of the variance into parts that add to 1, and his total index, suppose that they do
not; for values that hang together the parts are not defined without a choice of who is credited
with what two values do together (Shapley effects: Owen 2014, SIAM/ASA J. Uncertain. Quantif.
2:245-251), and need draws of all other values given some, which worlds at hand do not give. So two
things are estimated that have a meaning for any joint distribution, and no more:

* ``sobol``: the first-order share Var(E[D | key]) / Var(D) of every key, from runs in as many
  worlds (given-data estimation, Plischke, Borgonovo & Smith 2013, Eur. J. Oper. Res. 226:536-550;
  see `statistics.information`). It is the variance that knowing the value would remove, what it
  tells of values that go with it included. Shares need not add to 1. The same runs serve all keys,
  so that the cost does not grow with their number. The share of a group of keys is that of additive
  curves in all of them, adjusted for their number; what they do jointly beyond that is left out, so
  it is a lower limit. Chance is part of Var(D); with two seeds a world or more its share is told.
* ``morris``: what happens if one value alone is taken from another world (radial steps, Campolongo,
  Saltelli & Cariboni 2011, Comput. Phys. Commun. 182:978-988, from draws of the joint
  distribution in place of the unit cube). mu* is the mean absolute change, mu the mean change
  towards the larger value, sigma the spread of the changes. A moved point is no world: it has the
  dependence of the values broken at one key, which is what moving a value alone means. If a value
  does not go with the rest of the world (keys in order), that of the next world that does is taken.

Their units differ: a share of the variance, and the unit of the result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Entry, Value, catalogue, out_of_order
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.experiment.worlds import Worlds
from colony_sim.statistics.information import narrowing
from colony_sim.statistics.over_worlds import split_of_variance
from colony_sim.studies.sensitivity.indices import LEVEL, Noise, seed_noise

SIZES = {"sobol": 128, "morris": 10}
"""Worlds that are lived in, or steps are taken from, unless told otherwise."""
LEAST = {"sobol": 12, "morris": 2}
_RESAMPLES, _SEED = 1000, 20_073
Run = Callable[[Plan, Sequence[Mapping[str, Value]], Sequence[int]], np.ndarray]
"""Result of a plan at points with seeds, array of shape (points, seeds)."""


@dataclass(frozen=True)
class Found:
    """What `shares` and `steps` come to; fields as of `run.Sensitivity`."""

    table: pd.DataFrame
    sampled: pd.DataFrame
    noise: Noise
    groups: pd.DataFrame


def known_keys(worlds: Worlds, entries: Sequence[Entry] | None) -> list[str]:
    """Keys that are looked at: those named, or all of the worlds.

    Raises
    ------
    InputError
        A key that is the same in every world.
    """
    if entries is None:
        return list(worlds.keys)
    for entry in entries:
        if entry.key not in worlds.keys:
            allowed = "a key that differs between worlds, or `over` ranges"
            raise InputError(ARGUMENT, "keys", entry.key, allowed)
    return [entry.key for entry in entries]


def check_size(method: str, size: int | None, worlds: Worlds) -> int:
    """Worlds to take; `InputError` if there are not as many."""
    count = min(SIZES[method], len(worlds.draws)) if size is None else size
    if not LEAST[method] <= count <= len(worlds.draws):
        allowed = f"{LEAST[method]} to {len(worlds.draws)} worlds"
        raise InputError(ARGUMENT, "size", count, allowed)
    return count


def shares(
    plan: Plan, entries: Sequence[Entry] | None, size: int | None, replicates: int, run: Run
) -> Found:
    """First-order shares of the variance, from one point lived in many worlds."""
    worlds = plan.profile
    assert worlds is not None
    keys, size = known_keys(worlds, entries), check_size("sobol", size, worlds)
    numbers = np.tile(np.arange(1, size + 1), replicates)
    seeds = replicate_seeds(plan.seed, len(numbers))
    plan = replace(plan, seeds=seeds, worlds=tuple(int(n) for n in numbers))
    result = run(plan, [{}], seeds).reshape(replicates, size).T
    # A colony that died out yields nothing; a measure without a meaning then is left out.
    known = np.isfinite(result).all(axis=1)
    columns = [worlds.keys.index(key) for key in keys]
    draws, mean = worlds.draws[:size], result.mean(axis=1)
    options = [entry.key for entry in worlds.entries if not entry.is_number]
    found = narrowing(keys, draws[known][:, columns], mean[known], options=options).table
    table = pd.DataFrame({
        "key": found["key"], "influence": found["share"], "influence_low": found["share_low"],
        "influence_high": found["share_high"], "S1": found["share"], "S1_se": found["share_se"],
        "p_holm": found["p_holm"], "shown": found["shown"], "value": found["value"],
        "value_se": found["value_se"], "seed_se": math.nan,
        "sign_changes": 0, "moves": 0,
    })  # fmt: skip
    sampled = _values(worlds, list(worlds.keys), range(1, size + 1))
    return Found(
        _told(table, worlds),
        _with_results(sampled, result),
        _chance(result[known]),
        group_shares(keys, draws[known][:, columns], mean[known], options),
    )


def group_shares(
    keys: Sequence[str], draws: np.ndarray, result: np.ndarray, options: Sequence[str] = ()
) -> pd.DataFrame:
    """Share of the variance that knowing all keys of a section would remove, at least.

    Of additive curves: straight lines and squares of numbers, means of options, adjusted for their
    number (Ezekiel 1930); standard errors from a jackknife over tenths of the worlds.

    Returns
    -------
    DataFrame
        One row per section of `parameters.toml`, largest first: group, keys (their number), share,
        share_se; NaN where there are fewer than three worlds for each column of the curves.
    """
    rows = []
    sections = dict.fromkeys(key.partition(".")[0] for key in keys)
    for section in sections:
        places = [i for i, key in enumerate(keys) if key.partition(".")[0] == section]
        basis = _curves(draws[:, places], [keys[i] in options for i in places])
        share, error = _adjusted(basis, result)
        rows.append({"group": section, "keys": len(places), "share": share, "share_se": error})
    table = pd.DataFrame(rows, columns=["group", "keys", "share", "share_se"])
    return table.sort_values("share", ascending=False, kind="stable", ignore_index=True)


def _curves(draws: np.ndarray, options: Sequence[bool]) -> np.ndarray:
    """Columns of additive curves, centred; a value that never changes has none."""
    columns = []
    for x, is_option in zip(draws.T, options, strict=True):
        if np.ptp(x) == 0:
            continue
        if is_option:
            columns += [(x == value).astype(float) for value in np.unique(x)[1:]]
        else:
            z = (x - x.mean()) / x.std()
            columns += [z, z**2]
    return np.column_stack(columns) if columns else np.empty((len(draws), 0))


def _adjusted(basis: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Adjusted R squared, and its standard error from a jackknife over tenths."""
    n, df = basis.shape
    if n < 3 * df or n < LEAST["sobol"]:
        return math.nan, math.nan

    def share(rows: np.ndarray) -> float:
        x, left = basis[rows] - basis[rows].mean(axis=0), y[rows] - y[rows].mean()
        total = float(left @ left)
        if total == 0.0 or not df:
            return 0.0
        rest = left - x @ np.linalg.lstsq(x, left, rcond=None)[0]
        return 1 - float(rest @ rest) / total * (len(rows) - 1) / (len(rows) - df - 1)

    parts = np.arange(n) % 10
    without = np.array([share(np.flatnonzero(parts != part)) for part in range(10)])
    return share(np.arange(n)), float(np.sqrt(0.9 * ((without - without.mean()) ** 2).sum()))


def steps(
    plan: Plan, entries: Sequence[Entry] | None, size: int | None, replicates: int, run: Run
) -> Found:
    """Changes by taking one value from another world, from as many worlds as `size`."""
    worlds = plan.profile
    assert worlds is not None
    keys, size = known_keys(worlds, entries), check_size("morris", size, worlds)
    seeds = replicate_seeds(plan.seed, replicates)
    base = plan.policies[0].parameters.as_dict()
    points: list[dict[str, Value]] = []
    rows: list[dict[str, Any]] = []
    for number in range(1, size + 1):
        here = worlds.draw(number)
        points.append(dict(here))
        rows.append({"world": number, "moved": "", "other": 0})
        for key in keys:
            other = _partner(worlds, number, key, base)
            points.append({**here, key: worlds.draw(other)[key]})
            rows.append({"world": number, "moved": key, "other": other})
    # Every point has a whole world, so nothing is left to draw.
    result = run(replace(plan, seeds=seeds), points, seeds)
    return Found(
        _told(_effects(keys, points, result, plan.seed), worlds),
        _with_results(pd.concat([pd.DataFrame(rows), pd.DataFrame(points)], axis=1), result),
        seed_noise(result),
        pd.DataFrame(columns=["group", "keys", "share", "share_se"]),
    )


def _partner(worlds: Worlds, number: int, key: str, base: Mapping[str, Value]) -> int:
    """World whose value of a key is taken: half of all worlds further on, or the next that fits.

    That of the world itself if no other fits.
    """
    count = len(worlds.draws)
    order = (number - 1 + (count + 1) // 2 + np.arange(count)) % count
    values = {**base, **worlds.draw(number), key: worlds.draws[order, worlds.keys.index(key)]}
    fits = ~out_of_order(values, count)
    return int(order[np.argmax(fits)]) + 1


def _effects(
    keys: Sequence[str], points: Sequence[Mapping[str, Value]], result: np.ndarray, seed: int
) -> pd.DataFrame:
    """Table of the changes by key."""
    each = len(keys) + 1
    mean = result.mean(axis=1).reshape(-1, each)
    by_seed = result.reshape(-1, each, result.shape[1])
    rng = np.random.default_rng([_SEED, seed])
    pick = rng.integers(0, len(mean), size=(_RESAMPLES, len(mean)))
    rows = []
    for i, key in enumerate(keys, start=1):
        change = mean[:, i] - mean[:, 0]
        size = np.abs(change)
        signed = change * [
            _direction(points[start][key], points[start + i][key])
            for start in range(0, len(points), each)
        ]
        low, high = np.quantile(size[pick].mean(axis=1), [0.5 - LEVEL / 2, 0.5 + LEVEL / 2])
        alone = np.abs(by_seed[:, i] - by_seed[:, 0]).mean(axis=0)
        rows.append({
            "key": key, "mu": signed.mean(), "mu_star": size.mean(),
            "sigma": signed.std(ddof=1), "influence": size.mean(), "influence_low": low,
            "influence_high": high,
            "seed_se": alone.std(ddof=1) / math.sqrt(len(alone)) if len(alone) > 1 else math.nan,
            "sign_changes": int((mean[:, 0] * mean[:, i] < 0).sum()), "moves": len(mean),
        })  # fmt: skip
    table = pd.DataFrame(rows)
    return table.sort_values("influence", ascending=False, kind="stable", ignore_index=True)


def _direction(before: Value, after: Value) -> float:
    """Whether a number rises (1) or falls (-1); a change of option counts as it is."""
    if isinstance(before, str | bool) or isinstance(after, str | bool):
        return 1.0
    return 1.0 if after >= before else -1.0


def _chance(result: np.ndarray) -> Noise:
    """Chance within a world, from result of shape (worlds, seeds), after averaging over seeds."""
    size, seeds = result.shape
    if seeds < 2 or size < 2:
        return Noise(seeds, math.nan, math.nan)
    within = split_of_variance(list(result)).within
    total = float(result.mean(axis=1).var(ddof=1))
    return Noise(seeds, within, min(within / seeds / total, 1.0) if total > 0 else math.nan)


def _told(table: pd.DataFrame, worlds: Worlds) -> pd.DataFrame:
    """The table with what is known of its keys; the range is the central 90 % of all worlds."""
    entries = [catalogue()[key] for key in table["key"]]
    ends = [
        worlds.interval(entry.key, 0.9) if entry.is_number else (math.nan, math.nan)
        for entry in entries
    ]
    return table.assign(
        unit=[entry.unit for entry in entries],
        default=[str(entry.value) for entry in entries],
        low_value=[low for low, _ in ends],
        high_value=[high for _, high in ends],
        basis=[entry.basis for entry in entries],
        confidence=[entry.confidence for entry in entries],
        source=[entry.source for entry in entries],
    )


def _values(worlds: Worlds, keys: Sequence[str], numbers: Sequence[int] | range) -> pd.DataFrame:
    return worlds.frame().loc[list(numbers), list(keys)].reset_index()


def _with_results(sampled: pd.DataFrame, result: np.ndarray) -> pd.DataFrame:
    columns = {f"result_seed_{i}": column for i, column in enumerate(result.T, start=1)}
    return pd.concat([sampled, pd.DataFrame(columns)], axis=1)
