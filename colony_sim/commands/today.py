"""``colony-sim today``: what is in each bin now, what to do this weekend, and what comes?"""

from __future__ import annotations

import datetime
from pathlib import Path

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import Ending
from colony_sim.commands.fit import checked_name, surroundings
from colony_sim.commands.show import console, progress_bar, show_page
from colony_sim.errors import InputError
from colony_sim.experiment.plan import whole
from colony_sim.experiment.worlds import MOST_DRAWS, worlds_of
from colony_sim.results.folder import claim, folder_of


def run_today(
    log: Path,
    *,
    experiment: Path | None,
    policy: str | None,
    on: str | None,
    breeders: int | None,
    profile: Path | None,
    members: int | None,
    anew: bool,
    name: str | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
) -> Path:
    """Live a log again, write what it tells of today, and say it on one screen."""
    from colony_sim.assimilation import page, study, words
    from colony_sim.assimilation.asked import ask
    from colony_sim.assimilation.today import MEMBERS
    from colony_sim.results.study import write_study
    from colony_sim.running.runner import Interrupted, WorkerDied, check_workers, compile_kernels

    workers = check_workers(workers)
    seed = whole("seed", seed, 0, 2**32 - 1, 1)
    members = whole("members", members, 40, MOST_DRAWS, MEMBERS)
    if breeders is not None:
        breeders = whole("breeders", breeders, 1, 100_000, breeders)
    name = f"{checked_name(name, log)}-today"
    parameters, climate, chosen, text, invented = surroundings(experiment, policy)
    worlds = worlds_of(profile, one_world=False)
    assert worlds is not None
    asked = ask(log, parameters, climate, worlds, on=_date(on), seed=seed)
    folder = folder_of(name, out)
    plan = study.plan_of(name, asked, chosen, climate, text, invented)
    try:
        with claim(folder, name, study.FILES):
            compile_kernels()
            with progress_bar("your log") as on_progress:
                found = study.run(
                    plan, folder, asked=asked, members=members, anew=anew, breeders=breeders,
                    workers=workers, on_progress=on_progress,
                )  # fmt: skip
            said = study.say(found, plan)
            write_study(
                plan, folder, study.KIND, study.STUDY.frames(found), said.text,
                study.facts(found), answer=f"{said.headline}.", design=study.design(found),
                command=command_line(), draw=lambda staged: study.draw(found, staged),
            )  # fmt: skip
    except KeyboardInterrupt as stopped:
        count = f" {stopped}," if isinstance(stopped, Interrupted) else ""
        line = f"Stopped.{count} kept in {folder}; the same command goes on from there."
        raise Ending(line, 130) from None
    except WorkerDied as error:
        raise Ending(f"{error}; they are kept in {folder}", 1) from None
    must, more = words.screen(found.told)
    show_page(console(), must, [*more, *asked.notes], [f"Page: {folder / page.FILE}"])
    return folder


def _date(text: str | None) -> datetime.date | None:
    if text is None:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        allowed = "a day as YYYY-MM-DD, such as 2031-04-30"
        raise InputError("command line", "--on", text, allowed) from None
