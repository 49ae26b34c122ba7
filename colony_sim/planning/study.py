"""The plan of a rack and a year as a kind of study."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from colony_sim.experiment.plan import Plan
from colony_sim.experiment.worlds import Worlds
from colony_sim.figures.slide import Slide
from colony_sim.planning.choose import Effort
from colony_sim.planning.facts import KIND, TABLES, StoredPlan, read_plan, stored
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.planner import make_plan
from colony_sim.planning.request import Request
from colony_sim.planning.words import headline, in_words
from colony_sim.running.runner import Progress
from colony_sim.studies.study import Said, Study


@dataclass(frozen=True)
class Planned:
    """A plan as it is kept, and the chosen handling as a plan of runs."""

    kept: StoredPlan
    plan: Plan


def run(
    plan: Plan,
    folder: Path,
    *,
    request: Request,
    effort: Effort,
    profile: Worlds | None = None,
    workers: int | None = None,
    on_first: Callable[[Forecast], object] = lambda forecast: None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Planned:
    """As `make_plan`; `plan` is that of the request, with the name of the folder's owner."""
    found = make_plan(
        request, folder, effort, profile=profile, workers=workers, on_first=on_first,
        on_progress=on_progress,
    )  # fmt: skip
    return Planned(stored(found, effort), replace(found.plan, name=plan.name))


def say(found: Planned, plan: Plan) -> Said:
    """Whether the want is met, and how."""
    return Said(headline(found.kept), in_words(found.kept))


def design(found: Planned) -> str:
    """How the handling was chosen and judged."""
    facts = found.kept.facts
    over = "" if facts["luck"] is None else ", each in a world of its own"
    text = (
        f"{facts['candidates']} ways of handling were tried over {facts['days']} days; the chosen "
        f"one was judged on {facts['met']['runs']} fresh seeds{over}. A run meets the want if "
        f"every stretch of {facts['stretch_days']} days does; the share of runs that do is given "
        f"with its {100 * facts['met']['level']:g} % interval."
    )
    if facts["luck"] is not None and facts["luck"]["twice"]:
        text += (
            f" {facts['luck']['twice']} of the worlds were lived at least twice, to part chance "
            "within a world from the differences between worlds (analysis of variance; errors "
            "from a bootstrap of worlds)."
        )
    return text


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slides of a plan, see ``slides.slides``."""
    from colony_sim.planning.slides import slides

    return slides(folder)


STUDY = Study(
    kind=KIND,
    tables=TABLES,
    figures=("plan_year", "plan_later", "plan_startup", "plan_purchases", "plan_remedies"),
    run=run,
    findings=lambda folder, data: read_plan(folder),
    say=say,
    slides=slides,
    frames=lambda found: found.kept.tables,
    facts=lambda found: found.kept.facts,
    design=design,
)
