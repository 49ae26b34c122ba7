"""The library in three lines.

>>> from colony_sim import load, compare
>>> result = compare(load("experiments/rotation.toml"))  # doctest: +SKIP
>>> print(result.verdict)  # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from colony_sim.colony.own_keeper import MakeKeeper, own_keeper
from colony_sim.experiment.files import Experiment, load
from colony_sim.experiment.plan import expand, single
from colony_sim.experiment.profile import Profile, read_profile
from colony_sim.running.runner import Progress, compile_kernels
from colony_sim.studies.comparison.run import Comparison, RunsFailed, compare_plan
from colony_sim.studies.sweep.run import Sweep, plan_sweep, run_sweep

if TYPE_CHECKING:
    from colony_sim.colony.simulate import RunRecord

__all__ = ["Comparison", "Experiment", "RunsFailed", "compare", "load", "simulate_policy", "sweep"]


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
    assumptions: bool = True,
    profile: Profile | str | Path | None = None,
    keeper: MakeKeeper | str | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> Comparison:
    """Run every policy of an experiment with the same seeds and compare them.

    Parameters
    ----------
    experiment : Experiment, str or Path
        From :func:`load`, or the file itself.
    out : str or Path, optional
        Results folder; default ``results/<name>`` below the working folder.
    quick : bool
        Fewer days and replicates, as the file says; results in ``results/<name>-quick``.
    replicates, seed : int, optional
        Take these in place of the values of the file.
    workers : int, optional
        Worker processes; default one per core. The results do not depend on it.
    fresh : bool
        Run again what is finished already.
    figures : bool
        Draw the figures as well.
    assumptions : bool
        Look for the assumptions that the verdict leans on most (never if `quick`); takes a
        minute or two.
    profile : Profile, str or Path, optional
        Fitted biology of one colony, or its file: one draw for each replicate. The results folder
        is then ``results/<name>-<name of the profile>``.
    keeper : class or str, optional
        A keeper of one's own under every policy (see `colony.own_keeper.KeeperLike`): a class of a
        module or file, or its name, ``module:Class`` or ``rules.py:Class``. The digest of its
        source is part of the key of stored runs.
    on_progress : callable
        Called with the number of finished runs and the seconds left.

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
    if not isinstance(experiment, Experiment):
        experiment = load(experiment)
    if keeper is not None:
        experiment = replace(experiment, keeper=own_keeper(keeper))
    fitted = _fitted(profile)
    plan = expand(experiment, quick=quick, replicates=replicates, seed=seed, profile=fitted)
    folder = Path(out) if out is not None else Path("results") / plan.name
    draw = None
    if figures:
        from colony_sim.commands.compare import draw
    return compare_plan(
        plan,
        folder,
        workers=workers,
        fresh=fresh,
        on_progress=on_progress,
        draw=draw,
        assumptions=assumptions and not quick,
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
    profile: Profile | str | Path | None = None,
    figures: bool = True,
    on_progress: Callable[[Progress], None] = lambda progress: None,
    **options: object,
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
    profile : Profile, str or Path, optional
        Fitted biology of one colony, or its file: one draw for each replicate.
    figures : bool
        Draw the main figure as well.
    on_progress : callable
        Called with the number of finished runs and the seconds left.
    **options
        ``design``, ``points``, ``design_seed``, ``replicates``, ``seed``, ``policy``, ``quick``,
        ``until``, ``least`` and ``most``, as on the command line.

    Returns
    -------
    Sweep
        ``sweep.table("sweep")`` has one row a run; runs that failed are among them.

    Raises
    ------
    InputError
        If the file or an argument is not allowed, at any point of the design.
    """
    if not isinstance(experiment, Experiment):
        experiment = load(experiment)
    plan = plan_sweep(experiment, vary=vary, profile=_fitted(profile), **options)
    folder = Path(out) if out is not None else Path("results") / plan.plan.name
    draw = None
    if figures:
        from colony_sim.commands.sweep import draw
    return run_sweep(
        plan, folder, workers=workers, cluster=cluster, on_progress=on_progress, draw=draw
    )


def simulate_policy(
    experiment: Experiment | str | Path,
    policy: str | None = None,
    *,
    seed: int | None = None,
    days: int | None = None,
    profile: Profile | str | Path | None = None,
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
    profile : Profile, str or Path, optional
        Fitted biology of one colony, or its file.
    draw : int, optional
        Number of a draw of the profile; default: its medians.
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

    if not isinstance(experiment, Experiment):
        experiment = load(experiment)
    fitted = _fitted(profile)
    run = single(experiment, policy=policy, seed=seed, days=days, profile=fitted, draw=draw)
    compile_kernels()
    keeper = own_keeper(keeper) if isinstance(keeper, str) else keeper
    return simulate.simulate(run.scenario, record_bins=True, keeper=keeper)


def _fitted(profile: Profile | str | Path | None) -> Profile | None:
    return profile if profile is None or isinstance(profile, Profile) else read_profile(profile)
