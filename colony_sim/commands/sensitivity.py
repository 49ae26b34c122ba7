"""``colony-sim sensitivity``: which unknown would change the result?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.profile import profile_of
from colony_sim.commands.show import console
from colony_sim.commands.study import draw, held, needed, split
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results.study import write_study
from colony_sim.studies.profile_words import circumstances
from colony_sim.studies.sensitivity.run import USED, WARM_UP, chosen_entries, sensitivity
from colony_sim.studies.sensitivity.say import answer
from colony_sim.studies.stored import SENSITIVITY, sensitivity_facts


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
) -> None:
    """Vary keys over their plausible ranges and tell which of them the result hangs on."""
    # A bar of the tornado has an interval of its own, which two seeds would leave useless.
    replicates = (6 if method == "oneway" else 2) if replicates is None else replicates
    plan = expand(load(file), replicates=replicates, seed=seed, profile=profile_of(profile))
    plan = replace(plan, name=f"{plan.name}-{method}")
    entries = chosen_entries(split(keys), group, method)
    folder = out if out is not None else Path("results") / plan.name
    if method in ("morris", "sobol"):
        needed("SALib", "SALib>=1.5", "sensitivity")
    with held(folder, plan.name) as on_progress:
        result = sensitivity(
            plan,
            folder,
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
        varied = [entry.key for entry in entries]
        text = "\n".join([answer(result), *circumstances(plan, varied, ranges=True)])
        keys = [entry.key for entry in entries]
        write_study(
            plan,
            folder,
            SENSITIVITY,
            {"sensitivity": result.table, "sampled": result.sampled},
            text,
            sensitivity_facts(result, measure or YIELD, keys),
            command=command_line(),
            draw=draw,
        )
    to = console()
    to.print(text, highlight=False, markup=False)
    to.print(f"Results: {folder}", highlight=False, markup=False, soft_wrap=True)
