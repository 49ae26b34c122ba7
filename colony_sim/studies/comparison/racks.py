"""The racks of a run lived again, as they stood on a day, for drawing."""

from __future__ import annotations

import numpy as np

from colony_sim.drawing.content import BinContent, RackContent
from colony_sim.studies.comparison.relive import Traces

_MOIST_G = 1.0
"""Moisture (g) in a bin from which a piece of vegetable is drawn."""


def rack_on(traces: Traces, policy: str, day: int) -> RackContent | None:
    """The rack at the end of a day; None if the colony had died out by then.

    Pupae and beetles that are in no bin lie on the raised tray, where pupae are set apart.
    """
    record = traces.records[policy]
    rows = record.bins_daily[record.bins_daily["day"] == day]
    if rows.empty:
        return None
    bins = [
        BinContent(
            number=int(row.bin), phase=str(row.phase), eggs=int(row.eggs), larvae=int(row.larvae),
            pupae=int(row.pupae), adults=int(row.adults),
            larva_mg=1000.0 * row.larvae_g / row.larvae if row.larvae else 0.0,
            bran_g=float(row.bran_g), frass_g=float(row.frass_g), skins=int(row.visible_skins),
            moist=bool(row.moisture_g >= _MOIST_G),
        )
        for row in rows.itertuples()
    ]  # fmt: skip
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
