"""Choose the handling: a design over all levels, steps to neighbours, finalists, fresh seeds.

Every candidate runs from the first beetles through start-up and steady running, over the same
seeds, each in the same world (the replicate with number r lives in world r; after the last world
the first comes again). The first stages run fewer years in few worlds; only the finalists run all
(successive halving: Karnin, Koren & Somekh 2013; from memory). A candidate promises to meet the
want if the next run's poorest stretch would reach
reach
it with the probability asked for (`chance.next_run`), and likewise stay within the minutes. Of
those that promise it, the one with the least work is taken; work within 3 % counts as equal, and
then the fewest beetles to start with, then the fewest bins decide. Where none promises it, the one
is taken that lacks least, summed over all stretches (`shortage`). The chosen one is run again on
fresh seeds, in worlds that the search has not seen, and only these count: the best of many is
flattered by the seeds and the worlds it was chosen on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from colony_sim.biology.climate import Climate
from colony_sim.planning import candidates
from colony_sim.planning.candidates import Choice, Levels
from colony_sim.planning.chance import Share, next_run, share
from colony_sim.planning.forecast import Case, Forecast, Forecaster, Seeds
from colony_sim.planning.wants import YEAR_STRETCHES, Have, Want, stretches

SAME_WORK = 1.03
MOST_NEIGHBOURS = 14
"""About as many neighbours as a candidate has that were not tried before."""


@dataclass(frozen=True)
class Effort:
    """How much is run.

    Attributes
    ----------
    designed : int
        Candidates of the first design.
    first_seeds, seeds, fresh : int
        Seeds of a candidate at first, of a finalist, and fresh ones of the chosen.
    parents : tuple of int
        Candidates whose neighbours are tried, round by round.
    finalists, attempts : int
        Candidates run on `seeds`; those of them that may be tried on fresh seeds.
    again : int
        Worlds of the chosen one's fresh runs that are lived once more with another seed.
    check : int
        Further runs, of what is advised in the end, on seeds that nothing was chosen on.
    years : int
        Years that a candidate runs before it is a finalist; finalists run all years of the plan.
    """

    designed: int = 16
    first_seeds: int = 2
    seeds: int = 8
    fresh: int = 40
    parents: tuple[int, ...] = (1, 1)
    finalists: int = 4
    attempts: int = 2
    again: int = 0
    check: int = 20
    years: int = 2

    @property
    def all_seeds(self) -> int:
        """Seeds of the search and of all attempts; then come those of `again` and of `check`."""
        return self.seeds + self.attempts * self.fresh

    @property
    def quick_runs(self) -> int:
        """Runs before the finalists, of fewer years, if every neighbour is new."""
        return self.first_seeds * (self.designed + MOST_NEIGHBOURS * sum(self.parents))

    @property
    def most_runs(self) -> int:
        """Runs of the search and of one attempt, if every neighbour is new."""
        return self.quick_runs + self.finalists * self.seeds + self.fresh + self.again


QUICK = Effort(designed=8, seeds=3, fresh=8, parents=(1,), finalists=2, attempts=1, check=6)
OVER_WORLDS = Effort(
    designed=10, first_seeds=3, seeds=6, fresh=32, parents=(1,), finalists=3, again=8, check=12
)
"""Over worlds candidates differ less than worlds do: fewer of them, each in more worlds."""
QUICK_OVER_WORLDS = Effort(
    designed=6, first_seeds=2, seeds=5, fresh=10, parents=(1,), finalists=2, attempts=1, check=6
)

FROM_LOG = Effort(
    designed=10, first_seeds=3, seeds=6, fresh=30, parents=(1,), finalists=3, attempts=1, check=12
)
QUICK_FROM_LOG = Effort(
    designed=6, first_seeds=2, seeds=4, fresh=10, parents=(1,), finalists=2, attempts=1, check=6
)
"""A plan from a log lives only in worlds that are near to the log, each of them once."""


def effort_of(quick: bool, over_worlds: bool, from_log: bool = False) -> Effort:
    """What is run at full or reduced size, in one world, over many, or over those near a log."""
    if from_log:
        return QUICK_FROM_LOG if quick else FROM_LOG
    if over_worlds:
        return QUICK_OVER_WORLDS if quick else OVER_WORLDS
    return QUICK if quick else Effort()


@dataclass(frozen=True)
class Tried:
    """A candidate and what it came to on the seeds of the search."""

    choice: Choice
    forecast: Forecast
    stage: str


@dataclass(frozen=True)
class Attempt:
    """A candidate on fresh seeds."""

    choice: Choice
    forecast: Forecast
    met: Share


@dataclass(frozen=True)
class Chosen:
    """What the search found.

    Attributes
    ----------
    levels : Levels
    tried : tuple of Tried
        All candidates; finalists with all seeds of the search.
    promised : bool
        Whether a candidate promised to meet the want on the seeds of the search.
    attempts : tuple of Attempt
        On fresh seeds; the one that met the want in most runs counts, of equals the first.
    """

    levels: Levels
    tried: tuple[Tried, ...]
    promised: bool
    attempts: tuple[Attempt, ...]

    @property
    def best(self) -> Attempt:
        """The attempt that counts."""
        return max(self.attempts, key=lambda attempt: attempt.met.value)

    @property
    def choice(self) -> Choice:
        """The handling chosen."""
        return self.best.choice

    @property
    def forecast(self) -> Forecast:
        """What it came to on fresh seeds."""
        return self.best.forecast

    @property
    def met(self) -> Share:
        """Fresh runs that met the want within the minutes."""
        return self.best.met


def lacking(forecast: Forecast, want: Want, have: Have) -> float:
    """How far a candidate is from promising the want: 0 where it does.

    Share of the want that the next run would lack, plus the share of the minutes it is over.
    """
    p = want.probability
    grams = next_run(forecast.sure(want.after_days), p)
    lack = max(0.0, 1.0 - grams / want.grams_per_day)
    if have.minutes_per_week is not None:
        minutes = -next_run(-forecast.minutes(want.after_days), p)
        lack += max(0.0, minutes / have.minutes_per_week - 1.0)
    return lack


def shortage(forecast: Forecast, want: Want, have: Have) -> float:
    """What a candidate lacks over all: 0 where every stretch of every run is fed in time.

    Share of the want that a stretch lacks, mean over stretches and runs, plus the share of the
    minutes that a run is over.
    """
    lack = 1.0 - forecast.stretch_yields(want.after_days) / want.grams_per_day
    total = float(np.maximum(lack, 0.0).mean())
    if have.minutes_per_week is not None:
        over = forecast.minutes(want.after_days) / have.minutes_per_week - 1.0
        total += float(np.maximum(over, 0.0).mean())
    return total


def rank(forecast: Forecast, want: Want, have: Have) -> tuple[float, float, float]:
    """Order of candidates; less is better.

    Those that promise the want come first, by their minutes a week; the others follow by what
    they lack over all, then by what they are short of a promise.
    """
    lack = lacking(forecast, want, have)
    if lack == 0:
        return -1.0, 0.0, float(forecast.minutes(want.after_days).mean())
    return shortage(forecast, want, have), lack, float(forecast.minutes(want.after_days).mean())


def choose(
    want: Want,
    have: Have,
    climate: Climate,
    forecaster: Forecaster,
    seeds: Seeds,
    effort: Effort,
    design_seed: int,
    early: Callable[[Forecast], object] = lambda forecast: None,
    given: bool = False,
) -> Chosen:
    """Search the handling and run the chosen one again on fresh seeds.

    Parameters
    ----------
    want, have : Want, Have
    climate : Climate
    forecaster : Forecaster
    seeds : sequence of (int, int)
        ``effort.all_seeds`` of them; those after the first ``effort.seeds`` are the fresh ones.
    effort : Effort
    design_seed : int
        Of the design; same seed, same candidates.
    early : callable
        Told what the usual handling, the first candidate, came to.
    given : bool
        Whether beetles and bins are those that are there, and no matter of choice.
    """
    of = candidates.levels(have, given)
    first = seeds[: effort.first_seeds]
    tried: dict[Choice, Tried] = {}
    short = effort.years * 365
    if stretches(want.after_days, short) < YEAR_STRETCHES:
        short = forecaster.days

    def run(choices: Sequence[Choice], pairs: Seeds, stage: str, days: int | None = None) -> None:
        cases = [Case(candidates.values(choice, of, have), climate) for choice in choices]
        for choice, forecast in zip(choices, forecaster.run(cases, pairs, days), strict=True):
            tried[choice] = Tried(choice, forecast, stage)

    def best(count: int) -> list[Choice]:
        order = sorted(tried, key=lambda c: (*rank(tried[c].forecast, want, have), c))
        return order[:count]

    design = candidates.design(of, effort.designed, design_seed)
    run(design[:1], first, "first look", short)
    early(tried[design[0]].forecast)
    run(design[1:], first, "first look", short)
    for count in effort.parents:
        near = [n for parent in best(count) for n in candidates.neighbours(parent, of)]
        new = [choice for choice in dict.fromkeys(near) if choice not in tried]
        if new:
            run(new, first, "nearby", short)
    finalists = best(effort.finalists)
    run(finalists, seeds[: effort.seeds], "finalists")
    order = _order(finalists, tried, want, have)
    promised = [c for c in order if lacking(tried[c].forecast, want, have) == 0]
    attempts: list[Attempt] = []
    # One that only came close is tried once, so that what it lacks is told without flattery.
    for number, choice in enumerate(order[: effort.attempts if promised else 1]):
        begin = effort.seeds + number * effort.fresh
        fresh = seeds[begin : begin + effort.fresh]
        case = Case(candidates.values(choice, of, have), climate)
        forecast = forecaster.run([case], fresh)[0]
        attempts.append(Attempt(choice, forecast, share(forecast.met(want, have))))
        if attempts[-1].met.value >= want.probability:
            break
    return Chosen(of, tuple(tried.values()), bool(promised), tuple(attempts))


def _order(
    finalists: Sequence[Choice], tried: dict[Choice, Tried], want: Want, have: Have
) -> list[Choice]:
    """Whom to try on fresh seeds: the least work that promises, then the surest of the rest."""

    def minutes(choice: Choice) -> float:
        return float(tried[choice].forecast.minutes(want.after_days).mean())

    def beetles_and_bins(choice: Choice) -> tuple[int, float]:
        forecast = tried[choice].forecast
        return int(forecast.case.values.get("start.breeders", 0)), float(
            np.mean(forecast.weeks("bins"))
        )

    promise = [c for c in finalists if lacking(tried[c].forecast, want, have) == 0]
    surest = sorted(
        finalists,
        key=lambda c: (
            lacking(tried[c].forecast, want, have),
            -next_run(tried[c].forecast.sure(want.after_days), want.probability),
            c,
        ),
    )
    if not promise:
        return sorted(finalists, key=lambda c: (*rank(tried[c].forecast, want, have), c))
    least = min(map(minutes, promise))
    level = [c for c in promise if minutes(c) <= SAME_WORK * least]
    winner = min(level, key=lambda c: (*beetles_and_bins(c), minutes(c), c))
    return [winner, *(c for c in surest if c != winner)]
