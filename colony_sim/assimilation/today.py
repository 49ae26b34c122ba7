"""From a log to what is in each bin today and in the weeks to come."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.assimilation import lived
from colony_sim.assimilation.checkpoint import Kept
from colony_sim.assimilation.conditioning import (
    Draws,
    Kind,
    Nearness,
    adjust,
    kernel,
    near_of,
    near_of_kept,
)
from colony_sim.assimilation.courses import COURSES, Courses
from colony_sim.assimilation.ensemble import Ensemble, Lived, live, live_on
from colony_sim.assimilation.misfit import Misfit, misfit
from colony_sim.assimilation.onward import Course
from colony_sim.assimilation.remembered import (
    FOLDER,
    fitting_index,
    tried_before,
    write_index,
    write_tried,
)
from colony_sim.logs import observe
from colony_sim.running.chunks import executor_of
from colony_sim.running.runner import Progress

MEMBERS = 400
"""Possible colonies that live the log; as many as a minute on two cores allows for a year of it."""
FIRST = 96
"""Of these, as many as a first state is told from."""
OTHERWISE = 32
"""Members that live on with each other course."""
KINDS = {
    "contents": Kind(), "rack": Kind(), "larvae": Kind(), "rack_larvae": Kind(),
    "harvest_g": Kind(), "harvested_g": Kind(), "large_g": Kind(),
    "firsts": Kind(log=False, least=1.0, most=float(lived.NEVER)),
    "beetles": Kind(), "hatched": Kind(), "move": Kind(log=False, least=1.0, most=lived.NEVER),
}  # fmt: skip


Tell = Callable[[Progress], None]


@dataclass(frozen=True)
class First:
    """What is in the rack as far as it is known while others still live the log, or go on.

    Attributes
    ----------
    members, of : int
        How many have lived it, and how many will have.
    draws : Draws
        ``rack`` and ``rack_larvae`` of `quantities`.
    """

    members: int
    of: int
    draws: Draws


class _Whole:
    """Progress of all lives together, with the time left for all by what each stage costs.

    Parameters
    ----------
    stages : sequence of (int, float)
        Lives of each stage, and the cost of one.
    tell : callable
    """

    def __init__(self, stages: Sequence[tuple[int, float]], tell: Tell) -> None:
        self._stages, self._tell, self._at = list(stages), tell, 0
        self._reused = 0
        self._began = time.monotonic()

    def next(self, lives: int | None = None) -> Callable[[Progress], None]:
        """The callback of the next stage, of another number of lives than was expected."""
        at, self._at = self._at, self._at + 1
        if lives is not None:
            self._stages[at] = (lives, self._stages[at][1])
        before = self._reused

        def told(progress: Progress) -> None:
            self._reused = before + progress.reused
            lives = sum(count for count, _ in self._stages[:at]) + progress.done
            costs = [count * cost for count, cost in self._stages]
            done = sum(costs[:at]) + progress.done * self._stages[at][1]
            left = sum(costs) - done
            # What was in the store took no time, and tells nothing of the time that is left.
            lived_now = done - self._reused * self._stages[0][1]
            spent = time.monotonic() - self._began
            seconds = spent / lived_now * left if lived_now > 0 and lives else None
            total = sum(count for count, _ in self._stages)
            self._tell(Progress(lives, total, self._reused, 0, seconds))

        return told


@dataclass(frozen=True)
class State:
    """What a log says of today and of the weeks to come.

    Attributes
    ----------
    ensemble : Ensemble
    lived_members : int
        How many lived the log.
    resumed : bool
        Whether they were gone on from kept colonies: those nearest when last all were lived.
    draws : Draws
        See `quantities`.
    members : int array, shape (draws,)
        Member behind each draw.
    uses : float64 array, shape (bins, 4)
        See `lived.uses`; of the first of them, as the log is the same for all.
    known : float64 array, shape (slots, contents), or None
        Share of the spread that the log has taken away, on the scale of log(1 + x): 1 - standard
        deviation after / before it. NaN where nothing was unknown. None where resumed.
    known_overall : dict of str to float
        The same by quantity, over the bins in use.
    misfit : Misfit or None
    otherwise : Courses or None
        None where not asked for.
    """

    ensemble: Ensemble
    lived_members: int
    resumed: bool
    draws: Draws
    members: np.ndarray
    uses: np.ndarray
    known: np.ndarray | None
    known_overall: Mapping[str, float]
    misfit: Misfit | None
    otherwise: Courses | None


def assimilate(
    ensemble: Ensemble,
    members: int = MEMBERS,
    folder: Path | None = None,
    *,
    anew: bool = False,
    otherwise: bool = True,
    what_if: Course | None = None,
    workers: int = 1,
    on_first: Callable[[First], object] = lambda first: None,
    on_progress: Tell = lambda progress: None,
) -> State:
    """Let possible colonies live a log, and tell from their numbers what the keeper's say.

    Parameters
    ----------
    ensemble : Ensemble
    members : int
        How many live it.
    folder : Path, optional
        Results folder, where colonies are kept for a further row.
    anew : bool
        All of it, whatever is kept.
    otherwise : bool
        Try other courses as well.
    what_if : Course, optional
        A further one, which is tried beside the rules.
    workers : int
    on_first : callable
        Told a first state, before what comes is lived.
    on_progress : callable
        Told how far all of it is.

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
    """
    with ExitStack() as stack:
        if folder is None:
            home = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        else:
            home = folder / FOLDER
        index = None if anew else fitting_index(home, ensemble)
        others = COURSES[1:] if what_if is None else (*COURSES[1:], what_if)
        tries = len(others) if otherwise else 0
        whole = _Whole(_stages(ensemble, members, index, tries, what_if is not None), on_progress)
        executor = stack.enter_context(executor_of(workers))
        log = observe.features(ensemble.schedule, observe.on_paper(ensemble.schedule))[0]
        if index is None:
            kept = Kept(home / ensemble.kept_digest(ensemble.keep_day)[:16])

            def from_to(first: int, last: int) -> Lived:
                return live(
                    ensemble, range(first, last + 1), folder, kept=kept, save=kept,
                    executor=executor, on_progress=whole.next(),
                )  # fmt: skip

            found = from_to(1, _first_of(members))
            if len(found.members) < members:
                early = _weighed(ensemble, found, log, near_of(len(found.members)))
                on_first(_first_state(found, *early, log, members))
                found = found.and_those(from_to(len(found.members) + 1, members))
        else:
            kept = Kept(home / index["digest"][:16])
            found = live(
                ensemble, index["members"], folder, kept=kept, executor=executor,
                on_progress=whole.next(),
            )  # fmt: skip
        few = near_of(len(found.members)) if index is None else near_of_kept(index["lived"])
        features, weights = _weighed(ensemble, found, log, few)
        if index is not None:
            on_first(_first_state(found, features, weights, log, len(found.members)))
        near = weights > 0
        chosen = [int(member) for member in found.members[near]]
        ahead = live_on(
            ensemble, chosen, (lived.BY_THE_RULES,), folder, kept=kept, executor=executor,
            on_progress=whole.next(),
        )[0]  # fmt: skip
        tried = None
        if otherwise:
            share = weights[near]
            if index is not None and what_if is None:
                tried = tried_before(home, ensemble, index, chosen, share)
            if tried is None:
                some = np.argsort(-share, kind="stable")[:OTHERWISE]
                by_the_rules = {name: values[some] for name, values in ahead.items()}
                came = live_on(
                    ensemble, np.array(chosen)[some].tolist(), others, folder, kept=kept,
                    executor=executor, on_progress=whole.next(len(some)),
                )  # fmt: skip
                tried = Courses.of(
                    (COURSES[0], *others), ensemble.today, np.array(chosen)[some], share[some],
                    (by_the_rules, *came),
                )  # fmt: skip
            tried = tried.beside_log(found.members, features, log)
        wanted = quantities(found.contents[near], ahead)
        draws = adjust(features[near], wanted, KINDS, weights[near], log)
        if index is None:
            known = _known(found, draws)
            overall = _overall(known)
            kept.keep_only(set(chosen))
            if folder is not None:
                write_index(home, ensemble, chosen, len(found.members), overall)
        else:
            known, overall = None, index["known"]
        if folder is not None and tried is not None and what_if is None:
            write_tried(home, ensemble, tried)
        # Kept ones were the nearest when all were lived; all of them judge a further row.
        judged = misfit(ensemble.schedule, features[near] if index is None else features, log)
    return State(
        ensemble, len(found.members), index is not None, draws, np.array(chosen),
        found.uses[near][0], known, overall, judged, tried,
    )  # fmt: skip


def _stages(
    ensemble: Ensemble, members: int, index: Mapping[str, Any] | None, tries: int, anew: bool
) -> list[tuple[int, float]]:
    """Lives of each stage, and what one costs (days, those by the rules half as much again)."""
    last = ensemble.today - (ensemble.keep_day if index is None else int(index["day"]))
    near = near_of(members) if index is None else near_of_kept(index["lived"])
    on = last + 1.5 * lived.DAYS
    if index is None:
        first = _first_of(members)
        cost = float(max(ensemble.today, 1))
        found = [(first, cost), *([(members - first, cost)] if first < members else [])]
    else:
        found = [(len(index["members"]), float(max(last, 1)))]
    found.append((near, on))
    if not tries:
        return found
    # Those kept of other courses are likely to do.
    return [*found, (min(OTHERWISE, near) if index is None or anew else 0, tries * on)]


def _first_of(members: int) -> int:
    """How many live the log before a first state is told; all where little would be gained."""
    return FIRST if members >= 2 * FIRST else members


def _weighed(
    ensemble: Ensemble, found: Lived, log: np.ndarray, near: int
) -> tuple[np.ndarray, np.ndarray]:
    """Features and weights of members, of which so many count."""
    features = observe.features(ensemble.schedule, found.written)
    return features, weights_of(features, found.contents, log, near)


def _first_state(
    found: Lived, features: np.ndarray, weights: np.ndarray, log: np.ndarray, of: int
) -> First:
    near = weights > 0
    contents = found.contents[near]
    larvae = larvae_in(contents).sum(axis=1, keepdims=True)
    wanted = {"rack": contents.sum(axis=1), "rack_larvae": larvae}
    draws = adjust(features[near], wanted, KINDS, weights[near], log)
    return First(len(found.members), of, draws)


def larvae_in(contents: np.ndarray) -> np.ndarray:
    """Larvae of all sizes by slot, of contents with the kinds last."""
    return contents[..., [name.endswith("_larvae") for name in lived.CONTENTS]].sum(axis=-1)


def quantities(contents: np.ndarray, ahead: lived.Ahead) -> dict[str, np.ndarray]:
    """What is told of a log, by the names of `KINDS`; members first.

    Sums over the rack are told by themselves: those of draws bin by bin are less sharp, and too
    large where most bins have none.
    """
    larvae = larvae_in(contents)
    return {
        "contents": contents,
        "rack": contents.sum(axis=1),
        "larvae": larvae,
        "rack_larvae": larvae.sum(axis=1, keepdims=True),
        "harvested_g": np.cumsum(ahead["harvest_g"].sum(axis=2), axis=1),
        **ahead,
    }


def weights_of(
    features: np.ndarray, contents: np.ndarray, log: np.ndarray, near: int
) -> np.ndarray:
    """Weights of members for a log, by their contents as what is to be told apart.

    Parameters
    ----------
    features : float64 array, shape (members, features)
    contents : float64 array, members first
    log : float64 array, shape (features,)
    near : int
        How many get a weight above 0.
    """
    if features.shape[1] == 0:  # Nothing was counted yet: all are alike.
        return (np.arange(len(features)) < near).astype(float)
    return kernel(nearness_of(features, contents).distances(log), near)


def nearness_of(features: np.ndarray, contents: np.ndarray) -> Nearness:
    """How near logs are, by the contents that they tell apart."""
    return Nearness.learn(features, np.log1p(contents.reshape(len(contents), -1)))


def _known(found: Lived, draws: Draws) -> np.ndarray:
    before = np.log1p(found.contents).std(axis=0)
    after = np.log1p(draws.values["contents"])
    middle = np.tensordot(draws.weights, after, axes=1)
    spread = np.sqrt(np.tensordot(draws.weights, (after - middle) ** 2, axes=1))
    told = before > 0.02  # Less is of no interest, and nothing to divide by.
    return np.where(told, 1 - spread / np.where(told, before, 1.0), np.nan)


def _overall(known: np.ndarray) -> dict[str, float]:
    with np.errstate(invalid="ignore"):
        return {
            name: float(np.nanmean(column)) if np.isfinite(column).any() else 0.0
            for name, column in zip(lived.CONTENTS, known.T, strict=True)
        }
