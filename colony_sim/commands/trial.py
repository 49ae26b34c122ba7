"""``colony-sim trial``: which small experiment at home would tell most?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from colony_sim.atomic import put_text, write_text
from colony_sim.commands.compare import command_line
from colony_sim.commands.show import HOW, console, progress_bar, show_page
from colony_sim.commands.study import ended_in_one_line, reads_folder
from colony_sim.errors import InputError
from colony_sim.experiment.plan import Plan
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import write_worlds
from colony_sim.results.folder import claim, folder_of, steadily
from colony_sim.results.study import write_study
from colony_sim.running.runner import check_workers, compile_kernels
from colony_sim.trial import back, words
from colony_sim.trial import question as questions
from colony_sim.trial.boxes import Trial
from colony_sim.trial.question import Question
from colony_sim.trial.side import NAME
from colony_sim.trial.study import STUDY, Found, design, facts, frames, plan_of, run, say

STEPS = "instructions.txt"


@reads_folder
def run_trial(
    folder: Path,
    *,
    racks: bool,
    only: str | None,
    result: Path | None,
    workers: int | None,
    out: Path | None,
) -> Path:
    """Rank the trials for the choice of a comparison, or take a result back."""
    workers = check_workers(workers)
    question = steadily(folder, lambda: questions.read(folder))
    chosen = _named(question, only)
    written = None if result is None else back.read(result, question.trials)
    asked = {only, None if written is None else written[0].name}
    question = replace(question, racks=racks or NAME in asked)
    plan = plan_of(question)
    with using(plan.house):
        return _told(question, plan, chosen, written, workers, folder_of(plan.name, out))


def _told(
    question: Question, plan: Plan, chosen: Trial | None,
    written: tuple[Trial, np.ndarray] | None, workers: int, place: Path,
) -> Path:  # fmt: skip
    """Live the trials and say what is best, or what the result says; returns the folder."""
    profile = f"{plan.name}.profile.csv"
    files = STUDY.files | {STEPS}
    with ended_in_one_line(place), claim(place, plan.name, files):
        compile_kernels()
        with progress_bar("colonies") as on_progress:
            found = run(
                plan, place, question=question, workers=workers, on_progress=on_progress
            )  # fmt: skip
        if chosen is None:
            chosen = _named(question, str(found.ranking.iloc[0]["trial"]))
        assert chosen is not None
        answer = _answer(found, written, plan.seed, plan.name)
        spoken = say(found, plan)

        def draw(staged: Path) -> None:
            STUDY.draw(staged)
            put_text(staged / STEPS, words.instructions(chosen, question.room_c))

        head, more = spoken.headline, list(spoken.plain)
        text = spoken.text
        if answer is not None:
            head, more = words.said(question, answer)
            text = "\n\n".join([*more, text])
        write_study(
            plan, place, STUDY.kind, frames(found), text, facts(found), answer=f"{head}.",
            design=design(found), command=command_line(), draw=draw,
        )  # fmt: skip
        # What the keeper fills in, and what came of it, no later call takes away.
        log = place / f"{chosen.name}.csv"
        if not log.exists():
            write_text(log, back.empty(chosen))
        if answer is not None:
            write_worlds(place / profile, answer.profile)
    last = [f"How to do it: {STEPS}; its log: {log.name}, then --result FILE ({chosen.label})."]
    if answer is not None:
        last = [f"Ask again with the colonies that are left: --profile {place / profile}"]
    show_page(console(), [f"{head}."], more, [*last, f"{HOW}: verdict.txt of the results.",
                                              f"Results: {place}"])  # fmt: skip
    return place


def _answer(
    found: Found, written: tuple[Trial, np.ndarray] | None, seed: int, name: str
) -> back.Answer | None:
    if written is None:
        return None
    trial, numbers = written
    lived = found.written[found.question.trials.index(trial)]
    return back.answer(found.question, trial, lived, numbers, seed, name)


def _named(question: Question, name: str | None) -> Trial | None:
    if name is None:
        return None
    trial = question.named(name)
    if trial is None:
        allowed = ", ".join(trial.name for trial in question.trials)
        raise InputError("command line", "--only", name, allowed)
    return trial
