"""What a study is.

A kind of study is a module that has a `STUDY`, and a line in `registry`. From these come the files
of its results folder, its slides, its page and what the commands and the library do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.errors import InputError
from colony_sim.experiment.files import Experiment
from colony_sim.experiment.plan import Plan, expand
from colony_sim.experiment.units import using
from colony_sim.figures.slide import Slide
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST, claim
from colony_sim.results.study import files_of, write_study
from colony_sim.words.showing import as_html, one_line


@dataclass(frozen=True)
class Said:
    """What was found, in words.

    Attributes
    ----------
    headline : str
        In one line; may be empty.
    text : str
        In full.
    plain : tuple of str
        What a screen has below the headline, the most important first; empty: the lines of `text`.
    """

    headline: str
    text: str
    plain: tuple[str, ...] = ()


@dataclass(frozen=True)
class Study:
    """A kind of study.

    Attributes
    ----------
    kind : str
        As in the manifest.
    tables, figures : tuple of str
        Names of the files it may write, without suffix: tables are Parquet and CSV, figures PNG
        and SVG.
    run : callable
        Does it; returns what was found.
    findings : callable
        ``findings(folder, manifest)``: what was found, read back from a results folder.
    say : callable
        ``say(found, plan) -> Said``; default: nothing.
    slides : callable
        ``slides(folder, seed=None) -> list[Slide]``; `seed` is for kinds that show single runs.
        None for a kind without slides.
    frames : callable, optional
        ``frames(found)``: its tables by name; none for a kind that writes them run by run.
    facts : callable, optional
        ``facts(found)``: its settings, for the manifest.
    design : callable
        ``design(found)``: how it was done and what was estimated, in sentences for a paper.
    question : str
        What it asks of an experiment; empty if the experiment has the question.
    beside : bool
        Whether it is shown together with the comparison of the same experiment.
    """

    kind: str
    tables: tuple[str, ...]
    figures: tuple[str, ...]
    run: Callable[..., Any]
    findings: Callable[[Path, dict[str, Any]], Any]
    say: Callable[..., Said] = lambda found, plan: Said("", "")
    slides: Callable[..., list[Slide]] | None = None
    frames: Callable[[Any], Mapping[str, pd.DataFrame]] = lambda found: {}
    facts: Callable[[Any], Mapping[str, Any]] = lambda found: {}
    design: Callable[[Any], str] = lambda found: ""
    question: str = ""
    beside: bool = False

    @property
    def files(self) -> frozenset[str]:
        """Names of all files it may write to its results folder."""
        return files_of(self.tables, self.figures)

    def read(self, folder: Path) -> tuple[dict[str, Any], Any]:
        """The manifest of a results folder and what was found, from the folder alone.

        Raises
        ------
        InputError
            If the folder is of another kind, is damaged, or was written before all that is drawn
            was kept in it.
        """
        folder = Path(folder)
        data = manifest.read(folder, (self.kind,))
        where = str(folder / MANIFEST)
        try:
            return data, self.findings(folder, data)
        except KeyError as missing:
            command = data.get("command") or "the command of the study"
            allowed = f"a study of this version; run again: {command}"
            raise InputError(where, "study", f"without {missing.args[0]}", allowed) from None
        except OSError as error:
            reason = error.strerror or "missing"
            raise InputError(where, "tables", reason, "those of a study") from None
        except (TypeError, ValueError, AttributeError) as error:
            raise InputError(where, "study", f"damaged ({error})", "a study as written") from None

    def in_house(self, folder: Path) -> AbstractContextManager[None]:
        """Speak in the units of the house of a results folder."""
        return using(manifest.house_of(manifest.read(Path(folder), (self.kind,), whole=False)))

    def draw(self, folder: Path) -> list[Path]:
        """Draw its slides into a folder of its tables: PNG and SVG under their names."""
        from colony_sim.figures import style

        paths = []
        with self.in_house(folder):
            for slide in self.slides(folder) if self.slides else ():
                with style.theme():
                    paths += style.save(slide.paint(), Path(folder), slide.name)
        return paths


@dataclass(frozen=True, repr=False)
class StudyResult:
    """A finished study.

    Attributes
    ----------
    kind, name : str
        Of the study.
    folder : Path
        Where its tables, figures and the manifest are.
    headline, text : str
        What was found, in one line (may be empty) and in full.
    plain : tuple of str
        What a screen has of it below the headline, the most important first.
    tables : dict of str to DataFrame
        By name.
    found : object
        What the study itself returns.
    """

    kind: str
    name: str
    folder: Path
    headline: str
    text: str
    tables: Mapping[str, pd.DataFrame]
    found: Any
    plain: tuple[str, ...] = ()

    def table(self, name: str) -> pd.DataFrame:
        """One of the tables."""
        return self.tables[name]

    def __repr__(self) -> str:
        return one_line(f"{self.kind} {self.name}", self._finding, self.folder)

    def _repr_html_(self) -> str:
        return as_html(f"{self.kind} {self.name}", self._finding, *self.tables.values())

    @property
    def _finding(self) -> str:
        return self.headline or self.text.split("\n", 1)[0]


def study_plan(experiment: Experiment, ending: str, **options: Any) -> Plan:
    """The plan of an experiment (``options`` as for ``expand``), its name with an ending."""
    plan = expand(experiment, **options)
    return replace(plan, name=f"{plan.name}-{ending}")


def carry_out(
    study: Study,
    plan: Plan,
    folder: Path,
    *,
    figures: bool = True,
    command: str = "",
    **options: Any,
) -> StudyResult:
    """Run a study and write its results folder.

    Parameters
    ----------
    study : Study
        Of a kind that has `frames` and `facts`.
    plan : Plan
        What is run; described in the manifest, unless what is found has a ``plan`` of its own.
    folder : Path
        Results folder; made if it is not there.
    figures : bool
        Draw its figures as well.
    command : str
        Command line, for the manifest.
    **options
        As for ``study.run``.

    Raises
    ------
    InputError
        If the folder cannot be used or an option is not allowed.
    """
    with using(plan.house), claim(folder, plan.name, study.files):
        found = study.run(plan, folder, **options)
        plan = getattr(found, "plan", plan)
        said, tables = study.say(found, plan), study.frames(found)
        write_study(
            plan, folder, study.kind, tables, said.text, study.facts(found),
            answer=f"{said.headline}." if said.headline else "", design=study.design(found),
            command=command, draw=study.draw if figures else None,
        )  # fmt: skip
    plain = said.plain or tuple(said.text.split("\n"))
    return StudyResult(
        study.kind, plan.name, folder, said.headline, said.text, tables, found, plain
    )
