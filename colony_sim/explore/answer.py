"""The answer of the page in sentences, the shortest first."""

from __future__ import annotations

from colony_sim.colony.simulate import Scenario
from colony_sim.explore.colonies import SoFar
from colony_sim.explore.rules import ON_THE_RACK, SCOOP, STAY, TRAY, differences
from colony_sim.explore.session import WINDOW, Gives, birds_fed
from colony_sim.planning.wants import LARVAE_EACH

ALLOWANCE = f"A bird counts as fed with {LARVAE_EACH:g} larvae a day (common practice, no source)."
NO_EVIDENCE = (
    "The rack you see is one possible colony with one run of luck: no evidence. "
    "The answer counts many."
)


def headline(so_far: SoFar, changed: bool, gives: Gives) -> str:
    """The answer in one sentence.

    Parameters
    ----------
    so_far : SoFar
    changed : bool
        Whether there is a new way.
    gives : Gives
        What the rack shown gives.
    """
    if not changed:
        if gives.days < WINDOW:
            return "A rack of mealworms in its first weeks."
        return f"This rack feeds {_birds(gives.birds)}."
    lived = len(so_far.ahead)
    if lived < 2:
        return "Does the new way give more? Possible colonies are being lived."
    more = sum(so_far.ahead)
    colonies = f"{lived} possible colonies{_so_far(so_far)}"
    if so_far.known == "more":
        return f"The new way gives more in {more} of {colonies}."
    if so_far.known == "less":
        return f"The new way gives no more in {lived - more} of {colonies}."
    return f"Nobody knows yet: the new way gives more in {more} of {colonies}."


def under_it(so_far: SoFar, changed: bool, old: Gives, new: Gives) -> str:
    """What stands under the answer: how sure it is, and what the racks that are seen give."""
    if not changed:
        if so_far.larvae is None:
            return "Change something on it, and see whether it gives more."
        low, high = (birds_fed(larvae) for larvae in so_far.larvae)
        return (
            f"Possible colonies differ: 8 of 10 feed between {low:,} and {_birds(high)} "
            f"({so_far.colonies} lived{_so_far(so_far)})."
        )
    parts = []
    if len(so_far.ahead) >= 2:
        parts.append(
            f"That is {so_far.probability:.0%}, give or take {100 * so_far.error:.0f} points."
        )
    if old.days and new.days:
        parts.append(
            f"The racks below feed {old.birds:,} (old way) and {_birds(new.birds)} (new way), for "
            f"{old.hours:.1f} and {new.hours:.1f} hours of work a week."
        )
    return " ".join(parts)


def _so_far(so_far: SoFar) -> str:
    return " so far" if so_far.colonies < so_far.most else ""


def _birds(count: int) -> str:
    return f"{count:,} {'bird' if count == 1 else 'birds'}"


def milestone(so_far: SoFar) -> tuple[int, str]:
    """What changes only when there is news for those who listen."""
    steps = (2, 5, 10, 20, so_far.most)
    return sum(len(so_far.ahead) >= step for step in steps), so_far.known


def way(scenario: Scenario, other: Scenario) -> str:
    """The rules on the rack of one way, and what else is not as in the other, in a phrase."""
    p = scenario.parameters
    phrases = [
        f"beetles stay {p[STAY]} days"
        if p["rotation.when"] == "by_date"
        else "beetles moved by eye",
        "pupae on the tray" if p[TRAY] else "no tray",
        f"the scoop takes {p[SCOOP]:.0%}",
    ]
    phrases += [
        f"{rule.label[0].lower()}{rule.label[1:]}: {own}"
        for rule, own, _ in differences(scenario, other)
        if rule.key not in ON_THE_RACK
    ]
    return ", ".join(phrases)
