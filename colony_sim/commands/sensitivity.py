"""``colony-sim sensitivity``: which unknown would change the result?"""

from __future__ import annotations

from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.profile import profile_of
from colony_sim.commands.study import needed, shown, split, tell
from colony_sim.experiment.files import load
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results.folder import folder_of
from colony_sim.studies.sensitivity.run import SEEDS, USED, WARM_UP, chosen_entries
from colony_sim.studies.sensitivity.study import STUDY
from colony_sim.studies.study import carry_out, study_plan


def run_sensitivity(
    file: Path,
    *,
    method: str,
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
) -> Path:
    """Vary keys over their plausible ranges and tell which of them the result hangs on."""
    replicates = SEEDS.get(method) if replicates is None else replicates
    plan = study_plan(
        load(file), method, replicates=replicates, seed=seed, profile=profile_of(profile)
    )
    entries = chosen_entries(split(keys), group, method)
    folder = folder_of(plan.name, out)
    if method in ("morris", "sobol"):
        needed("SALib", "SALib>=1.5", "sensitivity")
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
            replicates=replicates,
            warm_up=WARM_UP if warm_up is None else warm_up,
            used=USED if used is None else used,
            workers=workers,
            on_progress=on_progress,
        )
    return tell(result)
