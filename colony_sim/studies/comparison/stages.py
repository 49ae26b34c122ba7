"""How many worlds a comparison lives in, and how often in each: stages of fixed size.

The question is a probability over worlds, so most runs go into worlds of their own. A few worlds
are lived twice, so that chance within a world can be told from what nobody knows (a nested design
with an unbiased split of variance, `statistics.over_worlds`). If chance turns out large beside the
worlds, every world is lived as often as the ratio of the variances asks for.

A stage is decided on the results of whole stages alone, never on the clock, so that any number of
workers lives the same runs. The first stages are small, for a first answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.plan import whole
from colony_sim.statistics.over_worlds import (
    WorldsVerdict,
    least_error,
    replicates_a_world,
    worlds_needed,
)

FIRST, STAGE = (2, 4), 16
"""Worlds of the first stages, and worlds up to which each further one goes, and by which."""
LIVED_TWICE = 8
"""The first so many worlds are lived twice, and after them every so many-th."""
RELIABLE = 0.9
"""Share of the variance of single gains that is of worlds, from which one run a world will do."""
MOST_TIMES = 8
"""Runs of a policy in a world at most."""
ERROR, QUICK_ERROR = 0.05, 0.1
"""Standard errors of a probability that are asked for unless told otherwise."""
ZONE = 0.5
"""Half width (g/day) of the gains that count as none unless told otherwise; common practice has
none: some four larvae of harvest size a day."""


@dataclass(frozen=True)
class WorldsRule:
    """When a comparison over worlds has enough runs.

    Attributes
    ----------
    worlds : int
        Worlds at most.
    error : float or None
        Standard error that the probability of every pair of policies shall reach; None: live in
        all of `worlds`.
    times : int or None
        Runs of a policy in every world; None: as the ratio of variances asks for.
    zone : float
        Half width (g/day) of the gains that count as none.
    """

    worlds: int
    error: float | None = ERROR
    times: int | None = None
    zone: float = ZONE

    def as_dict(self) -> dict[str, Any]:
        """Plain data for a manifest."""
        return asdict(self)


def make_rule(
    there: int | None,
    *,
    worlds: int | None = None,
    error: float | None = None,
    times: int | None = None,
    zone: float | None = None,
    quick: bool = False,
) -> WorldsRule | None:
    """The rule of these options; `there` is the number of worlds that there are.

    None without worlds, where `times` is the number of all runs of a policy.

    Raises
    ------
    InputError
        A number out of its limits, or an error that so many worlds cannot reach for a probability
        of one half.
    """
    if there is None:
        for name, value in (("worlds", worlds), ("error", error), ("zone", zone)):
            if value is not None:
                raise InputError(ARGUMENT, name, value, "not together with `one_world`")
        return None
    times = None if times is None else whole("replicates", times, 1, MOST_TIMES, 1)
    if zone is None:
        zone = ZONE
    if not (math.isfinite(zone) and 0.0 <= zone <= 1e6):
        raise InputError(ARGUMENT, "zone", zone, "a number from 0 to 1e6 (g/day)")
    if worlds is not None:
        if isinstance(worlds, bool) or not 2 <= worlds <= there:
            raise InputError(ARGUMENT, "worlds", worlds, f"2 to {there} of them")
        if error is None:
            return WorldsRule(worlds, None, times, zone)
    most = worlds or there
    if error is None:
        error = QUICK_ERROR if quick else ERROR
        if least_error(0.5, most) > error:  # A profile of few draws: all of them.
            return WorldsRule(most, None, times, zone)
    if not (math.isfinite(error) and error < 0.5) or least_error(0.5, most) > error:
        least = math.ceil(1000 * least_error(0.5, most)) / 1000
        allowed = f"from {least:g}, which {most} worlds allow, to below 0.5"
        raise InputError(ARGUMENT, "error", error, allowed)
    return WorldsRule(most, error, times, zone)


def next_stage(
    rule: WorldsRule, lived: Sequence[int], verdicts: Sequence[WorldsVerdict]
) -> list[int]:
    """Numbers of the worlds (from 1) to live next, one for each run of a policy; none to stop.

    Parameters
    ----------
    rule : WorldsRule
    lived : sequence of int
        How often each world was lived, from the first.
    verdicts : sequence of WorldsVerdict
        On every pair of policies in these worlds, in g/day; none before the first stage.
    """
    now = len(lived)
    # Of several runs a world the smallest stage would come in another order.
    for goal in FIRST if rule.times in (None, 1) else FIRST[-1:]:
        if now < min(goal, rule.worlds):
            return _missing(rule, lived, min(goal, rule.worlds), rule.times or 1, spread=False)
    times = rule.times or _times(verdicts, now)
    missing = _missing(rule, lived, now, times, spread=now > FIRST[-1])
    known = now >= min(STAGE, rule.worlds) and rule.error is not None
    if known and not missing and all(_error(v) <= float(rule.error or 0.0) for v in verdicts):
        return []
    goal = now if len(missing) >= STAGE else min(STAGE * (now // STAGE + 1), rule.worlds)
    return _missing(rule, lived, goal, times, spread=True)


def expected_runs(rule: WorldsRule, lived: Sequence[int], verdicts: Sequence[WorldsVerdict]) -> int:
    """Runs of a policy that the rule will have taken by the end, by what is known so far."""
    needed = rule.worlds
    if rule.error is not None:
        enough = rule.error
        shares = [p for v in verdicts for p in (v.probability_a, v.probability_b)] or [0.5]
        needed = min(max(worlds_needed(p, enough) for p in shares), needed)
        needed = min(STAGE * math.ceil(max(needed, STAGE) / STAGE), rule.worlds)
    times = rule.times or _times(verdicts, len(lived))
    none: list[int] = []
    return max(len(_missing(rule, none, needed, times, spread=True)), sum(lived))


def _missing(
    rule: WorldsRule, lived: Sequence[int], goal: int, times: int, spread: bool
) -> list[int]:
    """Runs that worlds up to `goal` lack; new worlds first, then second runs."""
    lacking: list[tuple[int, int]] = []
    for world in range(1, goal + 1):
        twice = spread and rule.times is None
        twice = twice and (world <= LIVED_TWICE or world % LIVED_TWICE == 0)
        done = lived[world - 1] if world <= len(lived) else 0
        lacking += [(time, world) for time in range(done, max(times, 1 + twice))]
    return [world for _, world in sorted(lacking)]


def _times(verdicts: Sequence[WorldsVerdict], worlds: int) -> int:
    """Runs a world by the ratio of variances, for the pair that needs most."""
    if worlds < STAGE:
        return 1  # Too few to tell.
    return max((_times_of(v) for v in verdicts), default=1)


def _times_of(verdict: WorldsVerdict) -> int:
    between, within = verdict.sd_worlds**2, verdict.sd_chance**2
    if not within > 0.0 or between >= RELIABLE * (between + within):
        return 1
    if between == 0.0:
        return MOST_TIMES
    best = replicates_a_world(between, within, purpose="probability", gain=verdict.gain)
    # Below a reliability of 0.8 shares are biased, see `statistics.over_worlds`.
    return min(max(best, math.ceil(4.0 * within / between)), MOST_TIMES)


def _error(verdict: WorldsVerdict) -> float:
    return max(verdict.probability_a_se, verdict.probability_b_se)
