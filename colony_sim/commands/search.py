"""``colony-sim search``: good handling under a keeper's limits."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from colony_sim.commands.compare import command_line
from colony_sim.commands.study import shown, split, tell
from colony_sim.experiment.files import load
from colony_sim.experiment.worlds import worlds_of
from colony_sim.extras import require
from colony_sim.results.folder import folder_of
from colony_sim.studies.search import best_study, study
from colony_sim.studies.search.limits import Limits
from colony_sim.studies.study import Study, carry_out, study_plan


def run_search(
    file: Path,
    *,
    keys: str | None,
    limits: Limits,
    policy: str | None,
    best_against_best: bool,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    profile: Path | None = None,
    one_world: bool = False,
    **numbers: Any,
) -> Path:
    """Search handling keys for yield, little work and a colony that lives on, within limits.

    `numbers` are candidates, replicates, fresh, zone, warm_up and used; None: the default.
    """
    kind: Study = best_study.STUDY if best_against_best else study.STUDY
    ending = "best" if best_against_best else "search"
    worlds = worlds_of(profile, one_world)
    plan = study_plan(load(file), ending, seed=seed, profile=worlds, hands=True)
    folder = folder_of(plan.name, out)
    require("optuna", "optuna>=5.0", "search")
    options = study.options_of(best_against_best, policy, numbers)
    with shown(folder, plan.name) as on_progress:
        result = carry_out(
            kind,
            plan,
            folder,
            command=command_line(),
            keys=None if keys is None else _specs(keys),
            limits=limits,
            workers=workers,
            on_progress=on_progress,
            **options,
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
