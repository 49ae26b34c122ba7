"""``colony-sim fit``: what do a keeper's own notes tell about the colony?"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path

from colony_sim.atomic import write_text
from colony_sim.biology.climate import Climate, constant
from colony_sim.biology.parameters import Parameters
from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import FAILED, REFUSED, Ending
from colony_sim.commands.show import HOW, Bars, console, show_page
from colony_sim.commands.study import ended_in_one_line
from colony_sim.errors import InputError
from colony_sim.experiment.files import load, quoted
from colony_sim.experiment.plan import whole
from colony_sim.experiment.worlds import MOST_DRAWS, SHIPPED, read_worlds
from colony_sim.results.folder import claim, folder_of

DEFAULT_C = 25.0


def run_template(path: Path | None) -> None:
    """Write the empty log with its explanations, to a file that must be new, or to the screen."""
    from colony_sim.logs.template import template

    if path is None:
        sys.stdout.write(template())
        return
    if path.exists():
        raise InputError(str(path), "file", "exists", "a new file")
    write_text(path, template())
    _say(f"Template: {path}")


def run_check(log: Path) -> None:
    """Every fault of a log with its remedy; ends with 2 if there is one."""
    from colony_sim.logs.logbook import read_log
    from colony_sim.logs.schedule import compile_schedule

    logbook = read_log(log)
    schedule = compile_schedule(logbook.entries)
    # Rows that cannot be read leave holes that would show as faults of other rows.
    faults = logbook.faults or schedule.faults
    for fault in sorted(faults, key=lambda fault: fault.row):
        _say(fault.line)
    if faults:
        more = "; then check again" if logbook.faults else ""
        raise Ending(f"{log}: {len(faults)} fault{'s' * (len(faults) > 1)} to mend{more}", REFUSED)
    answer = (
        f"{log.name} has no faults: {len(logbook.entries)} rows, {len(schedule.bins)} bins, "
        f"{schedule.days} days from {schedule.start}; {len(schedule.observed)} numbers to learn "
        "from."
    )
    notes = [f"Note: {note}." for note in (*logbook.notes, *schedule.notes)]
    show_page(console(), [answer, *notes])


def run_fit(
    log: Path,
    *,
    experiment: Path | None,
    policy: str | None,
    name: str | None,
    members: int | None,
    seed: int | None,
    workers: int | None,
    out: Path | None,
) -> Path:
    """Fit the model to a log and write what was learnt."""
    from colony_sim.assimilation.asked import plan_of
    from colony_sim.fitting import fit as fitting
    from colony_sim.fitting import fit_words
    from colony_sim.fitting.study import QUESTION, STUDY, design, draw, facts, frames
    from colony_sim.results.study import write_study
    from colony_sim.running.runner import WorkerDied, check_workers, compile_kernels

    workers = check_workers(workers)
    seed = whole("seed", seed, 0, 2**32 - 1, 1)
    members = whole("members", members, fitting.LEAST_MEMBERS, MOST_DRAWS, fitting.MEMBERS)
    name = checked_name(name, log)
    home = surroundings(experiment, policy)
    logbook, ensemble = fitting.ensemble_of(
        log, home.parameters, home.climate, read_worlds(SHIPPED), seed
    )  # fmt: skip
    folder = folder_of(f"{name}-fit", out)
    files = STUDY.files | {f"{name}.profile.csv"}
    try:
        with ended_in_one_line(folder), claim(folder, f"{name}-fit", files), Bars() as bars:
            if experiment is None:
                bars.say(f"No --experiment: {DEFAULT_C:g} C all year and the handling of "
                         "parameters.toml are assumed; bins, room and rules of your own go into an "
                         "experiment file.")  # fmt: skip
            for note in home.climate.notes:
                bars.say(note)
            compile_kernels()
            found = fitting.fit(
                name, logbook, ensemble, members=members, folder=folder, workers=workers,
                on_progress=bars.of("colonies"),
            )  # fmt: skip
            plan = plan_of(
                f"{name}-fit", QUESTION, ensemble, home.policy, home.climate, home.text,
                home.invented,
            )  # fmt: skip
            headline, details = fit_words.headline(found.learnt), fit_words.details(found)
            write_study(
                plan, folder, STUDY.kind, frames(found), details,
                facts(found, experiment, home.policy), answer=headline, design=design(found),
                command=command_line(), draw=lambda staged: draw(found, staged),
            )  # fmt: skip
    except WorkerDied as error:
        raise Ending(f"{error}; they are kept in {folder}", FAILED) from None
    last = [
        f"{HOW}: verdict.txt and the tables of the results.",
        f"Profile for other commands: {name}.profile.csv of the results.",
        f"Results: {folder}",
    ]
    show_page(console(), [f"{headline}."], fit_words.plain(found), last)
    return folder


def checked_name(name: str | None, log: Path) -> str:
    """The name given, or one made of the log's."""
    if name is None:
        name = re.sub(r"[^a-z0-9_-]+", "-", log.stem.lower()).strip("-_")[:56] or "log"
    if not re.fullmatch(r"[a-z0-9][a-z0-9_-]{0,55}", name):
        allowed = "1 to 56 of the characters a-z 0-9 _ -, the first a letter or digit"
        raise InputError("command line", "--name", name, allowed)
    return name


@dataclass(frozen=True)
class Surroundings:
    """What a log does not say: of its experiment file, or of parameters.toml without one.

    Attributes
    ----------
    parameters : Parameters
    climate : Climate
    policy : str
    text : str
        The file as read.
    invented : bool
    breeders : int or None
        Beetles that the file begins with.
    """

    parameters: Parameters
    climate: Climate
    policy: str
    text: str = ""
    invented: bool = False
    breeders: int | None = None


def surroundings(experiment: Path | None, policy: str | None) -> Surroundings:
    """Rack, rules and room of a log."""
    if experiment is None:
        if policy is not None:
            allowed = "only with --experiment FILE, whose policy it names"
            raise InputError("command line", "--policy", policy, allowed)
        return Surroundings(Parameters.default(), constant(DEFAULT_C), "as in parameters.toml")
    file = load(experiment)
    names = [entry.name for entry in file.policies]
    chosen = file.baseline if policy is None else policy
    if chosen not in names:
        raise InputError("command line", "--policy", policy, f"one of {quoted(names)}")
    parameters = next(p.parameters for p in file.policies if p.name == chosen)
    return Surroundings(
        parameters, file.climate, chosen, file.text, file.invented, file.breeders
    )  # fmt: skip


def _say(line: str) -> None:
    console().print(line, highlight=False, markup=False, soft_wrap=True)
