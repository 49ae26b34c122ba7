"""What a profile and the temperatures of a log mean for a result, in sentences."""

from __future__ import annotations

from collections.abc import Collection

from colony_sim.experiment.plan import Plan
from colony_sim.experiment.profile import RANGE, Profile

_LISTED = 4


def with_profile(profile: Profile | None) -> str:
    """ " with profile “NAME”", or nothing."""
    return "" if profile is None else f" with profile “{profile.name}”"


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
    return ["Temperatures: " + " ".join(plan.climate.notes)] if plan.climate.notes else []


def _profile(profile: Profile | None, varied: Collection[str], ranges: bool) -> list[str]:
    if profile is None:
        return []
    drawn = [key for key in profile.keys if key not in varied]
    fixed = [key for key in profile.keys if key in varied]
    lines = []
    if drawn:
        lines.append(
            f"Profile “{profile.name}”: {listed(drawn)} {'is' if len(drawn) == 1 else 'are'} drawn "
            f"from its {len(profile.draws)} draws, one draw for each replicate and the same for "
            "every policy. So intervals hold both chance and what is not known of these values."
        )
    if fixed and ranges:
        lines.append(
            f"Profile “{profile.name}”: {listed(fixed)} {_moved(len(fixed))} through the interval "
            f"that holds {100 * RANGE:g} % of the draws, in place of the published range."
        )
    elif fixed:
        lines.append(f"Profile “{profile.name}”: {listed(fixed)} varied as asked, not drawn.")
    return lines


def _moved(count: int) -> str:
    return "goes" if count == 1 else "go"


def listed(keys: Collection[str]) -> str:
    """Some keys by name, the rest counted."""
    names = list(keys)
    if len(names) > _LISTED:
        return f"{', '.join(names[: _LISTED - 1])} and {len(names) - _LISTED + 1} more values"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
