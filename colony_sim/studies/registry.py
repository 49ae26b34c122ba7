"""Every kind of study, by the kind in the manifest of its results folder.

Modules are named here and loaded when they are asked for: this is the one place that knows studies
of the floors above.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator

from colony_sim.studies.study import Study

_MODULES = {
    "comparison": "studies.comparison.study",
    "sweep": "studies.sweep.study",
    "break-even map": "studies.breakeven.study",
    "sensitivity": "studies.sensitivity.study",
    "search": "studies.search.study",
    "best against best": "studies.search.best_study",
    "plan": "planning.study",
    "fit": "fitting.study",
    "trial": "trial.study",
    "today": "assimilation.study",
    "evidence": "evidence.study",
    "worlds": "worlds.study",
    "single run": "studies.single.study",
}
"""Modules that have a `STUDY`; those shown beside a comparison in the order of a talk."""
KINDS = tuple(_MODULES)


def study(kind: object) -> Study | None:
    """The study of a kind; None if there is none."""
    return _load(_MODULES[kind]) if kind in _MODULES else None


def studies() -> Iterator[Study]:
    """All studies."""
    return (_load(module) for module in _MODULES.values())


def _load(module: str) -> Study:
    return importlib.import_module(f"colony_sim.{module}").STUDY
