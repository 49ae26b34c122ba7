"""``colony-sim search``: good handling under a keeper's limits."""

from __future__ import annotations

from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.profile import profile_of
from colony_sim.commands.study import needed, shown, split, tell
from colony_sim.experiment.files import load
from colony_sim.results.folder import folder_of
from colony_sim.studies.search.run import USED, WARM_UP, Limits
from colony_sim.studies.search.study import STUDY
from colony_sim.studies.study import carry_out, study_plan


def run_search(
    file: Path,
    *,
    keys: str,
    limits: Limits,
    trials: int,
    replicates: int,
    fresh: int | None,
    policy: str | None,
    warm_up: int | None,
    used: int | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    profile: Path | None = None,
) -> Path:
    """Search handling keys for yield, few losses and little work within limits."""
    plan = study_plan(load(file), "search", seed=seed, profile=profile_of(profile))
    folder = folder_of(plan.name, out)
    needed("optuna", "optuna>=5.0", "search")
    with shown(folder, plan.name) as on_progress:
        result = carry_out(
            STUDY,
            plan,
            folder,
            command=command_line(),
            keys=_specs(keys),
            limits=limits,
            trials=trials,
            replicates=replicates,
            fresh=fresh,
            policy=policy,
            warm_up=WARM_UP if warm_up is None else warm_up,
            used=USED if used is None else used,
            workers=workers,
            on_progress=on_progress,
        )
    return tell(result)


def _specs(text: str) -> list[str]:
    """Keys separated by commas; commas inside ``key=a,b`` belong to its list of values."""
    specs: list[str] = []
    for part in split(text) or []:
        if specs and "=" in specs[-1] and "." not in part.partition("=")[0].strip("0123456789.-"):
            specs[-1] += f",{part}"
        else:
            specs.append(part)
    return specs
