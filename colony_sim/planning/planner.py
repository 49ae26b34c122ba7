"""From a request to a year's plan: search, fresh seeds, bins, dates, purchases, cold spells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import simulate
from colony_sim.experiment.files import Policy
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.plan import Plan, named, replicate_seeds
from colony_sim.experiment.worlds import Worlds
from colony_sim.planning import room
from colony_sim.planning.ahead import FEW, FREE, PAIRED, expected_runs, is_cold, runs_after
from colony_sim.planning.choose import Chosen, Effort, choose
from colony_sim.planning.cold import WARM_C, Spell, mark, spells
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.luck import Luck, luck
from colony_sim.planning.purchases import purchases
from colony_sim.planning.remedies import remedies, try_remedies
from colony_sim.planning.request import Request
from colony_sim.planning.residence import Bins, bins_needed, unhurried
from colony_sim.planning.shortfall import Reach, reach, shortfalls
from colony_sim.planning.startup import startup
from colony_sim.planning.trials import trial_table
from colony_sim.planning.wants import Have, Want
from colony_sim.planning.weeks import in_the_middle, week_table
from colony_sim.running.executor import open_executor
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store


@dataclass(frozen=True)
class YearPlan:
    """A finished plan.

    Attributes
    ----------
    request : Request
    plan : Plan
        For the manifest: the chosen handling as its one policy.
    chosen : Chosen
    bins : Bins
    reach : Reach
    luck : Luck or None
        What differs between runs, parted into luck and worlds; None in one world.
    startup, months, weeks, candidates : DataFrame
        See `startup`, `purchases`, `week_table` with `mark`, `trial_table`.
    shortfalls, remedies : DataFrame or None
        Where something is short.
    spells : list of Spell
        Weeks that the cold starves.
    log : DataFrame
        Bin log of the run in the middle.
    log_seed : int
        Its seed.
    """

    request: Request
    plan: Plan
    chosen: Chosen
    bins: Bins
    reach: Reach
    luck: Luck | None
    startup: pd.DataFrame
    months: pd.DataFrame
    weeks: pd.DataFrame
    candidates: pd.DataFrame
    shortfalls: pd.DataFrame | None
    remedies: pd.DataFrame | None
    spells: list[Spell]
    log: pd.DataFrame
    log_seed: int

    @property
    def is_met(self) -> bool:
        """Whether at least the share of fresh runs asked for met the want within the minutes.

        Each lives in a world of its own, if there are worlds enough: the share is then over what
        nobody knows as well as over chance.
        """
        return self.chosen.met.value >= self.request.want.probability


def base_plan(request: Request, profile: Worlds | None = None) -> Plan:
    """The plan of runs on which candidates are laid: one policy, the room, the founders.

    Values of the biology that the plan file gives are the keeper's own and are not drawn; handling
    that nobody chooses is drawn with the worlds (see `experiment.hands`).
    """
    parameters = Parameters.default().with_values(request.biology, where="plan, biology")
    policies = (Policy("plan", parameters),)
    drawn = profile and profile.without(request.biology)
    plan = Plan(
        name=f"{named(request.name, profile)}-plan",
        question=f"Can this rack give {request.want.in_words}?",
        days=request.days,
        seeds=(),
        seed=request.seed,
        breeders=request.have.breeders,
        larvae=request.have.larvae,
        baseline="plan",
        climate=request.climate,
        policies=policies,
        text=request.text,
        profile=drawn and with_hands(drawn, policies),
        invented=request.invented,
        house=request.house,
    )
    plan.check_draws()
    return plan


def make_plan(
    request: Request,
    folder: Path,
    effort: Effort,
    *,
    profile: Worlds | None = None,
    workers: int | None = None,
    executor: Executor | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> YearPlan:
    """Find a plan, or what is short.

    Parameters
    ----------
    request : Request
    folder : Path
        Results folder, held with ``folder.claim``; finished runs are kept there.
    effort : Effort
    profile : Worlds, optional
        Worlds: run number r lives in world r (after the last the first comes again).
    workers, executor
        As for ``executor.run_points``.
    on_progress : callable
        Told how far all runs are that are expected.

    Raises
    ------
    InputError
        If a value is not allowed.
    points.PointsFailed
        If a run raised.
    """
    plan = base_plan(request, profile)
    numbers = replicate_seeds(request.seed, effort.all_seeds + effort.again)
    seeds = tuple(enumerate(numbers, start=1))
    with open_store(folder) as store:
        if executor is not None:
            forecaster = Forecaster(plan, request.start.isoformat(), store, executor, on_progress)
            return _make(request, plan, forecaster, seeds, effort)
        with open_executor(workers) as own:
            forecaster = Forecaster(plan, request.start.isoformat(), store, own, on_progress)
            return _make(request, plan, forecaster, seeds, effort)


def _make(
    request: Request, plan: Plan, forecaster: Forecaster, seeds: Seeds, effort: Effort
) -> YearPlan:
    want, have = request.want, request.have
    others = [seed for _, seed in seeds[effort.all_seeds :]]
    seeds = seeds[: effort.all_seeds]
    forecaster.whole.total = expected_runs(effort, request.climate, None)
    chosen = choose(want, have, request.climate, forecaster, seeds, effort, request.seed)
    forecast = chosen.forecast
    by_seed = {seed: number for number, seed in seeds}
    fresh = tuple((by_seed[seed], seed) for seed in forecast.seeds)
    met = chosen.met.value >= want.probability
    forecaster.whole.expect(runs_after(effort, request.climate, not met))
    parted = _luck(plan, chosen, want, have, forecaster, fresh, others)
    paired = fresh[:PAIRED]
    free = forecaster.run([unhurried(forecast.case)], paired[:FREE])[0]
    bins = bins_needed(forecast, want.after_days, free)
    middle = forecast.seeds[in_the_middle(forecast)]
    record = simulate(forecaster.scenario(forecast.case, by_seed[middle], middle))
    weeks = week_table(forecast, want, request.start, bins.growth, record.bin_log)
    warm = _warm(forecast.case, forecaster, paired, request, bins, record.bin_log)
    # A week is due once the first four weeks that must be met are over.
    weeks = mark(weeks, warm, want.probability, want.after_days)
    cold = spells(weeks, want.grams_per_day)
    short = helped = None
    if not met or cold:
        base = Forecast(forecast.case, forecast.seeds[:PAIRED], forecast.outcomes[:PAIRED])
        what = remedies(forecast.case, chosen.choice, chosen.levels, have.bins, request.days)
        helped = try_remedies(base, what, want, have, forecaster, paired)
    if not met:
        few = paired[: max(2, min(effort.seeds, FEW))]
        short = shortfalls(chosen, want, have, forecaster, few, paired)
    return YearPlan(
        request=request,
        plan=_of_the_chosen(plan, forecast, fresh),
        chosen=chosen,
        bins=bins,
        reach=reach(forecast, want),
        luck=parted,
        startup=startup(forecast, want, request.start),
        months=purchases(forecast, request.start),
        weeks=weeks,
        candidates=trial_table(chosen, want, have),
        shortfalls=short,
        remedies=helped,
        spells=cold,
        log=record.bin_log,
        log_seed=middle,
    )


def _warm(
    case: Case,
    forecaster: Forecaster,
    seeds: Seeds,
    request: Request,
    bins: Bins,
    log: pd.DataFrame,
) -> pd.DataFrame | None:
    """Weeks of the same handling in the same room kept warm; None where it is warm all year."""
    if not is_cold(case.climate):
        return None
    warm = replace(case, climate=room.at_least(case.climate, WARM_C, request.days))
    forecast = forecaster.run([warm], seeds)[0]
    return week_table(forecast, request.want, request.start, bins.growth, log)


def _luck(
    plan: Plan,
    chosen: Chosen,
    want: Want,
    have: Have,
    forecaster: Forecaster,
    fresh: Seeds,
    others: Sequence[int],
) -> Luck | None:
    """Part what is uncertain; some worlds of the fresh runs are lived once more for it."""
    if plan.profile is None:
        return None
    forecasts, runs = [chosen.forecast], [*fresh]
    worlds = [plan.world(number) for number, _ in fresh]
    if others and len(set(worlds)) == len(worlds):
        # The same worlds come again under numbers that no other run has.
        draws = len(plan.profile.draws)
        later = draws * (1 + max(number for number, _ in fresh) // draws)
        again = [(n + later, seed) for (n, _), seed in zip(fresh, others, strict=False)]
        forecasts += forecaster.run([chosen.forecast.case], again)
        runs += again
    return luck(
        [plan.world(number) for number, _ in runs],
        np.concatenate([forecast.missing(want) for forecast in forecasts]),
        np.concatenate([forecast.met(want, have) for forecast in forecasts]),
    )


def _of_the_chosen(plan: Plan, forecast: Forecast, fresh: Seeds) -> Plan:
    values = {k: v for k, v in forecast.case.values.items() if not k.startswith("start.")}
    policy = Policy("plan", plan.policies[0].parameters.with_values(values, where="plan"))
    return replace(
        plan,
        policies=(policy,),
        seeds=forecast.seeds,
        worlds=tuple(plan.world(number) for number, _ in fresh) if plan.profile else (),
        breeders=int(forecast.case.values["start.breeders"]),
    )
