"""A keeper who does what a log says: beetles, pupae and harvests by its dates, feed by the rules.

Bran and moisture are given by the handling rules, but moisture starts when the log says so. What
a step shows is read off the simulated bins.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from colony_sim.biology import growth
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony import founders
from colony_sim.colony.binlog import Action
from colony_sim.colony.bins import Bin, Phase
from colony_sim.colony.framework import DataCollector
from colony_sim.colony.keeper import Keeper
from colony_sim.colony.model import Colony
from colony_sim.logs.schedule import Schedule, Step
from colony_sim.logs.words import Entry, LogAction
from colony_sim.population.draws import Block
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event

#: Lighter larvae are not seen when larvae are counted. An assumption, no source.
SEEN_FROM_MG = 1.0
_STAGES = {"pupae": (Stage.PUPA,), "beetles": (Stage.ADULT,),
           "mixed": (Stage.LARVA, Stage.PUPA, Stage.ADULT)}  # fmt: skip


class LogKeeper(Keeper):
    """Does what a schedule says, on its days, that of day 0 at once; feeds by the rules.

    Parameters
    ----------
    model : Colony
    schedule : Schedule
    numbers : dict of int to float
        True number of insects that come in with the row of this number.
    chance : numpy.random.Generator
        For who is among a few weighed together.

    Attributes
    ----------
    seen : float64 array, shape (observed,)
        What the steps so far have shown, without errors of counting; NaN where not yet.
    """

    model: Colony

    def __init__(
        self,
        model: Colony,
        schedule: Schedule,
        numbers: dict[int, float],
        chance: np.random.Generator,
    ) -> None:
        super().__init__(model)
        self.schedule, self.numbers, self.chance = schedule, numbers, chance
        self.seen = np.full(len(schedule.observed), np.nan)
        self._counts: dict[str, float] = {}
        self._arrivals = 0
        self._held = False
        self._bran_g = 0.0
        # The log tells which bin is filled first; no one reads the daily series.
        model.bins[0].make_free()
        model.substrate.bran[0] = 0
        model.datacollector = DataCollector()
        self.work()

    def work(self) -> None:
        """Do the day's work."""
        self.minutes = 0.0
        today = self.schedule.steps.get(self.model.day, ())
        self._bring_tray_beetles()
        for step in today:
            getattr(self, "_do_" + step.what.replace(" ", "_"))(step)
        self._give_moisture()
        self._top_up()

    # -- what is seen -----------------------------------------------------------------------

    def _log(self, bin_: Bin | None, action: Action, minutes: float = 0.0, **counts: Any) -> None:
        # No one reads the simulated keeper's own log; the numbers are what the log shows.
        self._counts = counts
        if action is Action.BRAN_ADDED and self.schedule.written(self.model.day):
            self._bran_g += counts["grams"]

    def _show(self, seen: dict[str, int], count: float, grams: float) -> None:
        for unit, place in seen.items():
            self.seen[place] = count if unit == "count" else grams

    def _select(self, stage: str, slot: int) -> np.ndarray:
        """Rows of a stage, in the words of the log, in a bin."""
        insects = self.model.insects
        slot = self.model.tray if slot < 0 else slot
        if stage in _STAGES:
            rows = np.concatenate([insects.rows(s, slot) for s in _STAGES[stage]])
        else:
            rows = insects.rows(Stage.LARVA, slot)
        if stage in ("pupae", "beetles"):
            return rows
        mass = insects.mass[rows]
        sieve = round(self.model.parameters["harvest.smallest_mg"] * NG_PER_MG)
        seen = mass >= round(SEEN_FROM_MG * NG_PER_MG)
        if stage == "small larvae":
            seen &= mass < sieve
        elif stage == "large larvae":
            seen &= mass >= sieve
        return rows[seen]

    def _grams(self, rows: np.ndarray) -> float:
        return float(self.model.insects.mass[rows].sum(dtype=np.int64)) / NG_PER_G

    def _do_count(self, step: Step) -> None:
        rows = self._select(step.entry.stage, step.slot)
        self._show(step.seen, rows.size, self._grams(rows))

    _do_weight = _do_count

    def _do_sample(self, step: Step) -> None:
        rows = self._select(step.entry.stage, step.slot)
        masses = self.model.insects.mass[rows] / NG_PER_MG
        few = min(int(step.entry.given("count")), rows.size)
        each = float(self.chance.choice(masses, few, replace=False).mean()) if few else 0.0
        self.seen[step.seen["mg each"]] = each

    # -- beetles ----------------------------------------------------------------------------

    def _bring_tray_beetles(self) -> None:
        """Beetles on the tray join the breeders; where there are none they wait."""
        breeding = self._bins(Phase.BREEDING)
        if breeding and not self._held:
            rows = self.model.insects.rows(Stage.ADULT, self.model.tray)
            if rows.size:
                self._spread(rows, breeding)

    def _do_dead_beetles(self, step: Step) -> None:
        dead = self.model.substrate.dead_adults
        each = self._beetle_g()
        self._show(step.seen, int(dead[step.slot]), each * int(dead[step.slot]))
        dead[step.slot] = 0

    def _do_take_out(self, step: Step) -> None:
        for slot, seen in step.sources:
            self._take_out(self.model.bins[slot], seen)
        # They wait on the tray for their bins, whatever else is done that day.
        self._held = True

    def _do_put_in(self, step: Step) -> None:
        model = self.model
        self._held = False
        rows = model.insects.rows(Stage.ADULT, model.tray)
        order = rows[np.argsort(self._draw(Block.MOVE, 3, rows), kind="stable")]
        shares = np.cumsum([share for _, share, _ in step.targets])
        edges = np.round(shares / shares[-1] * order.size).astype(int)
        start = 0
        for (slot, _, seen), end in zip(step.targets, edges, strict=True):
            here = order[start:end]
            start = end
            model.insects.bin[here] = slot
            self._show(seen, here.size, self._grams(here))
            if model.bins[slot].phase is not Phase.BREEDING:
                self._fill(model.bins[slot], Phase.BREEDING)

    def _do_leave(self, step: Step) -> None:
        for slot, seen in step.sources:
            self._take_out(self.model.bins[slot], seen)
        gone = self.model.insects.rows(Stage.ADULT, self.model.tray)
        self._remove(gone, Event.ADULT_REMOVED_SURPLUS)

    def _take_out(self, bin_: Bin, seen: dict[str, int]) -> None:
        """Strain the beetles out of a bin, onto the tray; some are missed, killed or hurt."""
        model, p = self.model, self.model.parameters
        rows = model.insects.rows(Stage.ADULT, bin_.index)
        missed, hurt, dead = (self._draw(Block.MOVE, lane, rows) for lane in range(3))
        caught = missed >= p["rotation.missed_share"]
        killed = caught & (dead < p["rotation.killed_share"])
        model.insects.set(rows[caught & ~killed & (hurt < p["rotation.injured_share"])],
                          Flag.INJURED)  # fmt: skip
        moved = rows[caught & ~killed]
        self._show(seen, moved.size, self._grams(moved))
        self._remove(rows[killed], Event.ADULT_DIED_HANDLING)
        model.insects.bin[moved] = model.tray
        eggs = model.insects.rows(Stage.EGG, bin_.index)
        lost = eggs[self._draw(Block.GEAR, 0, eggs) < p["rotation.eggs_lost_share"]]
        self._remove(lost, Event.EGG_LOST_HANDLING)
        bin_.phase, bin_.date_out = Phase.GROWING, model.day

    def _do_beetles_picked(self, step: Step) -> None:
        model = self.model
        slot = model.tray if step.slot < 0 else step.slot
        rows = model.insects.rows(Stage.ADULT, slot)
        if step.slot >= 0:
            missed = model.parameters["rotation.missed_share"]
            rows = rows[self._draw(Block.COLLECT, 0, rows) >= missed]
        self._show(step.seen, rows.size, self._grams(rows))
        model.insects.bin[rows] = model.tray
        self._bring_tray_beetles()

    def _do_beetles_removed(self, step: Step) -> None:
        rows = self.model.insects.rows(Stage.ADULT, step.slot)
        wanted = step.entry.count
        if wanted is None:
            each = self._beetle_g()
            wanted = round(step.entry.given("grams") / each) if each > 0 else 0
        order = np.argsort(self._draw(Block.SURPLUS, 0, rows), kind="stable")
        self._remove(rows[order[: int(wanted)]], Event.ADULT_REMOVED_SURPLUS)

    def _beetle_g(self) -> float:
        p = self.model.parameters
        return p["larva.mature_mass_mg"] * p["pupa.mass_share"] * p["adult.mass_share"] / 1000

    # -- pupae, larvae, bins ----------------------------------------------------------------

    def _do_pupae_picked(self, step: Step) -> None:
        insects = self.model.insects
        rows = insects.rows(Stage.PUPA, step.slot)
        find = self.model.parameters["pupae.find_share"]
        found = rows[self._draw(Block.INSPECT, 0, rows) < find]
        self._show(step.seen, found.size, self._grams(found))
        hurt = self._draw(Block.INSPECT, 1, found) < self.model.parameters["pupae.killed_share"]
        self._remove(found[hurt], Event.PUPA_LOST_HANDLING)
        insects.bin[found[~hurt]] = self.model.tray

    def _do_harvest(self, step: Step) -> None:
        self._counts = {}
        self._harvest(self.model.bins[step.slot])
        self._show(step.seen, self._counts.get("larvae", 0), self._counts.get("grams", 0.0))

    def _do_cleared(self, step: Step) -> None:
        """Empty a bin: larvae and pupae to the oldest growing bin, beetles to the breeders."""
        model, bin_ = self.model, self.model.bins[step.slot]
        insects = model.insects
        self._remove(insects.rows(Stage.EGG, bin_.index), Event.EGG_LOST_HANDLING)
        insects.bin[insects.rows(Stage.ADULT, bin_.index)] = model.tray
        self._bring_tray_beetles()
        larvae = insects.rows(Stage.LARVA, bin_.index)
        pupae = insects.rows(Stage.PUPA, bin_.index)
        heirs = [b for b in self._by_age() if b is not bin_] or self._bins(Phase.BREEDING)
        if heirs:
            insects.bin[larvae] = insects.bin[pupae] = heirs[0].index
            self._join_pace(bin_, heirs[0])
        else:
            self._remove(larvae, Event.LARVA_LOST_HANDLING)
            self._remove(pupae, Event.PUPA_LOST_HANDLING)
        model.discard_substrate(bin_)
        bin_.make_free()

    def _days_left(self, bin_: Bin) -> float:
        # Bins are cleared by the log, of which the simulated keeper knows no more than today.
        return math.inf

    def _do_moisture_started(self, step: Step) -> None:
        self.model.bins[step.slot].moist = True

    def _do_bran_added(self, step: Step) -> None:
        """Bran goes by the rules, so that hungrier insects get more; the log shows how much."""

    def _give_moisture(self) -> None:
        model, p = self.model, self.model.parameters
        for bin_ in model.bins:
            if bin_.phase is Phase.GROWING and bin_.index in self.schedule.moist:
                if bin_.moist:
                    model.give_moisture(bin_, p["moisture.growing_g_per_day"])
            elif bin_.phase is not Phase.FREE:
                self._moisten_by_rule(bin_)

    def _moisten_by_rule(self, bin_: Bin) -> None:
        model, p = self.model, self.model.parameters
        if bin_.phase is Phase.BREEDING:
            if p["moisture.breeding_g_per_day"] > 0:
                model.give_moisture(bin_, p["moisture.breeding_g_per_day"])
            return
        start, seen = p["moisture.start"], bin_.visible_skins
        enough = seen >= p["moisture.visible_skins_per_dm2"] * p["rack.bin_area_dm2"]
        bin_.moist |= start == "always" or (start == "skins" and enough)
        if bin_.moist and p["moisture.growing_g_per_day"] > 0:
            model.give_moisture(bin_, p["moisture.growing_g_per_day"])

    # -- insects from outside ---------------------------------------------------------------

    def _do_arrive(self, step: Step) -> None:
        model, entry = self.model, step.entry
        bin_ = model.bins[step.slot]
        beetles = entry.action is LogAction.BEETLES_IN
        if bin_.phase is Phase.FREE:
            self._fill(bin_, Phase.BREEDING if beetles else Phase.GROWING)
            if not beetles:
                bin_.date_in = bin_.date_out = model.day
        number = int(round(self.numbers[entry.row]))
        # Each arrival is a group of founders of its own.
        self._arrivals += 1
        kind = 1000 + self._arrivals
        before = model.insects.n
        if beetles:
            c = float(model.temperatures[max(model.day - 1, 0)])
            founders.bring_breeders(model, number, c, bin_.index, kind)
        else:
            founders.bring_larvae(model, number, bin_.index, kind, *_clock_range(model, entry))
        rows = slice(before, model.insects.n)
        stage = Stage.ADULT if beetles else Stage.LARVA
        mass = int(model.insects.mass[rows].sum(dtype=np.int64))
        model.balance.bring(stage, number, mass)


def _clock_range(model: Colony, entry: Entry) -> tuple[float, float]:
    """The larval clock between which larvae that come in lie, from their size in the log."""
    p = model.parameters
    clock = np.linspace(0.0, 1.0, 501)
    mass = growth.ideal_mass(p, clock)
    sieve = float(np.interp(p["harvest.smallest_mg"], mass, clock))
    seen = float(np.interp(SEEN_FROM_MG, mass, clock))
    if entry.count and entry.grams:
        middle = float(np.interp(1000 * entry.grams / entry.count, mass, clock))
        return max(0.0, middle - 0.1), min(1.0, middle + 0.1)
    return {"small larvae": (seen, sieve), "large larvae": (sieve, 1.0)}.get(
        entry.stage, (seen, 1.0)
    )
