"""Run a plan, measure every run, compare the policies and write the results folder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack, nullcontext
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from colony_sim.atomic import new_file, remove, write_text
from colony_sim.experiment.asks import Asks, asks_of, in_order
from colony_sim.experiment.plan import Plan, PlannedRun, replicate_seeds
from colony_sim.experiment.units import using
from colony_sim.experiment.worlds import SHIPPED
from colony_sim.measuring.catalogue import catalogue
from colony_sim.measuring.outcome import IN_WORDS
from colony_sim.measuring.series import WholeSeries
from colony_sim.results import findings, manifest
from colony_sim.results.findings import Finding
from colony_sim.results.folder import claim, replace_tables, write_table
from colony_sim.results.study import files_of
from colony_sim.running.executor import PointRun, open_executor, run_all_points
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress, check_workers
from colony_sim.running.store import OutcomeStore, open_store
from colony_sim.running.whole import Whole
from colony_sim.statistics.over_worlds import WorldsVerdict
from colony_sim.statistics.paired import (
    all_paired_differences,
    died_out_comparison,
    policy_summary,
)
from colony_sim.studies import precision
from colony_sim.studies.comparison.assumptions import (
    Assumptions,
    compared,
    find_assumptions,
    skipped,
)
from colony_sim.studies.comparison.leans_on import (
    from_narrowing,
    leaning_in_words,
    leans_on,
    what_would_tell,
)
from colony_sim.studies.comparison.over_words import (
    answer,
    in_words,
    is_open,
    means_left_over,
)
from colony_sim.studies.comparison.over_worlds import OverWorlds, over_worlds, verdicts_on_yield
from colony_sim.studies.comparison.stages import WorldsRule, expected_runs, next_stage
from colony_sim.studies.comparison.stored import measured, planned
from colony_sim.studies.comparison.this_colony import this_colony
from colony_sim.studies.comparison.verdict import verdict
from colony_sim.studies.points import PointRunner
from colony_sim.studies.profile_words import (
    circumstances,
    this_colony_in_words,
    with_profile,
)
from colony_sim.words.finding import beside, finding
from colony_sim.words.showing import as_html, one_line

DAILY = (
    "day", "temperature_c", "eggs", "larvae", "pupae", "adults", "breeders", "larvae_g",
    "bins_in_use", "bran_g", "harvest_larvae", "harvest_g", "eggs_laid", "bran_given_g",
    "work_minutes",
)  # fmt: skip
"""Columns of ``daily.parquet``, besides policy and seed."""


TABLES = ("runs", "measures", "policies", "differences", "all_differences", "died_out")
MORE_TABLES = (
    "daily", "over_worlds", "gains", "standings", "against_default", "leans_on", "assumptions",
    "precision", "handling",
)  # fmt: skip
FIGURES = ("gains", "comparison")
FILES = files_of((*TABLES, *MORE_TABLES), FIGURES)
DESIGN = (
    f"{IN_WORDS} "
    "Estimands: mean of each measure over all runs for which it has a meaning, and mean difference "
    "between policies paired by seed, each with its 95 % t interval; p values are adjusted by Holm."
)
OVER_WORLDS = (
    " Every pair of runs lived in a world: a joint draw of all uncertain values, the same for "
    "every policy, with the same seed. Probabilities are shares of worlds by expected gain, chance "
    "within a world taken off by the split of variance of worlds that were lived more than once "
    "(Thomas & Hultquist 1978; Louis 1984). Means and intervals take one run a world."
)
ERRORS = "failed_runs.txt"
"""File with the whole errors of runs that failed."""


class RunsFailed(Exception):
    """Some runs raised; the runs that finished are stored, the tables were not touched.

    Attributes
    ----------
    failures : tuple of (str, int, str)
        Policy, seed and traceback of each, in the order of the plan.
    total : int
        Runs of the plan.
    """

    def __init__(
        self, failures: Sequence[tuple[str, int, str]], total: int, file: Path | None
    ) -> None:
        self.failures, self.total = tuple(failures), total
        policy, seed, error = failures[0]
        more = "" if file is None else f" (whole error in {file})"
        super().__init__(
            f"{len(failures)} of {total} runs failed; the first: policy {policy}, "
            f"seed {seed}: {error.strip().splitlines()[-1]}{more}"
        )


@dataclass(frozen=True, repr=False)
class Comparison:
    """A finished comparison of policies.

    Attributes
    ----------
    name : str
        Name of the experiment.
    folder : Path
        Where the tables, figures and the manifest are.
    verdict : str
        What the evidence on yield does and does not support, in one sentence.
    details : str
        Runs left out, means, losses and intervals, in words.
    runs : pandas.DataFrame
        One row per policy and seed: status, warm-up, every measure.
    policies : pandas.DataFrame
        One row per policy and measure: mean, 95 % interval, run counts.
    differences : pandas.DataFrame
        One row per policy other than the baseline and measure: paired difference to the baseline.
    died_out : pandas.DataFrame
        One row per policy: runs that died out.
    leaning : str
        The three assumptions the verdict leans on most, or why they were not looked for.
    assumptions : pandas.DataFrame or None
        One row per uncertain value and end of its range, if they were looked for.
    precision : tuple of str
        What precision was asked for and reached, in sentences; empty if none was asked for.
    circumstances : tuple of str
        The profile and the log of temperatures it rests on, in sentences.
    answer : tuple of str
        Over worlds: how surely a policy is ahead, what it leans on and, for a keeper's profile,
        how the answer differs from the default, in sentences.
    over_worlds, gains, standings, against_default, leans_on : pandas.DataFrame or None
        The tables behind that.
    found : OverWorlds or None
        The verdicts over worlds.
    profile : str
        Name of the worlds.
    advice : tuple of str
        For a keeper's profile: how the answer differs from that of the default.
    turning : str
        Over worlds: what would change the answer.
    left_over : tuple of str
        Which policy leaves means unused, in sentences.
    stopped : bool
        Ctrl-C ended it: it holds the whole stages that were lived before.
    """

    name: str
    folder: Path
    verdict: str
    details: str
    runs: pd.DataFrame
    policies: pd.DataFrame
    differences: pd.DataFrame
    died_out: pd.DataFrame
    leaning: str = ""
    assumptions: pd.DataFrame | None = None
    precision: tuple[str, ...] = ()
    circumstances: tuple[str, ...] = ()
    answer: tuple[str, ...] = ()
    over_worlds: pd.DataFrame | None = None
    gains: pd.DataFrame | None = None
    standings: pd.DataFrame | None = None
    against_default: pd.DataFrame | None = None
    leans_on: pd.DataFrame | None = None
    found: OverWorlds | None = None
    profile: str = ""
    advice: tuple[str, ...] = ()
    turning: str = ""
    left_over: tuple[str, ...] = ()
    stopped: bool = False

    @property
    def findings(self) -> list[Finding]:
        """Everything in words, by the part it plays."""
        advice = (*self.advice, self.turning, *self.left_over)
        details = (*self.answer, *advice, *self.circumstances, self.details)
        return [
            Finding("answer", self.verdict),
            *(Finding("detail", text) for text in details if text),
            Finding("leaning", self.leaning),
        ]

    def __repr__(self) -> str:
        return one_line(f"Comparison {self.name}", self.verdict, self.folder)

    def _repr_html_(self) -> str:
        return as_html(f"Comparison {self.name}", self.verdict, self.differences)


def compare_plan(
    plan: Plan,
    folder: Path,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    fresh: bool = False,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    draw: Callable[[Path], object] | None = None,
    command: str = "",
    until: precision.StoppingRule | None = None,
    rule: WorldsRule | None = None,
    on_stage: Callable[[Stage], None] = lambda stage: None,
    handling: pd.DataFrame | None = None,
    assumptions: bool = False,
    without: str = "not asked for",
    on_assumptions: Callable[[Progress], None] = lambda progress: None,
) -> Comparison:
    """Run every policy with every seed and write the results folder.

    With a keeper's profile, the two policies compared are run with the default biology as well.

    Parameters
    ----------
    plan : Plan
        What to run.
    folder : Path
        Results folder; made if it is not there.
    workers : int, optional
        Worker processes; default: one per core.
    executor : Executor, optional
        An open one in their place; it stays open.
    fresh : bool
        Run again what is finished already.
    on_progress : callable
        Told how far the runs are.
    draw : callable, optional
        Draws the figures of a folder of tables into that folder.
    command : str
        Command line, for the manifest.
    until : precision.StoppingRule, optional
        Add replicates until paired intervals are as narrow as asked; their number is then that
        of the rule, not that of the plan.
    rule : WorldsRule, optional
        How many of the plan's worlds to live in, stage by stage; for a plan with a profile. Ctrl-C
        then ends the runs, not the comparison: it has the whole stages before, if there is one.
    on_stage : callable
        Told what is known after each stage.
    handling : pandas.DataFrame, optional
        What a search at equal means changed in the policies, written as a table.
    assumptions : bool
        Look for the assumptions that the verdict leans on most; takes some minutes.
    without : str
        Why not, said in the verdict otherwise.
    on_assumptions : callable
        Told how far the runs for that are.

    Raises
    ------
    InputError
        If the folder cannot be used.
    RunsFailed
        If a run raised.
    runner.Interrupted
        On Ctrl-C.
    runner.WorkerDied
        If a worker process was killed.
    """
    workers = check_workers(workers)
    with (
        using(plan.house),
        claim(folder, plan.name, FILES),
        open_store(folder) as store,
        nullcontext(executor) if executor else open_executor(workers) as lived_by,
    ):
        run = partial(
            run_series, folder=folder, store=store, executor=lived_by, fresh=fresh,
            on_progress=on_progress,
        )  # fmt: skip
        reached, stopped = None, False
        if rule is not None:
            plan, stopped = _run_stages(plan, rule, store, run, on_progress, on_stage)
        elif until is not None:
            plan, reached = _run_until(plan, until, store, run)
        else:
            run(plan)
        runs = list(planned(plan))
        with replace_tables(folder) as staged:
            comparison = write_tables(plan, runs, store, staged)
            lean = None
            pair = compared(plan, comparison["policies"])
            zone = rule.zone if rule else 0.0
            later = None if stopped else run
            comparison |= write_answer(
                plan, pair, comparison["runs"], zone, store, later, staged, handling is not None
            )
            if assumptions:
                without = "there are not two policies to compare"
                if pair is not None:
                    points = PointRunner(store, lived_by)
                    lean = find_assumptions(plan, pair, points, on_progress=on_assumptions)
            without = "" if lean else without
            comparison |= write_assumptions(lean, without, staged)
            if handling is not None:
                write_table(staged, "handling", handling)
            if until is not None and reached is not None:
                write_table(staged, "precision", reached.drop(columns="point"))
                comparison["precision"] = tuple(precision.in_words(reached, until))
            found = Comparison(folder=folder, stopped=stopped, **comparison)
            findings.write_text(staged, found.findings, plan.question)
            data = manifest.build(plan, runs, command) | {
                "design": DESIGN + (OVER_WORLDS if found.found else ""),
                "findings": findings.as_data(found.findings),
                "assumptions": {"looked_for": not without, "why_not": without},
                "precision": until.as_dict() if until else None,
                "over_worlds": rule and {**rule.as_dict(), "stopped": stopped},
            }
            # The figure is drawn from the tables and the manifest, as it would be later.
            manifest.write(staged, data)
            if draw is not None:
                draw(staged)
                manifest.write(staged, data)
    return found


def write_tables(
    plan: Plan, runs: Sequence[PlannedRun], store: OutcomeStore, folder: Path
) -> dict[str, Any]:
    """Measure the stored runs and write all tables; returns the fields of a Comparison.

    One run at a time is in memory: its daily series goes to ``daily.parquet`` as it is read.
    """
    rows = []
    with _DailyWriter(folder / "daily.parquet") as daily:
        for run in sorted(runs, key=lambda run: _order(plan, run)):
            series, outcome = measured(run, store)
            daily.add(run.policy, run.scenario.seed, series)
            rows.append({**_place(plan, run), **outcome})
    table = pd.DataFrame(rows).astype({"died_out_day": "Int64"})
    keys = list(catalogue())
    long = table.melt(["policy", "replicate", "seed"], keys, "measure", "value")
    long["unit"] = long["measure"].map({key: m.unit for key, m in catalogue().items()})
    # Second runs in a world tell chance from worlds; they are no further worlds.
    once = table if "world" not in table else table.drop_duplicates(["policy", "world"])
    summary = policy_summary(once, measures=keys)
    everything = all_paired_differences(once, measures=keys)
    # One family of comparisons for the tables and for the sentence.
    differences = everything[everything["baseline"] == plan.baseline].reset_index(drop=True)
    died = died_out_comparison(once, plan.baseline)
    names = [plan.baseline] + [p.name for p in plan.policies if p.name != plan.baseline]
    sentence = f"{finding(names, summary, everything)}{with_profile(plan.profile)}."
    if len(names) == 2:
        asks = asks_of(plan.asks, plan.policies)
        work = None if asks is None else asks is Asks.WORTH
        sentence = f"{sentence} {beside(in_order(plan.policies), everything, work)}".rstrip()
    pairs = everything if len(plan.policies) > 2 else differences
    details = verdict("", _quoted(summary), _quoted(pairs), _quoted(died))
    for name, frame in (
        ("runs", table),
        ("measures", long),
        ("policies", summary),
        ("differences", differences),
        ("all_differences", everything),
        ("died_out", died),
    ):
        write_table(folder, name, frame)
    rests_on = tuple(circumstances(plan))
    return {
        "name": plan.name,
        "verdict": sentence,
        "details": details,
        "runs": table,
        "policies": summary,
        "differences": differences,
        "died_out": died,
        "circumstances": rests_on,
    }


def write_answer(
    plan: Plan,
    pair: tuple[str, str] | None,
    runs: pd.DataFrame,
    zone: float,
    store: OutcomeStore,
    run: Callable[[Plan], None] | None,
    folder: Path,
    equal: bool = False,
) -> dict[str, Any]:
    """Add the answer over the worlds of a plan to the tables; fields of a Comparison.

    `zone` is the half width (g/day) of gains that count as none. A keeper's profile is held
    against the default, which `run` runs; None leaves that out. `equal` says that every policy has
    the handling that suits it best.
    """
    if plan.profile is None or pair is None or runs["world"].nunique() < 2:
        return {}
    names = [policy.name for policy in plan.policies]
    over = over_worlds(runs, names, pair, zone)
    tables = {"over_worlds": over.table, "gains": over.gains, "standings": over.standings}
    evpi = min(over.first.regret_a, over.first.regret_b)
    lines = []
    if plan.profile.name == SHIPPED or run is None:
        leaning = leans_on(runs, plan.profile, pair, evpi)
    else:
        found = this_colony(plan, plan.profile, pair, runs, store, run)
        leaning = from_narrowing(found.narrowing, pair, evpi)
        lines = this_colony_in_words(found, plan.profile)
        tables["against_default"] = found.against
    tables["leans_on"] = leaning.table
    for name, table in tables.items():
        write_table(folder, name, table)
    asks = asks_of(plan.asks, plan.policies)
    sentence = answer(over, asks, in_order(plan.policies))
    if is_open(over):
        sentence += f" {what_would_tell(leaning)}"
    return {
        "verdict": sentence,
        "found": over,
        "profile": plan.profile.name,
        "answer": (*in_words(over, plan.profile.name), *lines[1:]),
        "advice": tuple(lines[:1]),
        "turning": leaning_in_words(leaning),
        "left_over": tuple(means_left_over(plan.policies, runs, equal)),
        **tables,
    }


def write_assumptions(lean: Assumptions | None, without: str, folder: Path) -> dict[str, Any]:
    """Add the assumptions to the tables; returns fields of a Comparison."""
    text = skipped(without) if lean is None else lean.text
    if lean is not None:
        write_table(folder, "assumptions", lean.table)
    return {"leaning": text, "assumptions": None if lean is None else lean.table}


def run_series(
    plan: Plan,
    folder: Path,
    store: OutcomeStore,
    executor: Executor,
    fresh: bool = False,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> None:
    """Run a plan and store the daily series of its runs.

    Raises
    ------
    RunsFailed
        If runs raised; the others are run and stored first. Their whole errors are in the folder.
    """
    runs = {
        run.key: PointRun(1, run.policy, run.replicate, run.key, run.scenario)
        for run in planned(plan)
    }
    ended = run_all_points(
        runs.values(), len(runs), store, executor, WholeSeries(), on_progress,
        fresh=fresh, retry=False,
    )  # fmt: skip
    failed = {(run.policy, run.seed): run.error for run in ended if run.error is not None}
    places = [(run.policy, run.scenario.seed) for run in runs.values()]
    failures = [(*place, failed[place]) for place in places if place in failed]
    file = folder / ERRORS
    if failures:
        texts = [f"Policy {policy}, seed {seed}\n{error}" for policy, seed, error in failures]
        write_text(file, "\n".join(texts))
        raise RunsFailed(failures, len(runs), file)
    remove(file)


@dataclass(frozen=True)
class Stage:
    """What is known after a stage of a comparison over worlds.

    Attributes
    ----------
    worlds : int
        Worlds lived in.
    verdicts : tuple of WorldsVerdict
        In g/day, on every pair of policies (see `over_worlds.all_pairs`).
    first, last : bool
        Whether no stage came before, or none follows.
    """

    worlds: int
    verdicts: tuple[WorldsVerdict, ...]
    first: bool
    last: bool


def _run_stages(
    plan: Plan,
    rule: WorldsRule,
    store: OutcomeStore,
    run: Callable[..., None],
    on_progress: Callable[[Progress], None],
    on_stage: Callable[[Stage], None],
) -> tuple[Plan, bool]:
    """Live in worlds by the rule; the plan with those that were lived, and whether Ctrl-C ended it.

    Raises
    ------
    Interrupted
        On Ctrl-C in the first stage.
    """
    names = [policy.name for policy in plan.policies]
    rows: list[dict[str, Any]] = []
    worlds: list[int] = []
    verdicts: list[WorldsVerdict] = []
    coming = next_stage(rule, (), ())
    whole, stopped = Whole(on_progress), False
    try:
        while coming:
            lived = len(worlds)
            seeds = replicate_seeds(plan.seed, lived + len(coming))
            added = replace(plan, seeds=seeds[lived:], first=lived + 1, worlds=tuple(coming))
            whole.total = len(names) * expected_runs(rule, _counts(worlds), verdicts)
            run(added, on_progress=whole.report)
            whole.next()
            new = [_place(added, each) | measured(each, store)[1] for each in planned(added)]
            verdicts = verdicts_on_yield(pd.DataFrame([*rows, *new]), names, rule.zone)
            rows, worlds = [*rows, *new], [*worlds, *coming]
            coming = next_stage(rule, _counts(worlds), verdicts)
            on_stage(Stage(max(worlds), tuple(verdicts), not lived, not coming))
    except KeyboardInterrupt:
        if not worlds:
            raise
        stopped = True
    seeds = replicate_seeds(plan.seed, len(worlds))
    assert plan.profile is not None
    # What was lived is all that the manifest and a repetition need.
    profile = plan.profile.first(max(worlds))
    return replace(plan, seeds=seeds, worlds=tuple(worlds), profile=profile), stopped


def _counts(worlds: Sequence[int]) -> list[int]:
    """How often each world was lived, from the first."""
    return [worlds.count(world) for world in range(1, max(worlds, default=0) + 1)]


def _place(plan: Plan, run: PlannedRun) -> dict[str, Any]:
    """Where a run belongs."""
    place = {"policy": run.policy, "replicate": run.replicate, "seed": run.scenario.seed}
    return place if plan.profile is None else place | {"world": plan.world(run.replicate)}


def _run_until(
    plan: Plan, rule: precision.StoppingRule, store: OutcomeStore, run: Callable[[Plan], None]
) -> tuple[Plan, pd.DataFrame]:
    """Add replicates by the rule; the plan with those that were run, and what was reached."""
    names = [policy.name for policy in plan.policies]
    seeds = replicate_seeds(plan.seed, rule.most)
    rows: list[dict[str, Any]] = []
    done, goal = 0, rule.least
    while True:
        added = replace(plan, seeds=seeds[done:goal], first=done + 1)
        run(added)
        for each in planned(added):
            _, outcome = measured(each, store)
            place = {"point": 1, "policy": each.policy, "seed": each.scenario.seed}
            rows.append({**place, **outcome})
        table = precision.reached(pd.DataFrame(rows), names, plan.baseline, rule)
        done, goal = goal, precision.next_replicates(table, rule)
        if goal == done:
            return replace(plan, seeds=seeds[:done]), table


def _quoted(table: pd.DataFrame) -> pd.DataFrame:
    """The table with policy names in quotes, so that a sentence shows where a name ends."""
    names = {c: "“" + table[c] + "”" for c in ("policy", "baseline") if c in table}
    return table.assign(**names)


def _order(plan: Plan, run: PlannedRun) -> tuple[int, int]:
    names = [policy.name for policy in plan.policies]
    return names.index(run.policy), run.replicate


class _DailyWriter:
    """Streams the daily series of one run after the other into one Parquet file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._writer: pq.ParquetWriter | None = None
        self._open = ExitStack()

    def __enter__(self) -> _DailyWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def add(self, policy: str, seed: int, daily: pd.DataFrame) -> None:
        table = pa.Table.from_pandas(daily[list(DAILY)], preserve_index=False)
        rows = table.num_rows
        table = table.add_column(0, "policy", pa.array([policy] * rows, pa.string()))
        table = table.add_column(1, "seed", pa.array([seed] * rows, pa.int64()))
        table = table.replace_schema_metadata(None)
        if self._writer is None:
            file = self._open.enter_context(new_file(self._path))
            self._writer = self._open.enter_context(pq.ParquetWriter(file, table.schema))
        self._writer.write_table(table.cast(self._writer.schema))
