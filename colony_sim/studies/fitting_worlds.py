"""Which worlds go with every point of a study.

Some keys of the biology must stay in order (a lower limit below the reference temperature, say).
A point that fixes one of them may clash with the others as some world has them. Such a world is
left out at every point, so that all points are compared over the same worlds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from colony_sim.biology.parameters import Value, catalogue, out_of_order
from colony_sim.experiment.plan import Plan

WORLDS = 32
"""Worlds lived in at a point unless told otherwise: a probability of 0.5 has an error of 0.09."""


def in_fitting_worlds(plan: Plan, points: Iterable[Mapping[str, Value]]) -> tuple[Plan, int]:
    """The plan with its replicates in worlds that go with every point, and how many do not.

    Parameters
    ----------
    plan : Plan
        Its replicates live in the worlds of its profile by turns.
    points : iterable of mapping
        Values that are laid over every policy; keys that are no biology are not looked at.

    Returns
    -------
    plan : Plan
        Unchanged if all worlds fit, and if none does: running it then tells which keys clash.
    left_out : int
        Worlds that are left out.
    """
    worlds = plan.profile
    if worlds is None:
        return plan, 0
    count = len(worlds.draws)
    clash = np.zeros(count, dtype=bool)
    looked_at = set()
    for point in points:
        fixed = {key: value for key, value in point.items() if _of_biology(key)}
        what = tuple(sorted(fixed.items()))
        if what in looked_at:
            continue
        looked_at.add(what)
        # All policies have the same biology.
        values = plan.policies[0].parameters.as_dict() | dict(
            zip(worlds.keys, worlds.draws.T, strict=True)
        )
        clash |= out_of_order(values | fixed, count)
    if not clash.any() or clash.all():
        return plan, 0
    fits = np.flatnonzero(~clash) + 1
    numbers = np.arange(plan.first - 1, plan.first - 1 + len(plan.seeds))
    lived = tuple(int(world) for world in fits[numbers % len(fits)])
    return replace(plan, worlds=lived), int(clash.sum())


def left_out_in_words(left_out: int) -> list[str]:
    """One sentence on worlds that were left out, or none."""
    if not left_out:
        return []
    return [
        f"{left_out} possible {'colony does' if left_out == 1 else 'colonies do'} not go with "
        "every value that is varied (some keys must stay in order) and "
        f"{'is' if left_out == 1 else 'are'} left out everywhere."
    ]


def _of_biology(key: str) -> bool:
    return key in catalogue() and catalogue()[key].group == "biology"
