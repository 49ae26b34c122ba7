"""``colony-sim sweep``."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from rich.console import Console
from rich.table import Table

from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import Ending
from colony_sim.commands.show import console, duration, progress_bar
from colony_sim.experiment.files import load
from colony_sim.experiment.worlds import worlds_of
from colony_sim.measuring.catalogue import catalogue
from colony_sim.results.folder import folder_of
from colony_sim.running.executor import open_executor
from colony_sim.running.protocol import ClusterLost
from colony_sim.running.runner import Interrupted, check_workers
from colony_sim.studies.sweep.cost import SweepCost, estimate
from colony_sim.studies.sweep.run import Sweep, SweepPlan, plan_sweep, run_sweep
from colony_sim.studies.sweep.study import STUDY
from colony_sim.studies.sweep.tables import PRIMARY
from colony_sim.words.estimate import Estimate, dashed, number

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
        with open_executor(workers, cluster) as executor:
            at_once = executor.at_once
            cost = estimate(sweep, folder, executor, at_once)
        for line in [*sweep.notes, *in_words(cost, sweep), "Nothing was written."]:
            to.print(line, highlight=False, markup=False, soft_wrap=True)
        return None
    for note in sweep.notes:
        to.print(note, highlight=False, markup=False, soft_wrap=True)
    result = _run(sweep, folder, workers, cluster)
    show_sweep(sweep, result, to)
    if result.n_failed:
        raise Ending(
            f"{result.n_failed} of {result.n_runs} runs failed; the first: "
            f"{result.first_failure} (all in {folder / 'failures.csv'})",
            1,
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
            f"Stopped. {done} of {total} runs are finished and kept in {folder}; {again}.", 130
        ) from None
    except ClusterLost as error:
        raise Ending(f"{error}; finished runs are kept in {folder}; {again}.", 1) from None


def in_words(cost: SweepCost, sweep: SweepPlan) -> list[str]:
    """An estimate in a few lines."""
    policies = "policy" if cost.policies == 1 else "policies"
    lines = [
        f"{cost.points} points ({sweep.design}) x {cost.policies} {policies} x "
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
    """Print the finding, yield by point and where the tables are."""
    for line in result.finding:
        to.print(line, highlight=False, markup=False)
    worlds = sweep.plan.profile is not None and len(sweep.plan.policies) > 1
    to.print(_over_worlds(sweep, result) if worlds else _yields(sweep, result))
    if len(sweep.points) > MOST_ROWS:
        left = len(sweep.points) - MOST_ROWS
        where = "over_worlds.csv" if worlds else "differences.csv"
        to.print(f"… and {left} more points in summary.csv and {where}.", markup=False)
    if result.n_reused:
        to.print(f"{result.n_reused} runs were finished before.", highlight=False, markup=False)
    to.print(f"Results: {result.folder}", highlight=False, markup=False, soft_wrap=True)


def _over_worlds(sweep: SweepPlan, result: Sweep) -> Table:
    names = [policy.name for policy in sweep.plan.policies if policy.name != sweep.plan.baseline]
    title = f"Yield over worlds, against “{sweep.plan.baseline}” (gains in g/day)"
    table = _headed(sweep, title)
    for name in names:
        for head in ("ahead with probability (SE)", "gain (SE)", "90 % of gains"):
            table.add_column(_plain(f"{name}: {head}"), justify="right")
    rows = pd.read_parquet(
        result.folder / "over_worlds.parquet", filters=[("point", "<=", MOST_ROWS)]
    ).set_index(["point", "policy"])
    for point, keys in sweep.points.head(MOST_ROWS).iterrows():
        cells = [str(point), *(_value(value) for value in keys.tolist())]
        for name in names:
            row = rows.loc[(point, name)]
            cells += [
                f"{number(row['probability'])} ({number(row['probability_se'])})",
                f"{number(row['gain'])} ({number(row['gain_se'])})",
                f"{number(row['gain_low'])} to {number(row['gain_high'])}",
            ]
        table.add_row(*(dashed(cell) for cell in cells))
    return table


def _headed(sweep: SweepPlan, title: str) -> Table:
    """An empty table with a column for the point and one for every key."""
    table = Table(title=_plain(title), title_justify="left")
    table.add_column("Point", justify="right")
    for key in sweep.points.columns:
        table.add_column(key, justify="right")
    return table


def _yields(sweep: SweepPlan, result: Sweep) -> Table:
    names = [policy.name for policy in sweep.plan.policies]
    measure = catalogue()[PRIMARY]
    paired = f"; paired to “{sweep.plan.baseline}”" if len(names) > 1 else ""
    title = f"{measure.label} ({measure.unit}), mean of runs and 95 % interval{paired}"
    table = _headed(sweep, title)
    for name in names:
        table.add_column(_plain(name), justify="right")
    for name in names[1:]:
        table.add_column(_plain(f"{name} minus {sweep.plan.baseline}"), justify="right")
    means = _first_points(result, "summary").set_index(["point", "policy"])
    if len(names) > 1:
        pairs = _first_points(result, "differences").set_index(["point", "policy"])
    for point, keys in sweep.points.head(MOST_ROWS).iterrows():
        cells = [str(point), *(_value(value) for value in keys.tolist())]
        for name in names:
            row = means.loc[(point, name)]
            cells.append(Estimate.of(row).cell)
        for name in names[1:]:
            row = pairs.loc[(point, name)]
            cells.append(Estimate.of(row, "difference").cell)
        table.add_row(*cells)
    return table


def _first_points(result: Sweep, name: str) -> pd.DataFrame:
    wanted = [("measure", "==", PRIMARY), ("point", "<=", MOST_ROWS)]
    return pd.read_parquet(result.folder / f"{name}.parquet", filters=wanted)


def _value(value: object) -> str:
    return number(value) if isinstance(value, float) else str(value)


def _plain(text: str) -> str:
    return text.replace("[", r"\[")
