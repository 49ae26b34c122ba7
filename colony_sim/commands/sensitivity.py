"""``colony-sim sensitivity``: which unknown would change the result?"""

from __future__ import annotations

from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.study import shown, split, tell
from colony_sim.experiment.files import load
from colony_sim.experiment.worlds import worlds_of
from colony_sim.extras import require
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results.folder import folder_of
from colony_sim.studies.sensitivity.run import (
    USED,
    WARM_UP,
    entries_over,
    lived,
    settled,
)
from colony_sim.studies.sensitivity.study import STUDY
from colony_sim.studies.study import carry_out, study_plan


def run_sensitivity(
    file: Path,
    *,
    method: str | None,
    over: str | None,
    keys: str | None,
    group: str | None,
    policies: str | None,
    measure: str | None,
    size: int | None,
    replicates: int | None,
    warm_up: int | None,
    used: int | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    profile: Path | None = None,
    one_world: bool = False,
) -> Path:
    """Tell which of the values that nobody knows the result hangs on."""
    method, over = settled(method, over, one_world)
    # Over ranges nothing else is drawn, unless a profile is given.
    worlds = worlds_of(profile, one_world or (over == "ranges" and profile is None))
    replicates, whole = lived(method, over, size, replicates)
    plan = study_plan(load(file), method, replicates=whole, seed=seed, profile=worlds, hands=True)
    entries = entries_over(over, split(keys), group, method)
    folder = folder_of(plan.name, out)
    if over == "ranges" and method != "oneway":
        require("SALib", "SALib>=1.5", "sensitivity")
    with shown(folder, plan.name) as on_progress:
        result = carry_out(
            STUDY,
            plan,
            folder,
            command=command_line(),
            method=method,
            entries=entries,
            policies=split(policies),
            measure=measure or YIELD,
            size=size,
            over=over,
            replicates=replicates,
            warm_up=WARM_UP if warm_up is None else warm_up,
            used=USED if used is None else used,
            workers=workers,
            on_progress=on_progress,
        )
    return tell(result)
