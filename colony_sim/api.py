"""The library in three lines.

>>> from colony_sim import load, compare
>>> result = compare(load("experiments/rotation.toml"))  # doctest: +SKIP
>>> print(result.verdict)  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colony_sim.biology.parameters import Value
from colony_sim.colony.own_keeper import MakeKeeper, own_keeper
from colony_sim.errors import InputError
from colony_sim.evidence import study as published
from colony_sim.experiment.files import LARGEST_SEED, Experiment, load
from colony_sim.experiment.plan import Plan, expand, single, whole
from colony_sim.experiment.worlds import SHIPPED, Worlds, profile_of, read_worlds, worlds_of
from colony_sim.measuring.catalogue import YIELD
from colony_sim.planning import study as planning
from colony_sim.planning.choose import effort_of
from colony_sim.planning.planner import base_plan
from colony_sim.planning.request import read_request
from colony_sim.results.folder import folder_of
from colony_sim.running.runner import Progress, compile_kernels
from colony_sim.studies.breakeven import run as breakeven_run
from colony_sim.studies.breakeven import study as maps
from colony_sim.studies.comparison import study as comparison
from colony_sim.studies.comparison.found import Comparison
from colony_sim.studies.comparison.live import RunsFailed, Stage
from colony_sim.studies.comparison.run import compare_plan
from colony_sim.studies.comparison.stages import make_rule
from colony_sim.studies.fitting_worlds import WORLDS
from colony_sim.studies.search import best_study as bests
from colony_sim.studies.search import study as searches
from colony_sim.studies.search.limits import Limits
from colony_sim.studies.sensitivity import run as sensitivity_run
from colony_sim.studies.sensitivity import study as analyses
from colony_sim.studies.study import StudyResult, carry_out, study_plan
from colony_sim.studies.sweep import study as sweeps
from colony_sim.studies.sweep.run import Sweep, plan_sweep, run_sweep

if TYPE_CHECKING:
    from colony_sim.colony.simulate import RunRecord

__all__ = [
    "Comparison",
    "Experiment",
    "InputError",
    "RunsFailed",
    "StudyResult",
    "Sweep",
    "breakeven",
    "check_evidence",
    "compare",
    "load",
    "plan",
    "published_worlds",
    "search",
    "sensitivity",
    "simulate_policy",
    "sweep",
]


def compare(
    experiment: Experiment | str | Path,
    *,
    out: str | Path | None = None,
    quick: bool = False,
    replicates: int | None = None,
    seed: int | None = None,
    workers: int | None = None,
    fresh: bool = False,
    figures: bool = True,
    one_world: bool = False,
    worlds: int | None = None,
    error: float | None = None,
    zone: float | None = None,
    assumptions: bool = True,
    profile: Worlds | str | Path | None = None,
    keeper: MakeKeeper | str | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    on_stage: Callable[[Stage], None] = lambda stage: None,
) -> Comparison:
    """Run every policy of an experiment in the same worlds, with the same seeds, and compare them.

    A world is a joint draw of what nobody knows: those that the published experiments allow, or
    those of a `profile`.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    out : str or Path, optional
        Results folder; default ``results/<name>`` below the working folder.
    quick : bool
        Fewer days and replicates, as the file says; results in ``results/<name>-quick``.
    replicates : int, optional
        Runs of each policy in every world (default: by the ratio of variances, see
        `studies.comparison.stages`); with `one_world` in all (default: that of the file).
    seed : int, optional
        Takes the place of that of the file.
    workers : int, optional
        Worker processes; default one per core. The results do not depend on it.
    fresh : bool
        Run again what is finished already.
    figures : bool
        Draw the figures as well.
    one_world : bool
        Take the default values alone, not many worlds: what is left is chance.
    worlds : int, optional
        Worlds at most; without `error`, all of them are lived in.
    error : float, optional
        Standard error to which the probability that a policy is ahead shall be known (0.05; 0.1
        if `quick`).
    zone : float, optional
        Half width (g/day) of the differences that count as none (0.5).
    assumptions : bool
        With `one_world`: look for the assumptions that the verdict leans on most (never if
        `quick`); takes some minutes.
    profile : Worlds, str or Path, optional
        Fitted biology of one colony, or its file, in place of the published worlds. The results
        folder is then ``results/<name>-<name of the profile>``.
    keeper : class or str, optional
        A keeper of one's own under every policy (see `colony.own_keeper.KeeperLike`): a class of a
        module or file, or its name, ``module:Class`` or ``rules.py:Class``. The digest of its
        source is part of the key of stored runs.
    on_progress : callable
        Called with the number of finished runs and the seconds left.
    on_stage : callable
        Told what is known after each stage.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        If the file or an argument is not allowed or the results folder cannot be used.
    RunsFailed
        If a run raised; runs that finished are kept.
    """
    experiment = _asked(experiment, keeper)
    draws = worlds_of(profile, one_world)
    rule = make_rule(
        len(draws.draws) if draws else None,
        worlds=worlds,
        error=error,
        times=replicates,
        zone=zone,
        quick=quick,
    )
    replicates = replicates if rule is None else None
    plan = expand(
        experiment, quick=quick, replicates=replicates, seed=seed, profile=draws, hands=True
    )
    folder = folder_of(plan.name, out)
    return compare_plan(
        plan,
        folder,
        workers=workers,
        fresh=fresh,
        on_progress=on_progress,
        draw=comparison.STUDY.draw if figures else None,
        rule=rule,
        on_stage=on_stage,
        assumptions=assumptions and one_world and not quick,
        without="a quick comparison" if quick else "not asked for",
        on_assumptions=on_progress,
    )


def sweep(
    experiment: Experiment | str | Path,
    vary: Sequence[str] = (),
    *,
    out: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    profile: Worlds | str | Path | None = None,
    one_world: bool = False,
    keeper: MakeKeeper | str | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    **options: Any,
) -> Sweep:
    """Run every policy of an experiment at every point of a design, over paired seeds.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    vary : sequence of str
        Keys and their values, such as ``"rotation.interval_days=7:35:7"``; default: the
        ``[sweep]`` table of the file.
    out : str or Path, optional
        Results folder; default ``results/<name>-sweep`` below the working folder.
    workers : int, optional
        Worker processes; default one per core. The results do not depend on it.
    cluster : str, optional
        Address of a Dask scheduler whose workers are used in place of this machine.
    profile : Worlds, str or Path, optional
        Worlds, one for each replicate, or their file, such as the biology of one colony; default:
        those of the package.
    one_world : bool
        Take the default values alone, no worlds.
    keeper : class or str, optional
        A keeper of one's own under every policy, as in :func:`compare`.
    figures : bool
        Draw the main figure as well.
    on_progress : callable
        Called with the number of finished runs and the seconds left.
    **options
        ``design``, ``points``, ``design_seed``, ``replicates``, ``seed``, ``policy``, ``quick``,
        ``until``, ``least`` and ``most``, as :func:`plan_sweep` takes them.

    Returns
    -------
    Sweep
        ``sweep.table("sweep")`` has one row a run; runs that failed are among them.

    Raises
    ------
    InputError
        If the file or an argument is not allowed, at any point of the design.
    """
    worlds = worlds_of(profile, one_world)
    plan = plan_sweep(_asked(experiment, keeper), vary=vary, profile=worlds, **options)
    folder = folder_of(plan.plan.name, out)
    return run_sweep(
        plan, folder, workers=workers, cluster=cluster, on_progress=on_progress,
        draw=sweeps.STUDY.draw if figures else None,
    )  # fmt: skip


def breakeven(
    experiment: Experiment | str | Path,
    x: str,
    y: str,
    *,
    policies: Sequence[str] | None = None,
    replicates: int | None = None,
    measure: str = YIELD,
    warm_up: int = breakeven_run.WARM_UP,
    used: int = breakeven_run.USED,
    seed: int | None = None,
    out: str | Path | None = None,
    workers: int | None = None,
    profile: Worlds | str | Path | None = None,
    one_world: bool = False,
    keeper: MakeKeeper | str | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> StudyResult:
    """Map where the ranking of two policies flips, over two keys.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    x, y : str
        Keys across and upwards with their values, such as ``"rack.bins=6,12"`` or
        ``"rotation.interval_days=7:35:7"``.
    policies : two names, optional
        First and second; default: the other policy and the baseline.
    replicates : int, optional
        Worlds of each cell, by default 32; with one world seeds, by default 5.
    measure : str
        Key of the measure compared.
    warm_up, used : int
        Days left out, and days measured.
    seed : int, optional
        Seed of the study; default: that of the file.
    out : str or Path, optional
        Results folder; default ``results/<name>-breakeven`` below the working folder.
    workers : int, optional
        Worker processes; default one per core. The results do not depend on it.
    profile : Worlds, str or Path, optional
        Worlds, one for each replicate, or their file, such as the biology of one colony; default:
        those of the package.
    one_world : bool
        Take the default values alone, no worlds.
    keeper : class or str, optional
        A keeper of one's own under every policy, as in :func:`compare`.
    figures : bool
        Draw the figure as well.
    on_progress : callable
        Called with the number of finished runs and the seconds left.

    Returns
    -------
    StudyResult
        Tables ``breakeven`` (one row a cell), ``crossings`` and, over worlds, ``gains``.

    Raises
    ------
    InputError
        If the file or an argument is not allowed or the results folder cannot be used.
    points.PointsFailed
        If a run raised; runs that finished are kept.
    """
    worlds = worlds_of(profile, one_world)
    if replicates is None:
        replicates = breakeven_run.SEEDS if worlds is None else WORLDS
    plan = _plan(
        experiment, "breakeven", seed=seed, profile=worlds, keeper=keeper, replicates=replicates,
        hands=True,
    )  # fmt: skip
    return carry_out(
        maps.STUDY,
        plan,
        folder_of(plan.name, out),
        figures=figures,
        x=breakeven_run.parse_axis("argument x", x),
        y=breakeven_run.parse_axis("argument y", y),
        policies=policies,
        replicates=replicates,
        measure=measure,
        warm_up=warm_up,
        used=used,
        workers=workers,
        on_progress=on_progress,
    )


def sensitivity(
    experiment: Experiment | str | Path,
    *,
    method: str | None = None,
    over: str | None = None,
    keys: Sequence[str] | None = None,
    group: str | None = None,
    policies: Sequence[str] | None = None,
    measure: str = YIELD,
    size: int | None = None,
    replicates: int | None = None,
    warm_up: int = sensitivity_run.WARM_UP,
    used: int = sensitivity_run.USED,
    seed: int | None = None,
    out: str | Path | None = None,
    workers: int | None = None,
    profile: Worlds | str | Path | None = None,
    one_world: bool = False,
    keeper: MakeKeeper | str | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> StudyResult:
    """Find the unknowns that would change the result.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    method : str, optional
        ``"sobol"`` (the default over worlds), ``"morris"`` (the default over ranges) or
        ``"oneway"``; over ranges the first two need SALib.
    over : str, optional
        ``"worlds"``, sets of values that go together, or ``"ranges"``, each value through its
        plausible range (for ``"oneway"`` and with `one_world` the default).
    keys : sequence of str, optional
        Keys to vary, or over worlds to look at; default: those of `group`.
    group : str, optional
        ``"biology"`` (its uncertain values; over ranges the default) or ``"handling"``.
    policies : one or two names, optional
        One policy, or first and second of a difference.
    measure : str
        Key of the measure looked at.
    size : int, optional
        Trajectories (default 10) or Sobol' base sample, a power of two (default 64).
    replicates : int, optional
        Seeds of each point; default 2, for ``"oneway"`` 6.
    warm_up, used, seed, workers, profile, keeper, figures, on_progress
        As for :func:`breakeven`.
    out : str or Path, optional
        Results folder; default ``results/<name>-<method>`` below the working folder.

    Returns
    -------
    StudyResult
        Tables ``sensitivity`` (one row a key), ``sampled`` (one row a point or world) and, for
        shares over worlds, ``groups``.

    Raises
    ------
    InputError
        If the file or an argument is not allowed or the results folder cannot be used.
    MissingExtra
        If SALib is needed and not installed.
    points.PointsFailed
        If a run raised; runs that finished are kept.
    """
    method, over = sensitivity_run.settled(method, over, one_world)
    alone = one_world or (over == "ranges" and profile is None)
    worlds = worlds_of(profile, alone)
    replicates, whole_plan = sensitivity_run.lived(method, over, size, replicates)
    plan = _plan(
        experiment, method, seed=seed, profile=worlds, keeper=keeper, replicates=whole_plan,
        hands=True,
    )  # fmt: skip
    return carry_out(
        analyses.STUDY,
        plan,
        folder_of(plan.name, out),
        figures=figures,
        method=method,
        entries=sensitivity_run.entries_over(over, keys, group, method),
        policies=policies,
        measure=measure,
        size=size,
        over=over,
        replicates=replicates,
        warm_up=warm_up,
        used=used,
        workers=workers,
        on_progress=on_progress,
    )


def search(
    experiment: Experiment | str | Path,
    keys: Sequence[str] | None = None,
    *,
    bins: int | None = None,
    minutes_per_week: float | None = None,
    bran_kg_per_week: float | None = None,
    grams_per_day: float | None = None,
    breeders: int | None = None,
    sure: float = 0.8,
    persist: float = 0.8,
    best_against_best: bool = False,
    candidates: int | None = None,
    replicates: int | None = None,
    fresh: int | None = None,
    zone: float | None = None,
    policy: str | None = None,
    warm_up: int | None = None,
    used: int | None = None,
    seed: int | None = None,
    out: str | Path | None = None,
    workers: int | None = None,
    profile: Worlds | str | Path | None = None,
    one_world: bool = False,
    keeper: MakeKeeper | str | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> StudyResult:
    """Search for the best handling under limits of room, time and founders (needs Optuna).

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    keys : sequence of str, optional
        Handling keys: ``key``, ``key=low:high`` or ``key=a,b,c``; default: moves, surplus,
        clearing, harvest and the rules that look before they act.
    bins, breeders : int, optional
        Bins in the rack and beetles to start with; default: those of the file.
    minutes_per_week, bran_kg_per_week, grams_per_day : float, optional
        Work and bran at most, and larvae at least; default: no limit.
    sure : float
        Share of runs in which these must be kept to.
    persist : float
        Share of runs in which the colony must not fade.
    best_against_best : bool
        Give each policy the other handling that suits it best under the same means, and compare.
    candidates, replicates, fresh : int, optional
        Candidates to try, worlds of each, and fresh worlds of the best.
    zone : float, optional
        With `best_against_best`: half width (g/day) of gains that count as none.
    policy : str, optional
        Policy with the other keys; default: the baseline.
    warm_up, used, seed, workers, profile, one_world, keeper, figures, on_progress
        As for :func:`breakeven`.
    out : str or Path, optional
        Results folder; default ``results/<name>-search`` below the working folder.

    Returns
    -------
    StudyResult
        Tables ``candidates`` (one row each) and ``front`` (those run again on fresh seeds); with
        `best_against_best` ``over_worlds``, ``handling``, ``judged``, ``candidates``, ``gains`` and
        ``runs``.

    Raises
    ------
    InputError
        If the file or an argument is not allowed or the results folder cannot be used.
    MissingExtra
        If Optuna is not installed.
    points.PointsFailed
        If a run raised; runs that finished are kept.
    """
    numbers = {"candidates": candidates, "replicates": replicates, "fresh": fresh, "zone": zone,
               "warm_up": warm_up, "used": used}  # fmt: skip
    options = searches.options_of(best_against_best, policy, numbers)
    plan = study_plan(
        _asked(experiment, keeper), "best" if best_against_best else "search",
        seed=seed, profile=worlds_of(profile, one_world), hands=True,
    )  # fmt: skip
    return carry_out(
        bests.STUDY if best_against_best else searches.STUDY,
        plan,
        folder_of(plan.name, out),
        figures=figures,
        keys=keys,
        limits=Limits(
            bins, minutes_per_week, breeders, persist, bran_kg_per_week, grams_per_day, sure
        ),
        workers=workers,
        on_progress=on_progress,
        **options,
    )


def plan(
    file: str | Path | None = None,
    *,
    quick: bool = False,
    out: str | Path | None = None,
    workers: int | None = None,
    one_world: bool = False,
    profile: Worlds | str | Path | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    **options: Any,
) -> StudyResult:
    """Size a rack and plan its year, or find what is short.

    Parameters
    ----------
    file : str or Path, optional
        Plan file; what `options` give goes before it.
    quick : bool
        Fewer candidates and runs; results in ``results/<name>-plan-quick``.
    out : str or Path, optional
        Results folder; default ``results/<name>-plan`` below the working folder.
    workers, figures
        As for :func:`breakeven`.
    one_world : bool
        Take the default values alone, not many worlds: what is left is chance.
    profile : Worlds, str or Path, optional
        Fitted biology of one colony, or its file, in place of the published worlds; run number r
        lives in world r (after the last the first comes again).
    on_progress : callable
        Called with how far the runs of the present stage are.
    **options
        Such as ``grams_per_day``, ``bins``, ``temperature`` (C) and ``start`` (a date), as
        :func:`colony_sim.planning.request.read_request` takes them.

    Returns
    -------
    StudyResult
        Tables ``weeks``, ``purchases``, ``startup``, ``candidates`` and ``plan_log``; where
        something is short also ``shortfalls`` and ``remedies``.

    Raises
    ------
    InputError
        If the file or an argument is not allowed or the results folder cannot be used.
    points.PointsFailed
        If a run raised; runs that finished are kept.
    """
    request = read_request(None if file is None else Path(file), options)
    draws = worlds_of(profile, one_world)
    base = base_plan(request, draws)
    base = replace(base, name=base.name + ("-quick" if quick else ""))
    return carry_out(
        planning.STUDY,
        base,
        folder_of(base.name, out),
        figures=figures,
        request=request,
        effort=effort_of(quick, over_worlds=draws is not None, from_log=request.from_log),
        profile=draws,
        workers=workers,
        on_progress=on_progress,
    )


def check_evidence(
    *,
    values: Mapping[str, Value] | None = None,
    teeth: bool = False,
    keys: Sequence[str] | None = None,
    seed: int | None = None,
    out: str | Path | None = None,
    workers: int | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> StudyResult:
    """Live the published experiments and count the numbers that come out.

    Parameters
    ----------
    values : mapping, optional
        Values of the biology in place of the defaults.
    teeth : bool
        Move every value of the biology alone to both ends of its range as well (some 15 minutes).
    keys : sequence of str, optional
        With `teeth`: these values only.
    seed : int, optional
        Seed of the runs; default 1.
    out : str or Path, optional
        Results folder; default ``results/evidence`` below the working folder.
    workers, figures
        As for :func:`breakeven`.
    on_progress : callable
        Called with the number of experiments lived.

    Returns
    -------
    StudyResult
        Tables ``evidence`` (one row a published number), ``keepers`` and ``keepers_grid``; with
        `teeth` also ``informed``.

    Raises
    ------
    InputError
        If an argument is not allowed or the results folder cannot be used.
    """
    return published.run_evidence(
        folder_of(published.NAME, out), values=dict(values or {}),
        seed=whole("seed", seed, 0, LARGEST_SEED, 1), workers=workers, bite=teeth, keys=keys,
        figures=figures, on_progress=on_progress,
    )  # fmt: skip


def published_worlds() -> Worlds:
    """The sets of values and structures that the published experiments allow.

    Returns
    -------
    Worlds
        Joint draws, each with a strain of its own; ``.frame()`` has one row a world and one column
        a value. They are a `profile` for every study, as `"published"` is.
    """
    return read_worlds(SHIPPED)


def simulate_policy(
    experiment: Experiment | str | Path,
    policy: str | None = None,
    *,
    seed: int | None = None,
    days: int | None = None,
    profile: Worlds | str | Path | None = None,
    draw: int | None = None,
    keeper: MakeKeeper | str | None = None,
) -> RunRecord:
    """Simulate one policy once, in this process, and write nothing.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    policy : str, optional
        Name of the policy; default: the baseline.
    seed : int, optional
        Seed of the run; default: that of replicate 1 of the comparison.
    days : int, optional
        Simulated days; default: those of the file.
    profile : Worlds, str or Path, optional
        Fitted biology of one colony, or its file.
    draw : int, optional
        Number of a draw of the profile; default: the central one, nearest the middle of all.
    keeper : class or str, optional
        A keeper of one's own, as in :func:`compare`; here a class of a notebook will do as well.

    Returns
    -------
    RunRecord
        Its ``daily``, ``bins_daily`` and ``bin_log`` tables and ``died_out_day``.

    Raises
    ------
    InputError
        If the file or an argument is not allowed.
    """
    from colony_sim.colony import simulate

    experiment, fitted = _asked(experiment), profile_of(profile)
    run = single(experiment, policy=policy, seed=seed, days=days, profile=fitted, draw=draw)
    compile_kernels()
    keeper = own_keeper(keeper) if isinstance(keeper, str) else keeper
    return simulate.simulate(run.scenario, record_bins=True, keeper=keeper)


def _asked(
    experiment: Experiment | str | Path, keeper: MakeKeeper | str | None = None
) -> Experiment:
    found = experiment if isinstance(experiment, Experiment) else load(experiment)
    return found if keeper is None else replace(found, keeper=own_keeper(keeper))


def _plan(
    experiment: Experiment | str | Path,
    ending: str,
    *,
    profile: Worlds | str | Path | None,
    keeper: MakeKeeper | str | None,
    **options: Any,
) -> Plan:
    return study_plan(_asked(experiment, keeper), ending, profile=profile_of(profile), **options)
