"""``colony-sim sweep``."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pandas as pd
from rich.console import Console
from rich.table import Table

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import FAILED, STOPPED, Ending
from colony_sim.commands.show import HOW, console, duration, progress_bar, show_page, weights
from colony_sim.experiment.files import load
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import worlds_of
from colony_sim.results.folder import folder_of
from colony_sim.running.executor import open_executor
from colony_sim.running.protocol import ClusterLost
from colony_sim.running.runner import Interrupted, check_workers
from colony_sim.studies.sweep.cost import SweepCost, estimate
from colony_sim.studies.sweep.run import Sweep, SweepPlan, plan_sweep, run_sweep
from colony_sim.studies.sweep.study import STUDY
from colony_sim.studies.sweep.tables import PRIMARY
from colony_sim.words import labels
from colony_sim.words.estimate import Estimate, dashed, number, of_100, short
from colony_sim.words.finding import in_house
from colony_sim.words.labels import shortened
from colony_sim.words.units import scaled, symbol

MOST_ROWS = 6
"""Points on the screen, which is to hold everything at once."""


def run_sweep_command(
    file: Path,
    *,
    vary: list[str],
    design: str | None,
    points: int | None,
    design_seed: int | None,
    replicates: int | None,
    seed: int | None,
    policy: str | None,
    quick: bool,
    until: list[str],
    least: int | None,
    most: int | None,
    workers: int | None,
    cluster: str | None,
    out: Path | None,
    dry_run: bool,
    profile: Path | None = None,
    one_world: bool = False,
) -> Path | None:
    """Run every policy of an experiment file at every point of a design.

    Returns the results folder; None if nothing was written.
    """
    workers = check_workers(workers)
    sweep = plan_sweep(
        load(file),
        vary=vary,
        design=design,
        points=points,
        design_seed=design_seed,
        replicates=replicates,
        seed=seed,
        policy=policy,
        quick=quick,
        until=until,
        least=least,
        most=most,
        profile=worlds_of(profile, one_world),
    )
    folder = folder_of(sweep.plan.name, out)
    to = console()
    if dry_run:
        counted = f"{sweep.plan.name}: {sweep.n_runs} runs in all; working out how long they take"
        print(counted, file=sys.stderr, flush=True)
        with open_executor(workers, cluster) as executor:
            at_once = executor.at_once
            cost = estimate(sweep, folder, executor, at_once)
        first, *rest = in_words(cost, sweep)
        show_page(to, [first], [*rest, *sweep.notes], ["Nothing was written."])
        return None
    result = _run(sweep, folder, workers, cluster)
    with using(sweep.plan.house):
        show_sweep(sweep, result, to)
    if result.n_failed:
        raise Ending(
            f"{result.n_failed} of {result.n_runs} runs failed; the first: "
            f"{result.first_failure} (all in {folder / 'failures.csv'})",
            FAILED,
            folder,
        )
    return folder


def _run(sweep: SweepPlan, folder: Path, workers: int, cluster: str | None) -> Sweep:
    again = "the same command goes on from there"
    try:
        with progress_bar(sweep.plan.name) as on_progress:
            return run_sweep(
                sweep,
                folder,
                workers=workers,
                cluster=cluster,
                on_progress=on_progress,
                draw=STUDY.draw,
                command=command_line(),
            )
    except KeyboardInterrupt as stopped:
        done = stopped.done if isinstance(stopped, Interrupted) else "All"
        total = stopped.total if isinstance(stopped, Interrupted) else sweep.n_runs
        raise Ending(
            f"Stopped. {done} of {total} runs are finished and kept in {folder}; {again}.", STOPPED
        ) from None
    except ClusterLost as error:
        raise Ending(f"{error}; finished runs are kept in {folder}; {again}.", FAILED) from None


def in_words(cost: SweepCost, sweep: SweepPlan) -> list[str]:
    """An estimate in a few lines."""
    policies = "policy" if cost.policies == 1 else "policies"
    lines = [
        f"That takes {cost.points} points ({sweep.design}) x {cost.policies} {policies} x "
        f"{cost.replicates} replicates = {cost.runs} runs; {cost.stored} are stored, "
        f"{cost.left} to do."
    ]
    if sweep.rule is not None:
        lines.append(
            f"That is the first look; precision may ask for up to {cost.most_replicates} "
            f"replicates a point, {cost.points * cost.policies * cost.most_replicates} runs in all."
        )
    if cost.left == 0:
        lines.append("Nothing to run; the tables are written anew in seconds.")
    elif cost.cost is None or cost.seconds is None:
        lines.append("Time and memory are not known: the pilot run failed.")
    else:
        source = (
            "one pilot run, made just now and not kept"
            if cost.pilot
            else f"mean of {cost.cost.runs} stored runs"
        )
        lines.append(
            f"Time: about {duration(cost.seconds)} with {cost.at_once} at once; a run takes "
            f"{number(cost.cost.seconds)} s ({source})."
        )
        if cost.megabytes is not None:
            lines.append(
                f"Memory: about {cost.megabytes:.0f} MB in all workers, "
                f"{cost.cost.peak_mb:.0f} MB each at the most, however many runs there are."
            )
    return [*lines, f"Disk: about {max(cost.disk_megabytes, 0.1):.1f} MB."]


def show_sweep(sweep: SweepPlan, result: Sweep, to: Console) -> None:
    """Print the finding, yield by point and where the tables are, on one screen."""
    worlds = sweep.plan.profile is not None and len(sweep.plan.policies) > 1
    answer, *rest = result.finding
    notes = [*sweep.notes, *rest]
    if result.n_reused:
        notes.insert(0, f"{result.n_reused} runs were finished before.")
    left = len(sweep.points) - MOST_ROWS
    last = [f"… and {left} more points in the tables of the results."] if left > 0 else []
    last += [f"{HOW}: summary.csv and methods.txt of the results.", f"Results: {result.folder}"]
    make = _over_worlds if worlds else _yields
    show_page(to, [answer], [make(sweep, result), *notes], last)


def _over_worlds(sweep: SweepPlan, result: Sweep) -> Table:
    names = [policy.name for policy in sweep.plan.policies if policy.name != sweep.plan.baseline]
    table = _headed(sweep)
    for name in names:
        against = f"{_short(name)} over {_short(sweep.plan.baseline)}"
        table.add_column(_plain(f"{against}: more in, of 100 (error)"), justify="right")
        table.add_column(f"{symbol('g/d')} more (error)", justify="right")
    rows = pd.read_parquet(
        result.folder / "over_worlds.parquet", filters=[("point", "<=", MOST_ROWS)]
    ).set_index(["point", "policy"])
    for point, keys in sweep.points.head(MOST_ROWS).iterrows():
        cells = [_value(labels.at(key, value)) for key, value in keys.items()]
        for name in names:
            row = rows.loc[(point, name)]
            cells += [
                _share(row["probability"], row["probability_se"]),
                "{} ({})".format(*(number(scaled(row[c], "g/d")) for c in ("gain", "gain_se"))),
            ]
        table.add_row(*(dashed(cell) for cell in cells))
    return table


def _headed(sweep: SweepPlan) -> Table:
    """An empty table with a column for every key."""
    table = Table(box=None, pad_edge=False)
    for key in sweep.points.columns:
        table.add_column(_plain(labels.axis(key)), justify="right")
    return table


def _yields(sweep: SweepPlan, result: Sweep) -> Table:
    names = [policy.name for policy in sweep.plan.policies]
    table = _headed(sweep)
    table.title, table.title_justify = f"{weights()} a day (95 % interval)", "left"
    for name in names:
        table.add_column(_plain(_short(name)), justify="right")
    for name in names[1:]:
        head = f"{_short(name)} minus {_short(sweep.plan.baseline)}"
        table.add_column(_plain(head), justify="right")
    means = _first_points(result, "summary").set_index(["point", "policy"])
    if len(names) > 1:
        pairs = _first_points(result, "differences").set_index(["point", "policy"])
    for point, keys in sweep.points.head(MOST_ROWS).iterrows():
        cells = [_value(labels.at(key, value)) for key, value in keys.items()]
        for name in names:
            row = means.loc[(point, name)]
            cells.append(Estimate.of(in_house(row, "mean", "low", "high")).cell)
        for name in names[1:]:
            row = pairs.loc[(point, name)]
            row = in_house(row, "difference", "low", "high")
            cells.append(Estimate.of(row, "difference").cell)
        table.add_row(*(dashed(cell) for cell in cells))
    return table


def _share(share: float, error: float) -> str:
    return number(share) if math.isnan(share) else f"{of_100(share)} ({short(100 * error)})"


def _short(name: str) -> str:
    return shortened(name, 20)


def _first_points(result: Sweep, name: str) -> pd.DataFrame:
    wanted = [("measure", "==", PRIMARY), ("point", "<=", MOST_ROWS)]
    return pd.read_parquet(result.folder / f"{name}.parquet", filters=wanted)


def _value(value: object) -> str:
    return number(value) if isinstance(value, float) else str(value)


def _plain(text: str) -> str:
    return text.replace("[", r"\[")
