"""``colony-sim breakeven``: where does the ranking of two policies flip?"""

from __future__ import annotations

from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.study import shown, split, tell
from colony_sim.experiment.files import load
from colony_sim.experiment.worlds import worlds_of
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results.folder import folder_of
from colony_sim.studies.breakeven.run import SEEDS, USED, WARM_UP, parse_axis
from colony_sim.studies.breakeven.study import STUDY
from colony_sim.studies.fitting_worlds import WORLDS
from colony_sim.studies.study import carry_out, study_plan


def run_break_even(
    file: Path,
    *,
    x: str,
    y: str,
    policies: str | None,
    replicates: int | None,
    measure: str | None,
    warm_up: int | None,
    used: int | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    profile: Path | None = None,
    one_world: bool = False,
) -> Path:
    """Map which of two policies is ahead over two keys."""
    worlds = worlds_of(profile, one_world)
    if replicates is None:
        replicates = SEEDS if worlds is None else WORLDS
    plan = study_plan(
        load(file), "breakeven", replicates=replicates, seed=seed, profile=worlds, hands=True
    )
    folder = folder_of(plan.name, out)
    with shown(folder, plan.name) as on_progress:
        result = carry_out(
            STUDY,
            plan,
            folder,
            command=command_line(),
            x=parse_axis("argument x", x),
            y=parse_axis("argument y", y),
            policies=split(policies),
            replicates=replicates,
            measure=measure or YIELD,
            warm_up=WARM_UP if warm_up is None else warm_up,
            used=USED if used is None else used,
            workers=workers,
            on_progress=on_progress,
        )
    return tell(result)
