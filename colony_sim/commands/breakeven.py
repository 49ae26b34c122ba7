"""``colony-sim breakeven``: where does the ranking of two policies flip?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.profile import profile_of
from colony_sim.commands.show import console
from colony_sim.commands.study import draw, held, split
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.measuring.catalogue import YIELD
from colony_sim.results.study import write_study
from colony_sim.studies.breakeven.run import (
    USED,
    WARM_UP,
    break_even,
    crossings,
    headline,
    in_words,
    parse_axis,
)
from colony_sim.studies.profile_words import circumstances
from colony_sim.studies.stored import BREAK_EVEN, break_even_facts


def run_break_even(
    file: Path,
    *,
    x: str,
    y: str,
    policies: str | None,
    replicates: int,
    measure: str | None,
    warm_up: int | None,
    used: int | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
    profile: Path | None = None,
) -> None:
    """Map the paired difference of two policies over two keys."""
    plan = expand(load(file), replicates=replicates, seed=seed, profile=profile_of(profile))
    plan = replace(plan, name=f"{plan.name}-breakeven")
    axes = parse_axis("--x", x), parse_axis("--y", y)
    folder = out if out is not None else Path("results") / plan.name
    with held(folder, plan.name) as on_progress:
        result = break_even(
            plan,
            *axes,
            folder,
            policies=split(policies),
            replicates=replicates,
            measure=measure or YIELD,
            warm_up=WARM_UP if warm_up is None else warm_up,
            used=USED if used is None else used,
            workers=workers,
            on_progress=on_progress,
        )
        text = "\n".join([in_words(result), *circumstances(plan, (axes[0].key, axes[1].key))])
        write_study(
            plan,
            folder,
            BREAK_EVEN,
            {"breakeven": result.table, "crossings": crossings(result)},
            text,
            break_even_facts(result),
            answer=f"{headline(result)}.",
            command=command_line(),
            draw=draw,
        )
    to = console()
    to.print(text, highlight=False, markup=False)
    to.print(f"{headline(result)}.", style="bold", highlight=False, markup=False)
    to.print(f"Results: {folder}", highlight=False, markup=False, soft_wrap=True)
