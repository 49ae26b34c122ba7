"""What a comparison over worlds found, in a keeper's words.

A world is called a possible colony here: one that the published experiments (or a keeper's log)
allow. The answer comes first, in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd
import scipy

from colony_sim.experiment.asks import Asks
from colony_sim.experiment.files import Policy
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.measuring.catalogue import YIELD
from colony_sim.statistics.worlds_pointwise import KNOWN
from colony_sim.studies.comparison.over_worlds import OverWorlds
from colony_sim.words.estimate import dashed, number, of_100, short
from colony_sim.words.finding import FADES, HOURS, LARVAE, NOTICED
from colony_sim.words.listing import listed
from colony_sim.words.units import scaled, show, symbol

LIKELY, SURE = KNOWN, 0.9
"""Probabilities from which a policy is probably, and from which it is surely, ahead."""
UNKNOWN = "Nobody knows yet"
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
    "g/day": ("g/d", "larvae, {}"),
    "g per hour of work": ("g", "{} for an hour of work"),
    "g/day per bin in use": ("g/d", "{} for a bin in use"),
    "g per kg of bran": ("g/kg", "{} of bran"),
    "beetles spared per 100 a day": ("", "beetles kept of 100/day"),
}
"""Unit of each currency, and how it is told in the units of the house."""


def answer(found: OverWorlds, asks: Asks | None = None, order: Sequence[str] = ()) -> str:
    """The finding in the terms of the question, no stronger than the probability allows.

    Parameters
    ----------
    found : OverWorlds
    asks : Asks, optional
        What the answer names; by default the yield, and the work where it differs.
    order : sequence of str
        The policies in the order of what varies.
    """
    order = tuple(order) or tuple(found.standings["policy"])
    gone = _run_down(found, order)
    parts = []
    if asks is Asks.SHARE:
        parts.append(_how_much(found, order, gone))
    elif gone:
        parts.append(f"{_gone_in_words(found, gone)}.")
    if len(order) > 2:
        parts.append(_among(found))
    elif asks is Asks.WORTH and work_differs(found):
        parts.append(_worth(found))
    else:
        parts.append(_of_two(found))
        if asks is None and work_differs(found):
            parts.append(_work(found, order))
    return dashed(" ".join(parts))


def is_open(found: OverWorlds) -> bool:
    """Whether the answer is that nobody knows yet."""
    if len(found.standings) > 2:
        return bool(found.standings["best_share"].max() < LIKELY)
    verdict = found.first
    more = max(verdict.probability_a, verdict.probability_b)
    less = min(verdict.probability_a, verdict.probability_b)
    alike = verdict.probability_zone >= LIKELY or less <= 1.0 - SURE
    return more < LIKELY and not alike


def work_differs(found: OverWorlds) -> bool:
    """Whether the hours of the pair differ so that a keeper notices, and not by chance."""
    a, b = found.pair
    hours, error = found.difference(a, b, HOURS)
    least = NOTICED * min(found.mean(a, HOURS), found.mean(b, HOURS))
    return bool(abs(hours) > max(least, 2.0 * error))


def amount(grams: float, larvae: float) -> str:
    """Grams with the larvae they are: ``1.2 g (14 larvae)``; both as sizes, without a sign."""
    if not math.isfinite(larvae):
        return show(abs(grams), "g", short)
    other = ", though fewer in number" if grams * larvae < 0 else ""
    count = f"{abs(larvae):.0f}" if abs(larvae) >= 1 else short(abs(larvae))
    return f"{show(abs(grams), 'g', short)} ({count} larvae{other})"


def zone_in_words(found: OverWorlds) -> str:
    """The difference that is too small to care about, in larvae as they were harvested too."""
    totals = found.means.select_dtypes("number").sum()
    a_gram = totals.get(LARVAE, math.nan) / totals[YIELD] if totals[YIELD] > 0 else math.nan
    return amount(found.zone, found.zone * a_gram)


def _run_down(found: OverWorlds, order: Sequence[str]) -> dict[str, int]:
    """Runs that died out under each policy that runs the colony down."""
    shares = found.standings.set_index("policy")["died_out_share"]
    return {
        name: round(shares[name] * found.runs) for name in order if shares[name] >= FADES
    }  # fmt: skip


def _gone_in_words(found: OverWorlds, gone: Mapping[str, int]) -> str:
    (first, count), *rest = gone.items()
    text = f"{_quoted(first)} runs the colony down in {count} of {found.runs} runs"
    more = [f"{_quoted(name)} in {count} of {found.runs}" for name, count in rest]
    return ", ".join([text, *more])


def _how_much(found: OverWorlds, order: Sequence[str], gone: Mapping[str, int]) -> str:
    """Up to which share the colony lives on; `order` rises with what is taken."""
    safe = [name for name in order if name not in gone]
    if not safe:
        return f"Each of them is too much: {_gone_in_words(found, gone)}."
    share = float(found.standings.set_index("policy").loc[safe[-1], "died_out_share"])
    died = round(share * found.runs)
    limit = float(scipy.stats.beta.ppf(0.95, died + 1, found.runs - died))
    lives = (
        f"{_quoted(safe[-1])} the colony lives on ({died} of {found.runs} runs died out, so at "
        f"most {of_100(limit)} of 100)"
    )
    if not gone:
        return f"As much as was tried may be taken: even with {lives}."
    if list(order[: len(safe)]) == safe:
        return f"{_gone_in_words(found, gone)}; up to {lives}."
    return f"{_gone_in_words(found, gone)}; with {lives}."


def _of_two(found: OverWorlds) -> str:
    verdict = found.first
    names, shares = _sides(found)
    (first, second), (more, less) = names, shares
    zone = zone_in_words(found)
    if verdict.probability_zone >= LIKELY:
        return (
            f"It hardly matters: in {of_100(verdict.probability_zone)} of 100 possible colonies "
            f"{first} and {second} differ by less than {zone} a day."
        )
    alike = 100 - round(100 * more) - round(100 * less)
    if not is_open(found) and more < LIKELY:
        return (
            f"{first} gives as many larvae as {second} or more: of 100 possible colonies more in "
            f"{of_100(more)}, within {zone} a day in {alike}, less in {of_100(less)}."
        )
    if more < LIKELY:
        between = f", in {alike} they differ by less than {zone} a day"
        between = between if found.zone > 0.0 else ""
        return (
            f"{UNKNOWN} which gives more larvae: of 100 possible colonies {first} gives "
            f"more in {of_100(more)} and {second} in {of_100(less)}{between}."
        )
    start = "" if more >= SURE else "Probably "
    on_average = (
        f", {amount(verdict.gain, found.difference(*found.pair, LARVAE)[0])} a day on average"
        if (verdict.gain > 0) == (first == _a(found)) else ""
    )  # fmt: skip
    return (
        f"{start}{first} gives more larvae than {second}: in {of_100(more)} of 100 possible "
        f"colonies{on_average}."
    )


def _worth(found: OverWorlds) -> str:
    """Whether the policy that takes more work gives more for it."""
    verdict = found.first
    (a, b), sides = found.pair, (verdict.probability_a, verdict.probability_b)
    sign = 1.0
    if found.difference(a, b, HOURS)[0] < 0:
        a, b, sign, sides = b, a, -1.0, sides[::-1]
    more = sides[0]
    gain, larvae = sign * verdict.gain, found.difference(a, b, LARVAE)[0]
    busy, other = found.mean(a, HOURS), found.mean(b, HOURS)
    work = f"{number(busy)} hours of work a week against {number(other)}"
    by = f"{amount(gain, larvae)} a day {'more' if gain > 0 else 'less'}"
    if more < 1.0 - LIKELY:
        start = "" if more <= 1.0 - SURE else "Probably "
        return (
            f"{start}{_quoted(a)} is not worth the work: it takes {work} for {_quoted(b)}, and "
            f"gives {by} on average; more than {zone_in_words(found)} a day more in "
            f"{of_100(more)} of 100 possible colonies."
        )
    if more < LIKELY:
        return (
            f"{UNKNOWN} whether {_quoted(a)} is worth the work: it takes {work} for {_quoted(b)} "
            f"and gives more larvae in {of_100(more)} of 100 possible colonies, {by} on average."
        )
    start = "" if more >= SURE else "Probably "
    return (
        f"{start}{_quoted(a)} gives more for more work: {by} on average, more in {of_100(more)} of "
        f"100 possible colonies, for {work} for {_quoted(b)}: each hour more brings "
        f"{show(7 * gain / (busy - other), 'g', short)}, an hour of {_quoted(b)} "
        f"{show(7 * found.mean(b, YIELD) / other, 'g', short)}."
    )


def _work(found: OverWorlds, order: Sequence[str]) -> str:
    first, second = ((_quoted(name), number(found.mean(name, HOURS))) for name in order)
    return f"{first[0]} takes {first[1]} hours of work a week, {second[0]} {second[1]}."


def _among(found: OverWorlds) -> str:
    table = found.standings.sort_values("best_share", ascending=False, kind="stable")
    best, second = (row for row in table.head(2).itertuples())
    rest = f"{_quoted(second.policy)} in {of_100(second.best_share)}"
    if is_open(found):
        safest = table.loc[table["regret"].idxmin()]
        return (
            f"{UNKNOWN} which gives most larvae: of 100 possible colonies "
            f"{_quoted(best.policy)} gives most in {of_100(best.best_share)}, {rest}; "
            f"{_quoted(safest['policy'])} falls short of the best by least, "
            f"{show(safest['regret'], 'g/d', short)} on average."
        )
    start = "" if best.best_share >= SURE else "Probably "
    larvae = found.mean(best.policy, LARVAE)
    return (
        f"{start}{_quoted(best.policy)} gives most larvae, {amount(best.mean, larvae)} a day on "
        f"average: in {of_100(best.best_share)} of 100 possible colonies ({rest})."
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
        else f"luck within one colony spreads it by {short(_a_day(verdict.sd_chance))}"
    )
    lines = [
        f"How sure: {verdict.worlds} colonies {allowed} were lived; each count of 100 is right to "
        f"about {short(100 * error)}. {a} minus {b}: {_signed(_a_day(verdict.gain))} "
        f"{symbol('g/d')} on average (error {short(_a_day(verdict.gain_se))}), "
        f"{short(_a_day(verdict.low))} to {short(_a_day(verdict.high))} in nine of ten colonies; "
        f"{luck}.",
        f"A wrong choice costs, averaged over all: {a} {short(_a_day(verdict.regret_a))}, {b} "
        f"{show(verdict.regret_b, 'g/d', short)}.",
    ]
    return [dashed(line) for line in lines]


def currency_rows(found: OverWorlds) -> list[tuple[str, str, str, str]]:
    """One row a currency: what there is more of, in how many of 100 colonies A and B, A minus B."""
    return [
        (
            gives.format(symbol(unit)),
            of_100(verdict.probability_a),
            of_100(verdict.probability_b),
            dashed(
                f"{_signed(scaled(verdict.gain, unit))} "
                f"(error {short(scaled(verdict.gain_se, unit))})"
            ),
        )
        for currency, verdict in found.verdicts[found.pair].items()
        for unit, gives in [GIVES[currency]]
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


def means_left_over(
    policies: Sequence[Policy], runs: pd.DataFrame, equal: bool = False
) -> list[str]:
    """Policies that leave bins idle, or whose breeders are held back by a full breeding bin.

    `equal`: each has the handling that suits it best already, so that none is offered.
    """
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
            f"Under {listed(capped)} the breeding bin is full and beetles are given away: more "
            "breeding bins may yield more."
        )
    if lines and not equal:
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
            f"{of_100(verdict.pairs_b)}, by more than {show(found.zone, 'g/d', short)}."
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


def _a_day(grams: float) -> float:
    """Grams a day in the units of the house."""
    return float(scaled(grams, "g/d"))


def _signed(value: float) -> str:
    return f"+{short(value)}" if value > 0 else short(value)


def _a(found: OverWorlds) -> str:
    return _quoted(found.pair[0])


def _quoted(name: str) -> str:
    return f"“{name}”"


def _or(items: Sequence[str]) -> str:
    return " or ".join(filter(None, [", ".join(items[:-1]), items[-1]]))
