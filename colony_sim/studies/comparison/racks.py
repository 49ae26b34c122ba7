"""The racks of a run lived again, as they stood on a day, for drawing."""

from __future__ import annotations

import numpy as np

from colony_sim.drawing.content import RackContent
from colony_sim.drawing.lived import contents, since
from colony_sim.studies.comparison.relive import Traces


def rack_on(traces: Traces, policy: str, day: int) -> RackContent | None:
    """The rack at the end of a day; None if the colony had died out by then.

    Pupae and beetles that are in no bin lie on the raised tray, where pupae are set apart.
    """
    record = traces.records[policy]
    rows = record.bins_daily[record.bins_daily["day"] == day]
    if rows.empty:
        return None
    bins = list(contents(rows.assign(**since(rows))))
    whole = record.daily.set_index("day").loc[day]
    tray = {kind: int(whole[kind]) - int(rows[kind].sum()) for kind in ("pupae", "adults")}
    handling = next(one for one in traces.plan.policies if one.name == policy).parameters
    return RackContent(bins, tray if handling["pupae.isolate"] else None)


def day_shown(traces: Traces, policies: tuple[str, ...]) -> int:
    """The day that is drawn: the middle of the days that all runs have after their warm-up.

    Of the days that all lived, if one did not settle.
    """
    last = min(len(traces.records[policy].daily) for policy in policies)
    ends = [traces.warm_up[policy] for policy in policies]
    known = [end for end in ends if end is not None]
    first = max(known) if len(known) == len(ends) else 0
    return int(np.clip((min(first, last) + last + 1) // 2, 1, max(last, 1)))
