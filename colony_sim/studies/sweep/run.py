"""A sweep: every policy of an experiment at every point of a design, over paired seeds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.design import (
    OPTION,
    Factor,
    check_factors,
    make_design,
    parse_vary,
    point_dicts,
)
from colony_sim.experiment.files import Experiment, SweepTable, quoted
from colony_sim.experiment.plan import Plan, expand, named, replicate_seeds
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import Worlds
from colony_sim.measuring.outcome import Measuring, SteadyMeasuring
from colony_sim.results.folder import claim, replace_tables
from colony_sim.results.study import files_of
from colony_sim.running.executor import (
    PointRun,
    check_plan_at,
    open_executor,
    point_plan,
    run_all_points,
    runs_of,
)
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress, check_workers
from colony_sim.running.store import OutcomeStore, open_store
from colony_sim.running.whole import Whole
from colony_sim.studies.fitting_worlds import WORLDS, in_fitting_worlds, left_out_in_words
from colony_sim.studies.precision import StoppingRule, make_rule, next_replicates, reached
from colony_sim.studies.sweep import tables as sweep_tables
from colony_sim.words import labels
from colony_sim.words.showing import as_html, one_line

MOST_RUNS = 10_000_000


TABLES = (
    "sweep", "points", "summary", "differences", "ranking", "gains", "over_worlds", "precision",
    "failures",
)  # fmt: skip
FIGURES = ("sweep",)
FILES = files_of(TABLES, FIGURES)


@dataclass(frozen=True)
class SweepPlan:
    """A sweep ready to run.

    Attributes
    ----------
    plan : Plan
        The experiment with the policies that are swept; its name ends in ``-sweep``.
    factors : tuple of Factor
    design : str
        ``factorial``, ``lhs`` or ``sobol``.
    design_seed : int
        Seed of a random design.
    points : DataFrame
        One row per point, numbered from 1.
    rule : StoppingRule or None
        When to stop adding replicates; None for as many as the plan has seeds.
    notes : tuple of str
        What the user should know before it starts.
    left_out : int
        Worlds that do not go with some point, and are lived in at none.
    """

    plan: Plan
    factors: tuple[Factor, ...]
    design: str
    design_seed: int
    points: pd.DataFrame
    rule: StoppingRule | None
    notes: tuple[str, ...]
    left_out: int = 0

    @property
    def replicates(self) -> int:
        """Runs of each policy at each point, at the first look if there is a rule."""
        return self.rule.least if self.rule else len(self.plan.seeds)

    @property
    def most_replicates(self) -> int:
        """Runs of each policy at each point, at most."""
        return len(self.plan.seeds)

    @property
    def n_runs(self) -> int:
        """Number of runs, at the first look if there is a rule."""
        return len(self.points) * len(self.plan.policies) * self.replicates

    def runs(
        self, measuring: Measuring, replicates: Sequence[range] | None = None
    ) -> Iterator[PointRun]:
        """The runs, point by point; `replicates` are numbers from 1, for each point."""
        seeds = self.plan.seeds
        every = range(1, self.replicates + 1)
        for number, point in enumerate(point_dicts(self.points), start=1):
            wanted = every if replicates is None else replicates[number - 1]
            if len(wanted) == 0:
                continue
            here = point_plan(self.plan, point)
            pairs = ((replicate, seeds[replicate - 1]) for replicate in wanted)
            yield from runs_of(here, number, pairs, measuring)


@dataclass(frozen=True, repr=False)
class Sweep:
    """A finished sweep.

    Attributes
    ----------
    name : str
    folder : Path
        Where ``sweep``, ``points``, ``summary``, ``differences`` and ``ranking`` are, and over
        worlds ``gains`` and ``over_worlds``, as Parquet and CSV.
    n_runs, n_failed, n_reused : int
        Runs of the design, those that failed, and those that were finished before.
    finding : tuple of str
        What was found, in sentences.
    first_failure : str
        Where the first failed run was and what it said; empty if none failed.
    """

    name: str
    folder: Path
    n_runs: int
    n_failed: int
    n_reused: int
    finding: tuple[str, ...]
    first_failure: str = ""

    def table(self, name: str) -> pd.DataFrame:
        """One of the tables."""
        return pd.read_parquet(self.folder / f"{name}.parquet")

    def __repr__(self) -> str:
        return one_line(f"Sweep {self.name}, {self.n_runs} runs", self.finding[0], self.folder)

    def _repr_html_(self) -> str:
        return as_html(f"Sweep {self.name}", " ".join(self.finding), self.table("summary"))


def plan_sweep(
    experiment: Experiment,
    *,
    vary: Sequence[str] = (),
    design: str | None = None,
    points: int | None = None,
    design_seed: int | None = None,
    replicates: int | None = None,
    seed: int | None = None,
    policy: str | None = None,
    quick: bool = False,
    until: Sequence[str] = (),
    least: int | None = None,
    most: int | None = None,
    profile: Worlds | None = None,
) -> SweepPlan:
    """Plan a sweep; what is not given is taken from the file's ``[sweep]`` table.

    With a profile, replicate r lives in its world r at every point and under every policy; keys
    that are varied are as asked, in no world as drawn. A world that does not go with a point (some
    keys must stay in order) is left out at all points.

    Raises
    ------
    InputError
        If anything is not allowed, at any point of the design.
    """
    file = experiment.sweep or SweepTable()
    where = f"{experiment.path}, sweep.vary" if file.vary and not vary else OPTION
    factors = tuple(parse_vary(text, where) for text in (vary or file.vary))
    kind = design or file.design or "factorial"
    if points is None and kind == (file.design or kind):
        points = file.points
    check_factors(factors, kind, where)
    chosen_seed = file.design_seed if design_seed is None else design_seed
    table = make_design(factors, kind, points, chosen_seed)
    rule = make_rule(
        tuple(until) or tuple(file.until),
        file.least if least is None else least,
        file.most if most is None else most,
        replicates,
    )
    replicates = file.replicates if replicates is None and not quick else replicates
    if profile is not None and replicates is None and not quick:
        replicates = max(experiment.replicates, WORLDS)
    plan = expand(
        experiment, quick=quick, replicates=replicates, seed=seed, profile=profile, hands=True
    )
    suffix = "-sweep-quick" if quick else "-sweep"
    seeds = replicate_seeds(plan.seed, rule.most) if rule else plan.seeds
    plan = replace(plan, name=named(experiment.name, profile) + suffix, seeds=seeds)
    plan, notes = _choose(plan, [f.key for f in factors], file.policy if policy is None else policy)
    plan, left_out = in_fitting_worlds(plan, point_dicts(table))
    notes = (*notes, *left_out_in_words(left_out))
    planned = SweepPlan(plan, factors, kind, chosen_seed, table, rule, notes, left_out)
    most_runs = len(table) * len(plan.policies) * planned.most_replicates
    if most_runs > MOST_RUNS:
        raise InputError(where, "runs", most_runs, f"at most {MOST_RUNS}")
    for number, point in enumerate(point_dicts(table), start=1):
        check_plan_at(plan, point, where if len(table) == 1 else f"{where}, point {number}")
    return planned


def run_sweep(
    sweep: SweepPlan,
    folder: Path,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    command: str = "",
    draw: Callable[[Path], object] | None = None,
) -> Sweep:
    """Run what is not finished yet and write the results folder.

    Parameters
    ----------
    sweep : SweepPlan
    folder : Path
        Results folder; made if it is not there. Finished runs of an earlier sweep in it are
        taken where they are the same runs, whatever its design was.
    workers : int, optional
        Worker processes; default: one per core.
    cluster : str, optional
        Address of a Dask scheduler, whose workers run the sweep in place of this machine.
    on_progress : callable
        Told how far the runs are.
    command : str
        Command line, for the manifest.
    draw : callable, optional
        Draws the figure of a folder of tables into that folder.

    Raises
    ------
    InputError
        If the folder or the cluster cannot be used.
    runner.Interrupted
        On Ctrl-C; finished runs are kept.
    cluster.ClusterLost
        If the scheduler or all workers are gone; finished runs are kept.
    """
    workers = check_workers(workers)
    measuring = SteadyMeasuring()
    # A cluster that is not there must leave no folder behind.
    with (
        using(sweep.plan.house),
        open_executor(workers, cluster) as executor,
        claim(folder, sweep.plan.name, FILES),
        open_store(folder) as store,
    ):
        count = Whole(on_progress)
        replicates = _run(sweep, store, executor, measuring, count)
        runs = sweep.runs(measuring, [range(1, n + 1) for n in replicates])
        with replace_tables(folder) as staged:
            written = sweep_tables.write(sweep, runs, store, staged, command, draw)
    return Sweep(
        name=sweep.plan.name,
        folder=folder,
        n_runs=written.n_runs,
        n_failed=written.n_failed,
        n_reused=count.reused,
        finding=tuple(written.finding),
        first_failure=written.first_failure,
    )


def _run(
    sweep: SweepPlan,
    store: OutcomeStore,
    executor: Executor,
    measuring: Measuring,
    count: Whole,
) -> list[int]:
    """Run the sweep; returns the number of replicates at each point."""
    size = len(sweep.points)
    have, want = [0] * size, [sweep.replicates] * size
    while want != have:
        fresh = [range(h + 1, w + 1) for h, w in zip(have, want, strict=True)]
        total = sum(len(r) for r in fresh) * len(sweep.plan.policies)
        runs = sweep.runs(measuring, fresh)
        for _ in run_all_points(runs, total, store, executor, measuring, count.report):
            pass
        count.next()
        grown = fresh
        have = want
        if sweep.rule is None:
            break
        want = _more(sweep, sweep.rule, store, measuring, have, grown)
    return have


def _more(
    sweep: SweepPlan,
    rule: StoppingRule,
    store: OutcomeStore,
    measuring: Measuring,
    have: list[int],
    grown: list[range],
) -> list[int]:
    """Replicates each point needs next; only points that have just grown are looked at."""
    want = list(have)
    look = [range(1, n + 1) if len(g) else range(0) for n, g in zip(have, grown, strict=True)]
    names = [policy.name for policy in sweep.plan.policies]
    for chunk in sweep_tables.chunks(sweep.runs(measuring, look), store, sweep.plan):
        table = reached(chunk, names, sweep.plan.baseline, rule)
        for point, here in table.groupby("point", sort=False):
            want[point - 1] = next_replicates(here, rule)
    return want


def _choose(plan: Plan, keys: list[str], name: str | None) -> tuple[Plan, tuple[str, ...]]:
    """The plan with the policies to sweep: one by name, or all that differ once keys are laid."""
    names = [policy.name for policy in plan.policies]
    if name is not None:
        if name not in names:
            raise InputError(ARGUMENT, "policy", name, f"one of {quoted(names)}")
        policies = tuple(policy for policy in plan.policies if policy.name == name)
        return replace(plan, policies=policies, baseline=name), ()
    kept, notes = [], []
    seen: dict[tuple[Value, ...], str] = {}
    for policy in plan.policies:
        rest = tuple(v for key, v in policy.parameters.as_dict().items() if key not in keys)
        if rest in seen:
            notes.append(
                f"“{policy.name}” differs from “{seen[rest]}” only in what is varied, so it is "
                "the same at every point and left out."
            )
            continue
        seen[rest] = policy.name
        kept.append(policy)
    own = [k for k in keys if k not in ("start.breeders", "start.larvae")]
    for key in own:
        if len(kept) > 1 and len({policy.parameters[key] for policy in plan.policies}) > 1:
            notes.append(
                f"{labels.heading(key)} is varied, so each policy's own value of it does not count."
            )
    return replace(plan, policies=tuple(kept)), tuple(notes)
