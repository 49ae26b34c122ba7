"""From a request to a year's plan: search, fresh seeds, bins, dates, purchases, cold spells."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.assimilation.ensemble import Ensemble
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.errors import ARGUMENT, InputError
from colony_sim.experiment.files import Policy
from colony_sim.experiment.hands import with_hands
from colony_sim.experiment.plan import Plan, named, replicate_seeds
from colony_sim.experiment.worlds import Worlds
from colony_sim.planning import candidates
from colony_sim.planning.ahead import FEW, FREE, PAIRED, expected, runs_after
from colony_sim.planning.check import Check, advised_of, check
from colony_sim.planning.choose import Chosen, Effort, choose
from colony_sim.planning.cold import Spell, mark, spells, warm_room
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.log_members import nearest
from colony_sim.planning.luck import Luck, luck
from colony_sim.planning.measuring import PlanMeasuring
from colony_sim.planning.purchases import purchases
from colony_sim.planning.rack_now import FromRack, handling_of
from colony_sim.planning.remedies import fed, remedies, try_remedies
from colony_sim.planning.request import Request
from colony_sim.planning.residence import Bins, bins_needed, unhurried
from colony_sim.planning.shortfall import Reach, reach, shortfalls
from colony_sim.planning.startup import startup
from colony_sim.planning.trials import trial_table
from colony_sim.planning.troughs import BEETLES, bought, buying_days
from colony_sim.planning.wants import Have, Want
from colony_sim.planning.weeks import in_the_middle, week_table
from colony_sim.running.executor import open_executor
from colony_sim.running.protocol import Executor
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store

ODD = 0.05
"""How often a possible colony's own log is as far off, below which the log is called odd."""


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
    warm_c : float or None
        Least temperature (C) of the warm room that the plan is held against.
    spells : list of Spell
        Cold weeks.
    checked : Check or None
        The advice, lived again where nothing was chosen.
    odd : bool or None
        Whether no possible colony is likely to write the log; None without a log.
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
    warm_c: float | None
    spells: list[Spell]
    checked: Check | None
    odd: bool | None
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
    on_first: Callable[[Forecast], object] = lambda forecast: None,
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
    on_first : callable
        Told what the usual handling came to in the first runs.
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
    count = effort.all_seeds + effort.again + effort.check
    numbers = replicate_seeds(request.seed, count)
    measuring = PlanMeasuring(request.start.isoformat())
    odd = None
    with ExitStack() as stack:
        own = executor or stack.enter_context(open_executor(workers))
        if request.rack is not None:
            measuring = _from_rack(request, measuring.start)
            if request.from_log:
                plan, numbers, odd = _near_the_log(
                    request, plan, measuring, count, own, on_progress
                )
        store = stack.enter_context(open_store(folder))
        forecaster = Forecaster(plan, measuring, store, own, on_progress)
        seeds = tuple(enumerate(numbers, start=1))
        return _make(request, plan, forecaster, seeds, effort, on_first, odd)


def _from_rack(request: Request, start: str) -> FromRack:
    """Runs go on from the bins that are there, which were handled as is usual."""
    assert request.rack is not None
    of = candidates.levels(request.have, given=True)
    usual = candidates.values(candidates.usual(of), of, request.have)
    return FromRack(start, request.rack, handling_of(usual))


def _near_the_log(
    request: Request,
    plan: Plan,
    measuring: FromRack,
    count: int,
    executor: Executor,
    on_progress: Callable[[Progress], None],
) -> tuple[Plan, tuple[int, ...], bool]:
    """The plan in the worlds nearest to its log, their seeds, and whether no world fits it."""
    rack = measuring.rack
    if plan.profile is None:
        allowed = "possible colonies, of which those like yours are taken"
        raise InputError(ARGUMENT, "one_world", True, f"not together with a log: {allowed}")
    if len(plan.profile.draws) < count:
        raise InputError(
            ARGUMENT, "profile", f"{len(plan.profile.draws)} draws", f"at least {count}"
        )
    rules = {**dict(measuring.logged), "rack.bins": request.have.bins,
             "rack.bin_area_dm2": request.have.bin_area_dm2}  # fmt: skip
    base = as_lived(plan.policies[0].parameters.with_values(rules, "log"), request.climate)
    ensemble = Ensemble(
        rack.schedule, rack.today, base, plan.profile, (*rack.temperatures, 0.0), request.seed
    )
    worlds, seeds, found = nearest(ensemble, count, executor, on_progress)
    return replace(plan, profile=worlds), seeds, found is not None and found.p < ODD


def _make(
    request: Request,
    plan: Plan,
    forecaster: Forecaster,
    seeds: Seeds,
    effort: Effort,
    on_first: Callable[[Forecast], object],
    odd: bool | None,
) -> YearPlan:
    want, have = request.want, request.have
    rest = effort.all_seeds + effort.again
    others, unseen = [seed for _, seed in seeds[effort.all_seeds : rest]], seeds[rest:]
    seeds = seeds[: effort.all_seeds]
    ahead = expected(effort, request, None)
    forecaster.whole.total, forecaster.whole.total_cost = ahead.runs, ahead.cost
    chosen = choose(
        want, have, request.climate, forecaster, seeds, effort, request.seed, on_first,
        given=request.rack is not None,
    )  # fmt: skip
    forecast = chosen.forecast
    by_seed = {seed: number for number, seed in seeds}
    fresh = tuple((by_seed[seed], seed) for seed in forecast.seeds)
    met = chosen.met.value >= want.probability
    forecaster.whole.expect(runs_after(effort, request, not met))
    parted = _luck(plan, chosen, want, have, forecaster, fresh, others)
    paired = fresh[:PAIRED]
    free = forecaster.run([unhurried(forecast.case)], paired[:FREE])[0]
    bins = bins_needed(forecast, want.after_days, free)
    middle = forecast.seeds[in_the_middle(forecast)]
    record = forecaster.record(forecast.case, by_seed[middle], middle)
    weeks = week_table(forecast, want, request.start, bins.growth, record.bin_log)
    few = paired[: max(2, min(effort.seeds, FEW))]

    def fed_of(cases: Sequence[Case]) -> list[float]:
        return [float(fed(tried, want).mean()) for tried in forecaster.run(cases, few)]

    warm = warm_room(forecast.case, request.days, fed_of)
    # A week is due once the first four weeks that must be met are over.
    in_the_warm = warm and week_table(
        forecaster.run([warm.case], paired)[0], want, request.start, bins.growth, record.bin_log
    )
    weeks = mark(weeks, in_the_warm, want.probability, want.after_days)
    cold = spells(weeks, want.grams_per_day)
    short = helped = None
    advice = None
    if not met or cold:
        base = Forecast(forecast.case, forecast.seeds[:PAIRED], forecast.outcomes[:PAIRED])
        days = buying_days(weeks, request.start, bins.first) if math.isfinite(bins.first) else ()
        bought_in_time = bought(forecast.case, days, have.breeders or BEETLES, fed_of)
        what = remedies(
            forecast.case, chosen.choice, chosen.levels, warm, bought_in_time, request.start
        )
        helped = try_remedies(base, what, want, have, forecaster, paired)
        if not met:
            advice = advised_of(what, helped)
    if not met:
        short = shortfalls(chosen, want, have, forecaster, few, paired)
    checked = check(advice, forecast, paired, unseen, want, have, forecaster)
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
        warm_c=None if warm is None else warm.floor,
        spells=cold,
        checked=checked,
        odd=odd,
        log=record.bin_log,
        log_seed=middle,
    )


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
        breeders=int(forecast.case.values.get("start.breeders", 0)),
    )
