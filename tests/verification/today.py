"""Claim: ``colony-sim today`` knows how much it knows of racks whose content is known."""

from __future__ import annotations

import datetime
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy import stats

from colony_sim.assimilation import lived
from colony_sim.assimilation.checkpoint import Kept
from colony_sim.assimilation.conditioning import adjust, near_of
from colony_sim.assimilation.ensemble import Ensemble, live, live_on
from colony_sim.assimilation.misfit import misfit
from colony_sim.assimilation.today import KINDS, MEMBERS, quantities, weights_of
from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony import founders
from colony_sim.colony.bins import Phase
from colony_sim.experiment.worlds import SHIPPED, read_worlds
from colony_sim.logs import demo, observe
from colony_sim.logs.log_keeper import LogKeeper
from colony_sim.logs.logbook import parse
from colony_sim.logs.schedule import compile_schedule
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Event

from .claim import ALPHA, Check, Claim, close, z_check
from .plain_forecasts import Plain, dressed

WEEKS = (1, 2, 4, 8)
LEVELS = (0.5, 0.9)
ENDS = (0.05, 0.25, 0.75, 0.95)
ON = datetime.date(2031, 11, 26)
#: A short log for the fast version: three bins in 140 days.
SHORT = """\
date,bin,action,stage,count,grams,about,until,note
2031-03-01,A,beetles in,beetles,120,,,,
2031-03-15,A,beetles out,beetles,100,,,,
2031-03-15,B,beetles in,beetles,,,,,
2031-03-29,B,beetles out,beetles,80,,,,
2031-03-29,C,beetles in,beetles,,,,,
2031-04-12,C,beetles out,beetles,60,,,,
2031-04-12,A,count,larvae,900,,yes,,
2031-05-10,A,weight,mixed,,30,,,
2031-05-20,B,count,larvae,900,,yes,,
2031-05-30,A,harvest,large larvae,,20,,,
2031-06-09,A,harvest,large larvae,,20,,,
2031-06-09,C,count,larvae,400,,yes,,
2031-06-16,B,harvest,large larvae,,20,,,
2031-06-23,B,harvest,large larvae,,20,,,
2031-06-28,C,weight,mixed,,40,,,
"""


class TubKeeper(LogKeeper):
    """Puts a bought tub of larvae into a growing bin and does not write it down."""

    before_days, larvae = 45, 1500

    def work(self) -> None:
        """The log's work, and on one day the tub."""
        super().work()
        model = self.model
        growing = sorted(self._bins(Phase.GROWING), key=lambda b: -(b.date_out or 0))
        if model.day != self.schedule.days - self.before_days or not growing:
            return
        start = model.insects.n
        rows = founders.bring_larvae(model, self.larvae, growing[0].index, 5000, 0.3, 0.6)
        mass = int(model.insects.mass[rows].sum(dtype=np.int64))
        model.balance.bring(Stage.LARVA, model.insects.n - start, mass)


class MouldKeeper(LogKeeper):
    """Loses the fullest growing bin to mould and does not write it down."""

    before_days = 30

    def work(self) -> None:
        """The log's work, and on one day the loss."""
        super().work()
        model, insects = self.model, self.model.insects
        growing = self._bins(Phase.GROWING)
        if model.day != self.schedule.days - self.before_days or not growing:
            return
        lost = max(growing, key=lambda b: model.table[b.index, 4]).index
        for stage, event in (
            (Stage.EGG, Event.EGG_LOST_HANDLING), (Stage.LARVA, Event.LARVA_LOST_HANDLING),
            (Stage.PUPA, Event.PUPA_LOST_HANDLING), (Stage.ADULT, Event.ADULT_DIED_HANDLING),
        ):  # fmt: skip
            self._remove(insects.rows(stage, lost), event)


@dataclass(frozen=True)
class Racks:
    """Racks of known content, and what their keepers wrote; racks first."""

    written: np.ndarray
    contents: np.ndarray
    ahead: lived.Ahead
    members: np.ndarray

    def some(self, rows: np.ndarray) -> Racks:
        """Those of some rows."""
        ahead = {name: values[rows] for name, values in self.ahead.items()}
        return Racks(self.written[rows], self.contents[rows], ahead, self.members[rows])


def ensemble_of(log: str | None, on: datetime.date, handling: dict, seed: int) -> Ensemble:
    """Possible colonies of a log (None: the demo log) up to a date."""
    entries = demo.entries() if log is None else parse(log)[0]
    schedule = compile_schedule([entry for entry in entries if entry.date <= on])
    return Ensemble.of(
        schedule, Parameters.default().with_values(handling, where="claim"),
        constant(demo.TEMPERATURE_C), read_worlds(SHIPPED), seed,
        today=(on - schedule.start).days, ahead=lived.DAYS,
    )  # fmt: skip


def racks_of(ensemble: Ensemble, members: range) -> Racks:
    """Members as racks of known content."""
    workers = min(2, os.cpu_count() or 1)
    with tempfile.TemporaryDirectory() as folder:
        kept = Kept(Path(folder))
        found = live(ensemble, members, kept=kept, save=kept, workers=workers)
        ahead = live_on(ensemble, members, kept=kept, workers=workers)[0]
    return Racks(found.written, found.contents, ahead, found.members)


def strange_racks(ensemble: Ensemble, members: range, keeper: type[LogKeeper]) -> Racks:
    """Racks whose keeper did, or met with, what is not in the log."""
    rows = []
    for member in members:
        colony = lived.found(
            ensemble.schedule, ensemble.values(member), np.array(ensemble.temperatures),
            ensemble.run_seed(member), keeper,
        )  # fmt: skip
        lived.live_until(colony, ensemble.today)
        chance = np.random.default_rng([ensemble.seed, 19, member])
        written = observe.written(ensemble.schedule, lived.shown(colony), chance)
        contents = lived.contents(colony)
        rows.append((written, contents, lived.live_on(colony)))
        lived.end(colony)
    ahead = {name: np.stack([row[2][name] for row in rows]) for name in rows[0][2]}
    return Racks(
        np.stack([row[0] for row in rows]), np.stack([row[1] for row in rows]), ahead,
        np.array(members),
    )  # fmt: skip


def crps(draws: np.ndarray, weights: np.ndarray, truth: float) -> float:
    """Continuous ranked probability score of weighted draws (Gneiting and Raftery 2007)."""
    order = np.argsort(draws)
    at, steps = draws[order], np.cumsum(weights[order])
    spread = float(np.sum(steps[:-1] * (1 - steps[:-1]) * np.diff(at)))
    return float(weights @ np.abs(draws - truth)) - spread


_LARGE, _BEETLES = lived.CONTENTS.index("large_g"), lived.CONTENTS.index("beetles")


def rack_totals(told: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What is judged of the whole rack, by name; draws or racks first."""
    found = {
        "larvae today": told["rack_larvae"][:, 0],
        "beetles today": told["rack"][:, _BEETLES],
        "harvestable g today": told["rack"][:, _LARGE],
    }
    return found | {
        f"g harvested in {week} weeks": told["harvested_g"][:, week - 1] for week in WEEKS
    }


def by_bin(told: Mapping[str, np.ndarray], ahead: lived.Ahead, rack: int):
    """What is judged of the weeks to come of single bins: name, draws, and truth of a rack.

    A day after the last week is `lived.NEVER` for draws and truth.
    """
    for week in WEEKS:
        yield (f"g in {week} weeks by bin", told["harvest_g"][:, :week].sum(axis=1),
               ahead["harvest_g"][rack, :week].sum(axis=0))  # fmt: skip
    for place, what in enumerate(lived.FIRSTS):
        yield (f"day of first {what} by bin", told["firsts"][:, :, place],
               ahead["firsts"][rack, :, place])  # fmt: skip


def plain_totals(ensemble: Ensemble, racks: Racks) -> dict[str, np.ndarray]:
    """The same by the two plain forecasters (name -> racks x 2)."""
    schedule, p = ensemble.schedule, ensemble.parameters
    cycle = round(len(schedule.bins) * p["rotation.interval_days"])
    growing = max(1, len(schedule.bins) - 1)
    rows: dict[str, list] = {}
    for written in racks.written:
        plain = Plain(schedule, written, ensemble.today, cycle)
        both = [plain.larvae(growing), plain.beetles(), plain.large()]
        both += list(zip(*plain.harvests(WEEKS), strict=True))
        names = rack_totals(quantities(racks.contents, racks.ahead))
        for name, said in zip(names, both, strict=True):
            rows.setdefault(name, []).append(said)
    return {name: np.array(said) for name, said in rows.items()}


@dataclass
class Row:
    """One row of the table: what of a set of racks, how often held, and how sharply told."""

    kind: str
    name: str
    racks: int
    covered: dict[float, float]
    crps: dict[str, float]


def judge(ensemble: Ensemble, members: Racks, racks: Racks, kind: str) -> tuple[list[Row], list]:
    """Condition the members on each rack's log; rows of the table, and p values of the misfit.

    A rack that is a member is left out of its own ensemble.
    """
    schedule = ensemble.schedule
    features = observe.features(schedule, members.written)
    truth = rack_totals(quantities(racks.contents, racks.ahead))
    said = plain_totals(ensemble, racks)
    held: dict[str, list] = {}
    scores: dict[str, list] = {}
    doubts = []
    for row, written in enumerate(racks.written):
        log = observe.features(schedule, written)[0]
        others = members.members != racks.members[row]
        table = features[others]
        weights = weights_of(table, members.contents[others], log, near_of(len(table)))
        near = weights > 0
        ahead = {name: values[others][near] for name, values in members.ahead.items()}
        wanted = quantities(members.contents[others][near], ahead)
        draws = adjust(table[near], wanted, KINDS, weights[near], log)
        doubts.append(misfit(schedule, table[near], log))
        told = rack_totals(draws.values)
        for name, values in told.items():
            ends = draws.quantiles(values, ENDS)
            held.setdefault(name, []).append(_within(ends, truth[name][row]))
            plain = [dressed(said[name][:, k], truth[name], row) for k in range(2)]
            even = np.full(len(plain[0]), 1 / len(plain[0])) if len(plain[0]) else np.ones(1)
            logs = [(np.log1p(values), draws.weights), *((np.log1p(p), even) for p in plain)]
            scores.setdefault(name, []).append(
                [crps(v, w, float(np.log1p(truth[name][row]))) for v, w in logs]
                + [crps(values, draws.weights, truth[name][row])]
                + [abs(said[name][row, k] - truth[name][row]) for k in range(2)]
            )
        for what, values, real in by_bin(draws.values, racks.ahead, row):
            open_ = values.std(axis=0) > 0.5
            if open_.any():
                ends = draws.quantiles(values[:, open_], ENDS)
                held.setdefault(what, []).append(_within(ends, real[open_]))
        for place, what in enumerate(lived.CONTENTS):
            values, real = draws.values["contents"][:, :, place], racks.contents[row, :, place]
            open_ = members.contents[:, :, place].std(axis=0) > 0.5
            ends = draws.quantiles(values[:, open_], ENDS)
            if open_.any():
                held.setdefault(f"{what} by bin", []).append(_within(ends, real[open_]))
    rows = []
    names = ("ours", "cycle", "line", "ours, own unit", "cycle, own unit", "line, own unit")
    for name, shares in held.items():
        mean = np.mean(shares, axis=0)
        score = np.mean(scores[name], axis=0) if name in scores else []
        rows.append(
            Row(kind, name, len(racks.written), dict(zip(LEVELS, mean, strict=True)),
                dict(zip(names, score, strict=False)))
        )  # fmt: skip
    return rows, doubts


def _within(ends: np.ndarray, truth: np.ndarray | float) -> tuple[float, float]:
    slack = 1e-6 * (1 + np.abs(truth))
    half = (ends[1] - slack <= truth) & (truth <= ends[2] + slack)
    most = (ends[0] - slack <= truth) & (truth <= ends[3] + slack)
    return float(np.mean(half)), float(np.mean(most))


def table(rows: list[Row]) -> str:
    """The rows as text."""
    lines = [f"{'racks':22s} {'what':26s}  n    50 %  90 %  CRPS of log(1+x): ours cycle line"
             "   own unit: CRPS ours, error of cycle and line"]  # fmt: skip
    for row in rows:
        score = " ".join(f"{value:8.3g}" for value in row.crps.values())
        lines.append(f"{row.kind:22s} {row.name:26s} {row.racks:3d}  {row.covered[0.5]:.2f}  "
                     f"{row.covered[0.9]:.2f}  {score}")  # fmt: skip
    return "\n".join(lines)


class Today(Claim):
    """Racks of known content, told from their logs."""

    name = "today"
    statement = (
        "Told from a log alone, the content of a rack today and its harvests of the next 1, 2, 4 "
        "and 8 weeks lie in their intervals of 50 and 90 % that often, for racks of the same "
        "worlds and for racks with a growth law or a refuge that no possible colony has; and the "
        "continuous ranked probability score is better than that of the same week of the last "
        "cycle and of a straight line, each dressed with its own errors. A log of a bin with an "
        "unwritten tub of larvae or an unwritten loss is told apart more often than another."
    )
    source = (
        "Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359; Sun and Durlofsky 2017, Math. "
        "Geosci. 49:679; Barber et al. 2021, Ann. Stat. 49:486"
    )

    def run(self, fast: bool) -> list[Check]:
        checks = self._run(fast)
        print(table(self.rows), flush=True)
        return checks

    def _run(self, fast: bool) -> list[Check]:
        if fast:
            ensemble = ensemble_of(SHORT, datetime.date(2031, 6, 28), {}, self.seed)
            members, tests, strange = 80, 0, 0
        else:
            ensemble = ensemble_of(None, ON, demo.HANDLING | {"rack.bins": demo.BINS}, self.seed)
            members, tests, strange = MEMBERS, 120, 50
        everyone = racks_of(ensemble, range(1, members + tests + 1))
        inside = everyone.some(np.arange(members, members + tests) if tests else np.arange(40))
        base = everyone.some(np.arange(members))
        self.rows, doubts = judge(ensemble, base, inside, "same worlds")
        checks = self._held("same worlds", exactly=True)
        checks += self._sharper("same worlds")
        if fast:
            return checks
        checks.append(self._alarms("same worlds", doubts))
        for kind, key, word in (
            ("another growth law", "growth.law", "exponential"),
            ("another refuge", "predation.refuge", "none"),
        ):
            column = [ensemble.worlds.draw(int(member))[key] for member in everyone.members]
            there = np.array([value == word for value in column])
            apart = everyone.some(there)
            rows, doubts = judge(
                ensemble,
                everyone.some(~there),
                apart.some(np.arange(len(apart.written)) < 100),
                kind,
            )
            self.rows += rows
            checks += self._held(kind, exactly=False) + self._sharper(kind)
            checks.append(self._alarms(kind, doubts))
        first = members + tests + 1
        for kind, keeper in (("unwritten tub", TubKeeper), ("unwritten loss", MouldKeeper)):
            racks = strange_racks(ensemble, range(first, first + strange), keeper)
            rows, doubts = judge(ensemble, base, racks, kind)
            self.rows += rows
            checks += [replace(check, kind="shown") for check in self._held(kind, exactly=False)]
            checks.append(self._alarms(kind, doubts))
        return checks

    def _held(self, kind: str, exactly: bool) -> list[Check]:
        """Coverage: as stated for the same worlds, not less for others."""
        checks = []
        for row in (row for row in self.rows if row.kind == kind):
            for level, share in row.covered.items():
                name = f"{kind}, {row.name}: share of {row.racks} racks in {100 * level:.0f} %"
                error = float(np.sqrt(level * (1 - level) / row.racks))
                if exactly and row.crps:
                    checks.append(z_check(name, share, level, error, why="binomial"))
                    continue
                # Less than that often is a fault; more is not: 0 is certain in many bins.
                reach = float(stats.norm.isf(ALPHA)) * error
                checks.append(
                    Check(name, min(share, level), level, reach, "not less, binomial", ALPHA)
                )
        return checks

    def _sharper(self, kind: str) -> list[Check]:
        """CRPS against the better of the plain forecasters."""
        checks = []
        for row in (row for row in self.rows if row.kind == kind and row.crps):
            ours, *plain = list(row.crps.values())[:3]
            name = f"{kind}, {row.name}: CRPS / that of the better plain forecaster"
            checks.append(close(name, ours / min(plain), 0.0, 1.0, "below 1"))
        return checks

    def _alarms(self, kind: str, doubts: list) -> Check:
        share = float(np.mean([doubt is not None and doubt.p < 0.05 for doubt in doubts]))
        name = f"{kind}: share of {len(doubts)} logs that no possible colony writes (p < .05)"
        if kind == "same worlds":
            error = float(np.sqrt(0.05 * 0.95 / len(doubts)))
            return z_check(name, share, 0.05, error, why="binomial")
        return close(name, share, 0.0, 1.0, "shown", "shown")

    def figure(self, ax) -> None:
        rows = [row for row in self.rows if row.crps]
        for place, row in enumerate(reversed(rows)):
            for level, mark in ((0.5, "o"), (0.9, "s")):
                ax.plot(row.covered[level], place, mark, color="#14508c", markersize=4)
        ax.set_yticks(range(len(rows)), [f"{r.kind}: {r.name}" for r in reversed(rows)], fontsize=5)
        for level in LEVELS:
            ax.axvline(level, color="black", linewidth=0.6)
        ax.set_xlim(0, 1)
        ax.set_xlabel("share of racks in the interval of 50 % (circle) and 90 % (square)")
