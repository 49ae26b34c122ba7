"""The fit of a keeper's log as a kind of study."""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.biology.climate import Climate
from colony_sim.experiment.files import Policy
from colony_sim.experiment.plan import Plan, replicate_seeds
from colony_sim.experiment.worlds import write_worlds
from colony_sim.figures.slide import Slide
from colony_sim.fitting import fit_words
from colony_sim.fitting.fit import Fit, fit
from colony_sim.fitting.simulated import Job
from colony_sim.studies.study import Said, Study


def frames(found: Fit) -> dict[str, pd.DataFrame]:
    """Tables of a fit by name."""
    posterior = pd.DataFrame(found.draws, columns=list(found.prior.keys))
    posterior.insert(0, "draw", range(1, len(posterior) + 1))
    return {"posterior": posterior, "learnt": found.learnt, "predictive": found.predictive,
            "calibration": found.calibration}  # fmt: skip


def facts(found: Fit, experiment: Path | None = None, policy: str = "") -> dict[str, Any]:
    """Settings of a fit, for the manifest."""
    prior, schedule = found.prior, found.schedule
    return {
        **found.profile().facts,
        "profile": f"{found.name}.profile.csv",
        "experiment": None if experiment is None else experiment.name,
        "policy": policy,
        "rows": len(found.logbook.entries),
        "days": schedule.days,
        "bins": list(schedule.bins),
        "notes": list(schedule.notes),
        "prior": [
            {"key": key, "low": low, "high": high, "log": log}
            for key, low, high, log in zip(
                prior.keys, prior.low, prior.high, prior.log, strict=True
            )
        ],
        "together": [list(pair) for pair in found.together],
        "plausible_before": found.plausible_before,
        "plausible_after": found.plausible_after,
        "libraries": {name: version(name) for name in ("sbi", "torch")},
    }


def plan_of(name: str, job: Job, policy: str, climate: Climate, text: str, invented: bool) -> Plan:
    """What the log was lived with, as a plan for the manifest."""
    return Plan(
        name=name,
        question="What does a keeper's log tell about the biology?",
        days=max(1, job.schedule.days),
        seeds=replicate_seeds(job.seed, 1),
        seed=job.seed,
        breeders=0,
        larvae=0,
        baseline=policy,
        climate=climate,
        policies=(Policy(policy, job.parameters),),
        text=text,
        invented=invented,
    )


def draw(found: Fit, folder: Path) -> None:
    """Draw the figures and write the profile."""
    STUDY.draw(folder)
    write_worlds(folder / f"{found.name}.profile.csv", found.profile())


def design(found: Fit) -> str:
    """How the posterior was learnt and tested."""
    keys = ", ".join(found.prior.keys)
    return (
        f"The posterior of {keys} was estimated by neural posterior estimation from "
        f"{found.simulations} logs simulated with draws from the prior; its calibration was "
        "tested by the ranks of known values in fresh simulated logs."
    )


def findings(folder: Path, data: dict[str, Any]) -> dict[str, pd.DataFrame]:
    """The tables of a fit by name."""
    return {name: pd.read_parquet(folder / f"{name}.parquet") for name in STUDY.tables}


def slides(folder: Path, seed: int | None = None) -> list[Slide]:
    """The slides of a fit, see ``slides.slides``."""
    from colony_sim.fitting.slides import slides

    return slides(folder)


STUDY = Study(
    kind="fit",
    tables=("posterior", "learnt", "predictive", "calibration"),
    figures=("learnt", "predictive", "calibration"),
    run=fit,
    findings=findings,
    say=lambda found, plan: Said(fit_words.headline(found.learnt), fit_words.details(found)),
    slides=slides,
    frames=frames,
    facts=facts,
    design=design,
)
