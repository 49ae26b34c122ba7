"""Which of two policies is ahead over the worlds of a comparison, in each currency.

Replicate r lives in world 1 + (r - 1) modulo their number, so a comparison with more replicates
than worlds lives several seeds in each, and chance can be told from what nobody knows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from colony_sim.experiment.worlds import Worlds
from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.over_worlds import WorldsVerdict, in_currencies
from colony_sim.words.estimate import dashed, number, percent

#: What is divided by what; a policy is ahead in a currency that it has more of.
CURRENCIES: dict[str, tuple[str, str | None]] = {
    "g/day": (YIELD, None),
    "g per hour of work": ("grams_a_week", "work_hours_per_week"),
    "g/day per bin in use": (YIELD, "bins_in_use"),
    "g per kg of bran": ("yield_g_per_kg_bran", None),
    "beetles spared per 100 a day": ("spared", None),
}
FIRST = next(iter(CURRENCIES))


@dataclass(frozen=True)
class OverWorlds:
    """Verdicts over worlds.

    Attributes
    ----------
    pair : two names
        Policies A and B; gains are those of A over B.
    zone : float
        Half width (g/day) of the gains that count as none.
    verdicts : dict of str to WorldsVerdict
        By currency.
    table : pandas.DataFrame
        One row a currency, see `statistics.over_worlds.Currencies`, with policy and baseline.
    """

    pair: tuple[str, str]
    zone: float
    verdicts: dict[str, WorldsVerdict]
    table: pd.DataFrame


def over_worlds(
    runs: pd.DataFrame, worlds: Worlds, pair: tuple[str, str], zone: float = 0.0
) -> OverWorlds:
    """Verdicts from the runs of a comparison.

    Parameters
    ----------
    runs : pandas.DataFrame
        One row a policy and replicate, with measures.
    worlds : Worlds
        Those of the plan.
    pair : two names
    zone : float
        Half width (g/day) of the gains that count as none.
    """
    sides = [_measured(runs, policy) for policy in pair]
    verdicts: dict[str, WorldsVerdict] = {}
    tables = []
    for name, (above, below) in CURRENCIES.items():
        a, b = _ratio(sides[0], above, below), _ratio(sides[1], above, below)
        both = (a - b).dropna().index
        if both.empty:
            continue
        place = (both.to_numpy() - 1) % len(worlds.draws)
        first, second = (
            {name: [side[both].to_numpy()[place == world] for world in np.unique(place)]}
            for side in (a, b)
        )
        zones = {name: zone} if name == FIRST else None
        found = in_currencies(first, second, {name: (name, None)}, zones)
        verdicts |= found.verdicts
        tables.append(found.table)
    table = pd.concat(tables, ignore_index=True)
    table.insert(0, "baseline", pair[1])
    table.insert(0, "policy", pair[0])
    return OverWorlds(pair, zone, verdicts, table)


def _measured(runs: pd.DataFrame, policy: str) -> pd.DataFrame:
    """Measures of a policy by replicate, with those that currencies add."""
    table = runs[runs["policy"] == policy].set_index("replicate")
    return table.assign(
        grams_a_week=7.0 * table[YIELD], spared=-table["adult_losses_per_100_per_day"]
    )


def _ratio(table: pd.DataFrame, above: str, below: str | None) -> pd.Series:
    values = table[above].astype(float)
    if below is not None:
        values = values / table[below].astype(float)
    # A colony that died out has no hours, bins or bran; what it yields of them is nothing.
    return values.where(np.isfinite(values), 0.0) if above != "spared" else values


def in_words(found: OverWorlds) -> list[str]:
    """Who is ahead how surely, what it rests on, and in which currency otherwise."""
    verdict = found.verdicts[FIRST]
    first, second = (f"“{name}”" for name in found.pair)
    shares = (
        f"{first} yields more in {percent(verdict.probability_a)} "
        f"(SE {number(100 * verdict.probability_a_se)}) and {second} in "
        f"{percent(verdict.probability_b)}"
    )
    if found.zone > 0.0:
        shares += (
            f"; in {percent(verdict.probability_zone)} they differ by less than "
            f"{number(found.zone)} g/day"
        )
    what = "pairs of runs, one a world" if verdict.of_single_pairs else "worlds"
    lines = [
        f"Over {verdict.worlds} {what}: {shares}. Expected gain {number(verdict.gain)} g/day (SE "
        f"{number(verdict.gain_se)}), 90 % of them from {number(verdict.low)} to "
        f"{number(verdict.high)}. Choosing {first} costs {number(verdict.regret_a)} g/day on "
        f"average where it is the wrong choice, all worlds counted, choosing {second} "
        f"{number(verdict.regret_b)}."
    ]
    if not verdict.of_single_pairs:
        lines.append(
            f"Spread of the gain: {number(verdict.sd_worlds)} g/day between worlds, "
            f"{number(verdict.sd_chance)} by chance within one (standard deviations)."
        )
    return [dashed(line) for line in [*lines, *_currencies(found)]]


def _currencies(found: OverWorlds) -> list[str]:
    """How surely the first policy is ahead in the other currencies."""
    names = dict(zip("ab", (f"“{name}”" for name in found.pair), strict=True))
    parts = [
        f"{row['currency']} {percent(row['probability_a'])}"
        for row in found.table.to_dict("records")
        if row["currency"] != FIRST
    ]
    text = f"Share in which {names['a']} is ahead in other currencies: {', '.join(parts)}."
    ahead = found.table.set_index("currency")["ahead"]
    if {"a", "b"} <= set(ahead):
        sides = "; ".join(
            f"{names[side]} in {', '.join(ahead.index[ahead == side])}" for side in "ab"
        )
        text += f" The currencies disagree: {sides}. What you lack decides."
    return [text]
