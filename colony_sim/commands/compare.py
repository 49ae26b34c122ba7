"""``colony-sim compare``."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from colony_sim.commands.ending import ANSWERED, FAILED, STOPPED, Ending
from colony_sim.commands.show import Bars, console, show_comparison
from colony_sim.commands.study import ended_in_one_line
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import Plan, expand
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import worlds_of
from colony_sim.extras import require
from colony_sim.results.folder import claim, folder_of
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Interrupted, WorkerDied, check_workers
from colony_sim.running.whole import Whole
from colony_sim.studies.comparison.live import RunsFailed, Stage
from colony_sim.studies.comparison.over_worlds import all_pairs
from colony_sim.studies.comparison.run import compare_plan
from colony_sim.studies.comparison.stages import expected_runs
from colony_sim.studies.comparison.stages import make_rule as make_worlds_rule
from colony_sim.studies.comparison.study import STUDY
from colony_sim.studies.comparison.write import FILES
from colony_sim.studies.precision import make_rule
from colony_sim.words.estimate import percent, short


def command_line() -> str:
    """The command as typed."""
    return shlex.join(["colony-sim", *sys.argv[1:]])


def run_compare(
    file: Path,
    *,
    quick: bool,
    workers: int | None,
    out: Path | None,
    fresh: bool,
    replicates: int | None,
    seed: int | None,
    assumptions: bool | None = None,
    until: Sequence[str] = (),
    least: int | None = None,
    most: int | None = None,
    profile: Path | None = None,
    one_world: bool = False,
    worlds: int | None = None,
    error: float | None = None,
    zone: float | None = None,
    equal_means: bool = False,
    full: bool = False,
    executor: Executor | None = None,
) -> Path:
    """Compare the policies of an experiment file; returns the results folder."""
    workers = check_workers(workers)
    draws = worlds_of(profile, one_world)
    apart = 0
    if equal_means:
        from colony_sim.studies.search.equal_means import REPLICATES, TIMES_MORE, at_equal_means

        # The last worlds are those that handling at equal means is chosen in.
        apart = REPLICATES * (1 + TIMES_MORE)
    apart = min(apart, len(draws.draws) // 2) if draws else 0
    rule = make_worlds_rule(
        len(draws.draws) - apart if draws else None,
        worlds=worlds,
        error=error,
        times=replicates,
        zone=zone,
        quick=quick,
    )
    if rule is None:
        assumptions = not quick if assumptions is None else assumptions and not quick
    else:
        for name, value in (
            ("until", until or None), ("least", least), ("most", most), ("assumptions", assumptions)
        ):  # fmt: skip
            if value is not None:
                raise InputError(ARGUMENT, name, value, "only with `one_world`")
        replicates, assumptions = None, False
    precision = make_rule(until, least, most, replicates)
    plan = expand(
        load(file), quick=quick, replicates=replicates, seed=seed, profile=draws, hands=True
    )
    if equal_means:
        require("optuna", "optuna>=5.0", "search")
        plan = replace(plan, name=f"{plan.name}-equal-means")
    folder = folder_of(plan.name, out)
    bars, handling = Bars(), None
    whole = Whole(bars.of(plan.name))
    try:
        with bars:
            if equal_means:
                runs = len(plan.seeds) if rule is None else expected_runs(rule, (), ())
                whole.after = len(plan.policies) * runs
                with claim(folder, plan.name, FILES), ended_in_one_line(folder):
                    found = at_equal_means(plan, folder, workers=workers, on_progress=whole.report)
                whole.next()
                whole.after = 0
                plan, handling = found.plan, found.changes
            result = compare_plan(
                plan,
                folder,
                workers=workers,
                executor=executor,
                fresh=fresh,
                handling=handling,
                on_progress=whole.report,
                draw=STUDY.draw,
                command=command_line(),
                until=precision,
                rule=rule,
                on_stage=lambda stage: bars.say(stage_line(plan, stage)),
                assumptions=assumptions,
                without="--quick" if quick else "--no-assumptions",
                on_assumptions=bars.of("assumptions"),
            )
    except KeyboardInterrupt as stopped:
        done = stopped.done if isinstance(stopped, Interrupted) else "All"
        total = stopped.total if isinstance(stopped, Interrupted) else len(list(plan.runs()))
        again = "the same command without --fresh" if fresh else "the same command"
        raise Ending(
            f"Stopped. {done} of {total} runs are finished and kept in {folder}; "
            f"{again} goes on from there.",
            STOPPED,
        ) from None
    except WorkerDied as error_:
        raise Ending(
            f"{error_} and are kept in {folder}; the same command with fewer --workers "
            "goes on from there.",
            FAILED,
        ) from None
    except RunsFailed as error_:
        raise Ending(str(error_), FAILED) from None
    with using(plan.house):
        show_comparison(result, plan, console(), full, handling)
    if result.stopped:
        again = "the same command without --fresh" if fresh else "the same command"
        line = f"Stopped early; this is what was known by then. {again} goes on."
        raise Ending(line, ANSWERED, folder)
    return folder


def stage_line(plan: Plan, stage: Stage) -> str:
    """What is known after a stage, in one line; of many pairs, on the one least known."""
    pairs = all_pairs([policy.name for policy in plan.policies])
    known = zip(pairs, stage.verdicts, strict=True)
    (first, second), verdict = max(
        known, key=lambda one: max(one[1].probability_a_se, one[1].probability_b_se)
    )
    head = "First answer, from" if stage.first else "From"
    return (
        f"{head} {stage.worlds} possible colonies: “{first}” gives more in "
        f"{percent(verdict.probability_a)}, “{second}” in {percent(verdict.probability_b)} (error "
        f"{short(100 * max(verdict.probability_a_se, verdict.probability_b_se))} %)."
    )
