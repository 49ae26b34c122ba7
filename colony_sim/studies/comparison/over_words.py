"""What a comparison over worlds found, in a keeper's words.

A world is called a possible colony here: one that the published experiments (or a keeper's log)
allow. The answer comes first, in one sentence.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from colony_sim.experiment.files import Policy
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.statistics.worlds_pointwise import KNOWN
from colony_sim.studies.comparison.over_worlds import OverWorlds
from colony_sim.words.estimate import dashed, of_100, short

LIKELY, SURE = KNOWN, 0.9
"""Probabilities from which a policy is probably, and from which it is surely, ahead."""
FADES = 0.1
"""Share of runs that died out from which a policy is said to run the colony down."""
IDLE, CAPPED = 0.9, 1.0
"""Share of the bins in use below which bins stand idle, and surplus beetles per 100 a day above
which the breeding bin is what holds a policy back."""
LACKED = {
    "g/day": "larvae",
    "g per hour of work": "time",
    "g/day per bin in use": "bins",
    "g per kg of bran": "bran",
    "beetles spared per 100 a day": "beetles",
}
"""What a keeper is short of for whom each currency counts."""
GIVES = {
    "g/day": "larvae, g a day",
    "g per hour of work": "g for an hour of work",
    "g/day per bin in use": "g a day for each bin in use",
    "g per kg of bran": "g for a kilogram of bran",
    "beetles spared per 100 a day": "beetles spared, of 100 a day",
}


def answer(found: OverWorlds) -> str:
    """The finding on yield in one sentence, no stronger than the probability allows."""
    gone = [
        f"{_quoted(row.policy)} runs the colony down in {of_100(row.died_out_share)} of 100 runs"
        for row in found.standings.itertuples()
        if row.died_out_share >= FADES
    ]
    start = f"{'; '.join(gone)}. " if gone else ""
    many = len(found.standings) > 2
    return dashed(start + (_among(found) if many else _of_two(found)))


def _of_two(found: OverWorlds) -> str:
    verdict = found.first
    names, shares = _sides(found)
    (first, second), (more, less) = names, shares
    gain = abs(verdict.gain)
    if verdict.probability_zone >= LIKELY:
        return (
            f"It hardly matters: in {of_100(verdict.probability_zone)} of 100 possible colonies "
            f"{first} and {second} differ by less than {short(found.zone)} g a day."
        )
    alike = 100 - round(100 * more) - round(100 * less)
    if more < LIKELY and less <= 1.0 - SURE:
        return (
            f"{first} gives as many larvae as {second} or more: of 100 possible colonies more in "
            f"{of_100(more)}, within {short(found.zone)} g a day in {alike}, less in "
            f"{of_100(less)}."
        )
    if more < LIKELY:
        between = f", in {alike} they differ by less than {short(found.zone)} g a day"
        between = between if found.zone > 0.0 else ""
        return (
            f"Nobody knows yet which gives more larvae: of 100 possible colonies {first} gives "
            f"more in {of_100(more)} and {second} in {of_100(less)}{between}."
        )
    start = "" if more >= SURE else "Probably "
    on_average = (
        f", {short(gain)} g a day on average" if (verdict.gain > 0) == (first == _a(found)) else ""
    )
    return (
        f"{start}{first} gives more larvae than {second}: in {of_100(more)} of 100 possible "
        f"colonies{on_average}."
    )


def _among(found: OverWorlds) -> str:
    table = found.standings.sort_values("best_share", ascending=False, kind="stable")
    best, second = (row for row in table.head(2).itertuples())
    rest = f"{_quoted(second.policy)} in {of_100(second.best_share)}"
    if best.best_share < LIKELY:
        safest = table.loc[table["regret"].idxmin()]
        return (
            f"Nobody knows yet which gives most larvae: of 100 possible colonies "
            f"{_quoted(best.policy)} gives most in {of_100(best.best_share)}, {rest}; "
            f"{_quoted(safest['policy'])} falls short of the best by least, "
            f"{short(safest['regret'])} g a day on average."
        )
    start = "" if best.best_share >= SURE else "Probably "
    return (
        f"{start}{_quoted(best.policy)} gives most larvae: in {of_100(best.best_share)} of 100 "
        f"possible colonies ({rest})."
    )


def how_sure(found: OverWorlds, profile: str) -> list[str]:
    """What the probability rests on, what luck does, and what a wrong choice costs."""
    verdict = found.first
    a, b = (_quoted(name) for name in found.pair)
    error = max(verdict.probability_a_se, verdict.probability_b_se)
    allowed = (
        "that the published experiments allow" if profile == SHIPPED else
        f"that profile “{profile}” allows"
    )  # fmt: skip
    luck = (
        "luck is part of that, as each was lived once"
        if verdict.of_single_pairs
        else f"luck within one colony spreads it by {short(verdict.sd_chance)}"
    )
    lines = [
        f"How sure: {verdict.worlds} colonies {allowed} were lived; each count of 100 is right to "
        f"about {short(100 * error)}. {a} minus {b}: {_signed(verdict.gain)} g a day on average "
        f"(error {short(verdict.gain_se)}), {short(verdict.low)} to {short(verdict.high)} in nine "
        f"of ten colonies; {luck}.",
        f"A wrong choice costs, averaged over all: {a} {short(verdict.regret_a)}, {b} "
        f"{short(verdict.regret_b)} g a day.",
    ]
    return [dashed(line) for line in lines]


def currency_rows(found: OverWorlds) -> list[tuple[str, str, str, str]]:
    """One row a currency: what there is more of, in how many of 100 colonies A and B, A minus B."""
    return [
        (
            GIVES[currency],
            of_100(verdict.probability_a),
            of_100(verdict.probability_b),
            dashed(f"{_signed(verdict.gain)} (error {short(verdict.gain_se)})"),
        )
        for currency, verdict in found.verdicts[found.pair].items()
    ]


def disagreement(found: OverWorlds) -> str:
    """Which shortage decides, where the currencies disagree; empty where they do not."""
    ahead: dict[str, list[str]] = {name: [] for name in found.pair}
    for currency, verdict in found.verdicts[found.pair].items():
        for name, share in zip(
            found.pair, (verdict.probability_a, verdict.probability_b), strict=True
        ):
            if share >= LIKELY:
                ahead[name].append(LACKED[currency])
    sided = {name: lacks for name, lacks in ahead.items() if lacks}
    open_on_yield = max(found.first.probability_a, found.first.probability_b) < LIKELY
    if len(sided) == 2:
        parts = "; ".join(f"{_quoted(n)} if it is {_or(lacks)}" for n, lacks in sided.items())
        return f"What you are short of decides: {parts}."
    if sided and open_on_yield:
        ((name, lacks),) = sided.items()
        return f"What you are short of decides: if it is {_or(lacks)}, {_quoted(name)}."
    return ""


def means_left_over(policies: Sequence[Policy], runs: pd.DataFrame) -> list[str]:
    """Policies that leave bins idle, or whose breeders are held back by a full breeding bin."""
    idle, capped = [], []
    for policy in policies:
        here = runs[(runs["policy"] == policy.name) & (runs["status"] != "died_out")]
        if here.empty:
            continue
        values = policy.parameters
        bins, used = float(values["rack.bins"]), float(here["bins_in_use"].mean())
        if used < IDLE * bins:
            idle.append(f"{_quoted(policy.name)} leaves {short(bins - used)} of {bins:g} bins idle")
        surplus = float(here["adult_surplus_removed_per_100_per_day"].mean())
        if values["rotation.surplus"] == "remove" and surplus > CAPPED:
            capped.append(_quoted(policy.name))
    lines = []
    if idle:
        lines.append(f"{'; '.join(idle)}.")
    if capped:
        lines.append(
            f"Under {_and(capped)} the breeding bin is full and beetles are given away: more "
            "breeding bins may yield more."
        )
    if lines:
        lines.append("To set each at its best with the same bins, time and beetles: --equal-means.")
    return [" ".join(dashed(line) for line in lines)] if lines else []


def in_words(found: OverWorlds, profile: str) -> list[str]:
    """The whole finding, for a text file."""
    verdict = found.first
    a, b = (_quoted(name) for name in found.pair)
    rows = [
        f"{gives}: {a} in {more}, {b} in {less} of 100, {a} minus {b} {gain}"
        for gives, more, less, gain in currency_rows(found)
    ]
    lines = [
        *how_sure(found, profile),
        dashed(
            f"Of single pairs of runs {a} won {of_100(verdict.pairs_a)} of 100 and {b} "
            f"{of_100(verdict.pairs_b)}, by more than {short(found.zone)} g a day."
        ),
        f"By what you are short of. {'; '.join(rows)}.",
    ]
    return [*lines, *filter(None, [disagreement(found)])]


def _sides(found: OverWorlds) -> tuple[tuple[str, str], tuple[float, float]]:
    """The policies, the one ahead in more worlds first, and their shares."""
    verdict = found.first
    names, shares = [_quoted(n) for n in found.pair], [verdict.probability_a, verdict.probability_b]
    if shares[1] > shares[0]:
        names, shares = names[::-1], shares[::-1]
    return (names[0], names[1]), (shares[0], shares[1])


def _signed(value: float) -> str:
    return f"+{short(value)}" if value > 0 else short(value)


def _a(found: OverWorlds) -> str:
    return _quoted(found.pair[0])


def _quoted(name: str) -> str:
    return f"“{name}”"


def _or(items: Sequence[str]) -> str:
    return " or ".join(filter(None, [", ".join(items[:-1]), items[-1]]))


def _and(items: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(items[:-1]), items[-1]]))
