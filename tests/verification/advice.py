"""Claim: what ``colony-sim today`` says of waiting, and of a look into a bin, holds.

Members take the keeper's place in turn: each with its own log, told from the others. Waiting is
lived by all of them, so that its true cost is known of each.
"""

from __future__ import annotations

import datetime
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colony_sim.assimilation import lived, look
from colony_sim.assimilation.checkpoint import Kept
from colony_sim.assimilation.conditioning import Draws, adjust, kernel
from colony_sim.assimilation.courses import COURSES, WAITS, Courses, waiting
from colony_sim.assimilation.ensemble import Ensemble, live, live_on
from colony_sim.assimilation.today import KINDS, MEMBERS, OTHERWISE, nearness_of, quantities
from colony_sim.colony.bins import Phase
from colony_sim.logs import demo, observe

from .claim import Check, Claim, close, z_check
from .today import ON, SHORT, crps, ensemble_of

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
TRIED = COURSES[: 2 + len(WAITS)]
LOOKS = 80
"""Members in whose racks the look that is asked for is done."""


@dataclass(frozen=True)
class Racks:
    """Members with their logs, contents, weeks by the rules, and what each of `TRIED` came to."""

    features: np.ndarray
    contents: np.ndarray
    ahead: lived.Ahead
    courses: Courses
    phases: tuple[Phase, ...]


def racks_of(ensemble: Ensemble, members: int) -> Racks:
    """Live them all."""
    workers = min(2, os.cpu_count() or 1)
    with tempfile.TemporaryDirectory() as folder:
        kept = Kept(Path(folder))
        found = live(ensemble, range(1, members + 1), kept=kept, save=kept, workers=workers)
        came = live_on(ensemble, found.members.tolist(), TRIED, kept=kept, workers=workers)
    even = np.full(members, 1 / members)
    return Racks(
        observe.features(ensemble.schedule, found.written), found.contents, came[0],
        Courses.of(TRIED, ensemble.today, found.members, even, came),
        tuple(list(Phase)[int(place)] for place in found.uses[0, :, 0]),
    )  # fmt: skip


@dataclass(frozen=True)
class Row:
    """Waiting so many days: how often its cost was inside, and how sharply it was told."""

    what: str
    days: int
    held: tuple[float, float]
    scores: tuple[float, ...]


SCORES = ("told", "no cost", "by the day", "no cost, dressed", "by the day, dressed")


def of_waiting(racks: Racks, what: str) -> list[Row]:
    """What waiting costs, told as `today` does it, beside two plain guesses.

    One says that it costs nothing, the other so much a day, by the slope over all other racks and
    waits; dressed, both have the errors that they made on all other racks. All of that is more
    than a keeper can know.
    """
    all_ = racks.courses
    table = getattr(all_, what)
    nearness = nearness_of(racks.features, racks.contents)
    costs = {days: table[:, 1] - table[:, all_.place(waiting(days))] for days in WAITS}
    rows: dict[int, list[tuple[bool, bool, list[float]]]] = {days: [] for days in WAITS}
    for rack in range(len(table)):
        weights = kernel(nearness.distances_of(rack))
        some = np.argsort(-weights, kind="stable")[:OTHERWISE]
        near = Courses(
            TRIED, all_.day, some, weights[some] / weights[some].sum(), all_.harvested_g[some],
            all_.hatched[some], all_.beetles[some], racks.features[some], racks.features[rack],
        )  # fmt: skip
        others = np.arange(len(table)) != rack
        slope = sum(days * costs[days][others].mean() for days in WAITS) / sum(
            days**2 for days in WAITS
        )
        for days in WAITS:
            true = float(costs[days][rack])
            draws = near.lost(getattr(near, what), waiting(days))
            ends = Draws(near.weights, {}).quantiles(draws, LEVELS)
            slack = 1e-9 * (1 + abs(true))
            inside = [ends[a] - slack <= true <= ends[b] + slack for a, b in ((1, 3), (0, 4))]
            rest = costs[days][others]
            even = np.full(rest.size, 1 / rest.size)
            centred = slope * days + rest - rest.mean()
            scores = [crps(draws, near.weights, true), abs(true), abs(true - slope * days),
                      crps(rest, even, true), crps(centred, even, true)]  # fmt: skip
            rows[days].append((inside[0], inside[1], scores))
    return [
        Row(
            what, days,
            (float(np.mean([r[0] for r in found])), float(np.mean([r[1] for r in found]))),
            tuple(np.mean([r[2] for r in found], axis=0).tolist()),
        )
        for days, found in rows.items()
    ]  # fmt: skip


@dataclass(frozen=True)
class Looked:
    """One answer after the look that was asked for: shares by which ranges were narrower.

    `score` is the CRPS of log(1 + x) after the look over that before it.
    """

    answer: str
    said: float
    was: float
    score: float
    held: float


def of_looks(racks: Racks, count: int) -> list[Looked]:
    """The look that is asked for, done in racks of known content."""
    names = [str(slot) for slot in range(len(racks.phases))]
    bins = list(zip(names, racks.phases, strict=True))
    chance = np.random.default_rng(7)
    truth = look.answers(quantities(racks.contents, racks.ahead))
    found: dict[str, list[tuple[float, ...]]] = {name: [] for name in truth}
    for rack in np.linspace(0, len(racks.contents) - 1, count).astype(int):
        before = _told(racks, racks.features, rack)
        asked = look.best(before, bins, 1)
        assert asked is not None
        inside = racks.contents[:, int(asked.bin), lived.CONTENTS.index(asked.what)]
        seen = look.shown(inside, asked.what, chance)
        after = _told(racks, np.column_stack([racks.features, seen]), rack)
        for name in truth:
            real = float(np.log1p(truth[name][rack]))
            one, two = (np.log1p(look.answers(d.values)[name]) for d in (before, after))
            first, second = (
                d.quantiles(x[:, None], LEVELS)[:, 0]
                for d, x in ((before, one), (after, two))
            )  # fmt: skip
            widths = first[4] - first[0], second[4] - second[0]
            found[name].append((
                asked.narrower[name], *widths, crps(one, before.weights, real),
                crps(two, after.weights, real), second[0] - 1e-6 <= real <= second[4] + 1e-6,
            ))  # fmt: skip
    rows = []
    for name, each in found.items():
        said, wide, narrow, score, then, held = np.mean(each, axis=0)
        rows.append(Looked(name, said, 1 - narrow / wide, then / score, held))
    return rows


def _told(racks: Racks, features: np.ndarray, rack: int) -> Draws:
    """As `today.assimilate` tells a rack, itself left out."""
    weights = kernel(nearness_of(features, racks.contents).distances_of(rack))
    near = weights > 0
    ahead = {name: values[near] for name, values in racks.ahead.items()}
    wanted = quantities(racks.contents[near], ahead)
    return adjust(features[near], wanted, KINDS, weights[near], features[rack])


class Advice(Claim):
    """Racks of known future, told from their logs."""

    name = "advice"
    statement = (
        "Told from a log alone, what waiting 3, 7 or 10 days with the move of the beetles costs "
        "over twelve weeks, in grams and in eggs that hatch, lies in its intervals of 50 and 90 % "
        "that often, and its continuous ranked probability score is better than that of no cost "
        "and of a cost by the day, as they stand. The look into a bin that is asked for makes "
        "ranges narrower, by about as much as was said, and they hold as often as before."
    )
    source = (
        "Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359; Barber et al. 2021, Ann. Stat. "
        "49:486; Strong, Oakley and Brennan 2014, Med. Decis. Making 34:311"
    )

    def run(self, fast: bool) -> list[Check]:
        if fast:
            ensemble = ensemble_of(SHORT, datetime.date(2031, 6, 28), {}, self.seed)
            racks = racks_of(ensemble, 80)
        else:
            handling = demo.HANDLING | {"rack.bins": demo.BINS}
            racks = racks_of(ensemble_of(None, ON, handling, self.seed), MEMBERS)
        return self.judged(racks, 20 if fast else LOOKS)

    def judged(self, racks: Racks, looks: int) -> list[Check]:
        """The checks on racks that have been lived."""
        self.rows = [*of_waiting(racks, "harvested_g"), *of_waiting(racks, "hatched")]
        self.looks = of_looks(racks, looks)
        count, checks = len(racks.contents), []
        for row in self.rows:
            about = f"waiting {row.days} days, {row.what}"
            for level, share in zip((0.5, 0.9), row.held, strict=True):
                checks.append(z_check(
                    f"{about}: share of {count} racks in {100 * level:.0f} %", share, level,
                    float(np.sqrt(level * (1 - level) / count)), why="binomial",
                ))  # fmt: skip
            ratio = row.scores[0] / min(row.scores[1:3])
            checks.append(
                close(f"{about}: CRPS / that of the better plain guess", ratio, 0.0, 1.0, "below 1")
            )
        for row in self.looks:
            error = float(np.sqrt(0.09 / looks))
            checks.append(z_check(f"after the look, {row.answer}: share of {looks} racks in 90 %",
                                  row.held, 0.9, error, why="binomial"))  # fmt: skip
        said, was = (float(np.mean([getattr(r, n) for r in self.looks])) for n in ("said", "was"))
        checks.append(close("narrower by the look, mean of all answers", was, said, 0.1,
                            "to a tenth of the range"))  # fmt: skip
        print(self.table(count, looks), flush=True)
        return checks

    def table(self, count: int, looks: int) -> str:
        """The rows as text."""
        lines = [f"waiting ({count} racks)      days  50 %  90 %  CRPS: {', '.join(SCORES)}"]
        for row in self.rows:
            scores = " ".join(f"{score:9.4g}" for score in row.scores)
            lines.append(f"{row.what:23s} {row.days:4d}  {row.held[0]:.2f}  {row.held[1]:.2f}"
                         f"  {scores}")  # fmt: skip
        lines.append(f"after the look ({looks} racks)   narrower: said  was   CRPS ratio  in 90 %")
        for one in self.looks:
            lines.append(f"{one.answer:38s} {one.said:6.3f} {one.was:6.3f}  {one.score:6.2f}"
                         f"  {one.held:.2f}")  # fmt: skip
        return "\n".join(lines)

    def figure(self, ax) -> None:
        for place, row in enumerate(reversed(self.rows)):
            for share, mark in zip(row.held, ("o", "s"), strict=True):
                ax.plot(share, place, mark, color="#14508c", markersize=5)
        ax.set_yticks(range(len(self.rows)),
                      [f"{r.what}, {r.days} days" for r in reversed(self.rows)])  # fmt: skip
        for level in (0.5, 0.9):
            ax.axvline(level, color="black", linewidth=0.6)
        ax.set_xlim(0, 1)
        ax.set_xlabel("share of racks in the interval of 50 % (circle) and 90 % (square)")
