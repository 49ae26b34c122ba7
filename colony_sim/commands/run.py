"""``colony-sim run``: one policy, once, with everything that happened in every bin."""

from __future__ import annotations

import re
from pathlib import Path

from colony_sim.colony.simulate import RunRecord
from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import Ending
from colony_sim.commands.profile import profile_of
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import PlannedRun, named, single
from colony_sim.results.folder import folder_of
from colony_sim.studies.single.study import run_single as single_run
from colony_sim.words.estimate import number


def run_single(
    file: Path,
    *,
    policy: str | None,
    seed: int | None,
    days: int | None,
    out: Path | None,
    profile: Path | None = None,
    draw: int | None = None,
) -> None:
    """Simulate one policy of an experiment file once, write and sum up what happened."""
    experiment, fitted = load(file), profile_of(profile)
    run = single(experiment, policy=policy, seed=seed, days=days, profile=fitted, draw=draw)
    name = f"{named(experiment.name, fitted)}-run-{_slug(run.policy)}"
    folder = folder_of(name, out)
    try:
        record = single_run(run, folder, name, profile=fitted, draw=draw, command=command_line())
    except KeyboardInterrupt:
        raise Ending("Stopped. The run was not finished; nothing was kept.", 130) from None
    for line in summary(run, record):
        print(line)
    if fitted is not None:
        print(f"Biology: {f'draw {draw}' if draw else 'central draw'} of profile “{fitted.name}”.")
    for note in run.scenario.climate.notes:
        print(note)
    print(f"Results: {folder}")


def summary(run: PlannedRun, record: RunRecord) -> list[str]:
    """A few lines on how the run went."""
    daily = record.daily
    last = daily.iloc[-1] if len(daily) else None
    lines = [f"{run.policy}, seed {run.scenario.seed}, {len(daily)} days"]
    if record.died_out_day is not None:
        lines.append(f"The colony died out on day {record.died_out_day}.")
    elif last is not None:
        stocks = ", ".join(
            f"{int(last[stage])} {stage}" for stage in ("eggs", "larvae", "pupae", "adults")
        )
        lines.append(f"At the end: {stocks}, {int(last['bins_in_use'])} bins in use.")
    if last is not None:
        grams, bran = daily["harvest_g"].sum(), daily["bran_given_g"].sum()
        hours = daily["work_minutes"].sum() / 60
        lines.append(
            f"Over all days: {grams:.0f} g harvested, {bran:.0f} g bran given, "
            f"{number(hours)} h of work."
        )
    return lines


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "policy"
