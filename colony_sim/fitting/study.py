"""The fit of a keeper's log as a kind of study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.experiment.worlds import write_worlds
from colony_sim.figures.slide import Slide
from colony_sim.fitting import fit_words
from colony_sim.fitting.fit import Fit, fit
from colony_sim.studies.study import Said, Study

QUESTION = "What does a keeper's log tell about the biology?"


def frames(found: Fit) -> dict[str, pd.DataFrame]:
    """Tables of a fit by name."""
    posterior = found.profile.frame().reset_index(names="draw")
    return {"posterior": posterior, "learnt": found.learnt, "structures": found.structures,
            "predictive": found.predictive, "calibration": found.calibration,
            "state": found.state,
            "racks": found.racks.reset_index(names="draw")}  # fmt: skip


def facts(found: Fit, experiment: Path | None = None, policy: str = "") -> dict[str, Any]:
    """Settings of a fit, for the manifest."""
    judged = found.misfit
    return {
        **found.profile.facts,
        "profile": f"{found.name}.profile.csv",
        "experiment": None if experiment is None else experiment.name,
        "policy": policy,
        "rows": len(found.logbook.entries),
        "days": found.schedule.days,
        "bins": list(found.schedule.bins),
        "notes": list(found.schedule.notes),
        "effective": round(found.posterior.effective, 1),
        "together": [list(pair) for pair in found.together],
        "misfit": None if judged is None else {
            "p": judged.p, "p_total": judged.p_total, "p_use": judged.p_use,
            "p_values": judged.p_values,
        },
    }  # fmt: skip


def draw(found: Fit, folder: Path) -> None:
    """Draw the figures and write the profile."""
    STUDY.draw(folder)
    write_worlds(folder / f"{found.name}.profile.csv", found.profile)


def design(found: Fit) -> str:
    """How the posterior was learnt and tested."""
    return (
        f"{found.members} possible colonies lived the log; those nearest it count, by a kernel, "
        "and their values were moved to it by weighted regression with the errors of the "
        "jackknife+. It was tested on the logs of members that were left out."
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
    tables=("posterior", "learnt", "structures", "predictive", "calibration", "state", "racks"),
    figures=("learnt", "predictive", "calibration"),
    run=fit,
    findings=findings,
    say=lambda found, plan: Said(fit_words.headline(found.learnt), fit_words.details(found)),
    slides=slides,
    frames=frames,
    facts=facts,
    design=design,
)
