"""What a profile and the temperatures of a log mean for a result, in sentences."""

from __future__ import annotations

from collections.abc import Collection
from decimal import ROUND_CEILING, ROUND_FLOOR
from typing import TYPE_CHECKING

from colony_sim.experiment.plan import Plan
from colony_sim.experiment.worlds import RANGE, SHIPPED, Worlds
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number
from colony_sim.words.listing import listed
from colony_sim.words.units import here, named

if TYPE_CHECKING:
    from colony_sim.studies.comparison.this_colony import ThisColony

TEMPERATURES = "Temperatures:"
"""How the sentence on a log of the room begins."""
SIDES = ("default", "profile")
_ENDS = ("difference", "low", "high")
_SHOWN = 3


def with_profile(profile: Worlds | None) -> str:
    """ " with profile “NAME”", or nothing for no profile or the worlds of the package."""
    if profile is None or profile.name == SHIPPED:
        return ""
    return f" with profile “{profile.name}”"


def circumstances(plan: Plan, varied: Collection[str] = (), ranges: bool = False) -> list[str]:
    """What a result rests on besides the file: the profile, and what was made of a log.

    Parameters
    ----------
    plan : Plan
    varied : collection of str
        Keys that the study varies.
    ranges : bool
        Whether it varies them over their plausible ranges.
    """
    return [*_profile(plan.profile, varied, ranges), *temperatures(plan)]


def temperatures(plan: Plan) -> list[str]:
    """What was read, left out and filled in the log of the room, in one sentence or none."""
    return [f"{TEMPERATURES} " + " ".join(plan.climate.notes)] if plan.climate.notes else []


def _profile(profile: Worlds | None, varied: Collection[str], ranges: bool) -> list[str]:
    if profile is None:
        return []
    drawn = [key for key in profile.keys if key not in varied]
    fixed = [key for key in profile.keys if key in varied]
    lines = []
    if drawn and profile.name == SHIPPED:
        lines.append(
            f"Possible colonies: {len(drawn)} values that nobody knows are drawn together from "
            f"the {len(profile.draws)} sets that the published experiments allow (handling that no "
            "source tells from its plausible range), the same set for every policy."
        )
    elif drawn:
        lines.append(
            f"Profile “{profile.name}”: {_named(drawn)} {'is' if len(drawn) == 1 else 'are'} drawn "
            f"from its {len(profile.draws)} draws, one draw for each replicate and the same for "
            "every policy. So intervals hold both chance and what is not known of these values."
        )
    if fixed and ranges:
        lines.append(
            f"Profile “{profile.name}”: {_named(fixed)} {_moved(len(fixed))} through the interval "
            f"that holds {100 * RANGE:g} % of the draws, in place of the published range."
        )
    elif fixed:
        verb = "is" if len(fixed) == 1 else "are"
        whose = "" if profile.name == SHIPPED else f"Profile “{profile.name}”: "
        text = f"{whose}{_named(fixed)} {verb} varied as asked, not drawn."
        lines.append(f"{text[0].upper()}{text[1:]}")
    return lines


def _moved(count: int) -> str:
    return "goes" if count == 1 else "go"


def _named(keys: Collection[str]) -> str:
    """Some keys in plain words, the rest counted."""
    return listed((labels.label(key) for key in keys), _SHOWN, "more values")


def this_colony_in_words(found: ThisColony, profile: Worlds) -> list[str]:
    """How the answer differs from the default, and how wide it is."""
    return [_change(found, profile), *_spread(found, profile)]


def _change(found: ThisColony, profile: Worlds) -> str:
    row = found.of_yield
    first, second = (f"“{name}”" for name in found.pair)
    if min(row["default_pairs"], row["profile_pairs"], row["pairs"]) < 2:
        return (
            "How the answer differs from that of the default biology cannot be told: of the pairs "
            f"of runs, {row['default_pairs']} with the default, "
            f"{row['profile_pairs']} with profile “{profile.name}”."
        )
    states = [_state(found.pair, row[f"{name}_low"], row[f"{name}_high"]) for name in SIDES]
    verdict = (
        f"the verdict stays the same ({states[1]})"
        if states[0] == states[1]
        else f"the verdict changes, from {states[0]} to {states[1]}"
    )
    moved = _interval(row["change"], row["change_low"], row["change_high"])
    if row["pairs"] < max(row["default_pairs"], row["profile_pairs"]):
        moved += f" over the {row['pairs']} pairs that all four runs have"
    if row["change_low"] <= 0 <= row["change_high"]:
        moved += ", which the runs do not separate from no change"
    return (
        f"How the answer differs from the default: {first} minus {second} is "
        f"{_interval(*(row[f'default_{end}'] for end in _ENDS))} with the default biology and "
        f"{_interval(*(row[f'profile_{end}'] for end in _ENDS))} with profile “{profile.name}”, "
        f"with the same luck: a change of {moved}; {verdict}."
    )


def _state(pair: tuple[str, str], low: float, high: float) -> str:
    if low > 0:
        return f"“{pair[0]}” ahead"
    return f"“{pair[1]}” ahead" if high < 0 else "neither ahead"


def _spread(found: ThisColony, profile: Worlds) -> list[str]:
    runs, row = found.narrowing.runs, found.of_yield
    if runs < 2:
        return []
    text = (
        f"The intervals above are of means over the draws. A single colony that fits the profile "
        f"may lie anywhere in a wider range: “{found.pair[0]}” yielded more in {found.ahead} of "
        f"{int(row['profile_pairs'])} pairs of runs, whose differences went from "
        f"{number(_a_day(found.least), ROUND_FLOOR)} to "
        f"{number(_a_day(found.most), ROUND_CEILING)} "
        f"{named('g/day')}"
    )
    if row["default_pairs"] > 1 and row["default_sd"] > 0 and found.narrowing.sd > 0:
        share = 100 * (row["default_sd"] / found.narrowing.sd) ** 2
        text += (
            ". Chance alone gives pairs with the default biology a variance of "
            f"{number(min(share, 999))} % of theirs; no measurement removes chance"
        )
    return [f"{dashed(text)}."]


def _interval(mean: float, low: float, high: float) -> str:
    mean, low, high = (_a_day(value) for value in (mean, low, high))
    return dashed(str(Estimate(mean, low, high, named("g/day"))))


def _a_day(grams: float) -> float:
    """A yield (g/day) in the unit of the house."""
    return float(here(grams, "g/day"))
