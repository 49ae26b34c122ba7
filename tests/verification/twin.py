"""Claims: the fast engine and a slow, obvious twin are the same model."""

from __future__ import annotations

from itertools import product

import numpy as np

from colony_sim.biology.parameters import catalogue
from colony_sim.colony.binlog import Action, Reason

from .claim import ALPHA, Check, Claim, close, exact, t_check
from .twin_compare import EVENTS, Case, Differences, compare, engine_of, twin_of

#: Little laying keeps the twin's run short; everything else stays at its default.
_SMALL = {"fecundity.peak_eggs_per_day": 2.0, "rack.bins": 4}
_BUSY = {
    "fecundity.peak_eggs_per_day": 3.0,
    "rack.bins": 6,
    "rotation.interval_days": 6,
    "rotation.missed_share": 0.1,
    "rotation.injured_share": 0.1,
    "rotation.killed_share": 0.1,
    "rotation.eggs_lost_share": 0.2,
    "rotation.collect_days": 5,
    "rotation.most_breeders_per_bin": 15,
    "rotation.surplus": "split",
    "pupae.inspection_days": 3,
    "pupae.killed_share": 0.3,
    "larva.duration_days": 60.0,
    "harvest.interval_days": 4,
    "harvest.fraction": 0.4,
    "rack.clear_after_days": 40,
    "moisture.visible_skins_per_dm2": 1.0,
    "moisture.breeding_g_per_day": 2.0,
    "bran.start_g": 4.0,
    "bran.round_days": 3,
    "bran.reserve_days": 5.0,
    "bran.scoop_g": 0.5,
}
#: Rules that look before they act, few bins and many losses of bins.
_LOOKING = {
    **_BUSY,
    "rack.bins": 4,
    "rotation.when": "larvae",
    "rotation.larvae_per_dm2": 2.0,
    "rotation.surplus": "remove",
    "harvest.when": "when_ready",
    "harvest.ready_share": 0.2,
    "rack.clear_when": "little_left",
    "rack.little_left_g": 2.0,
    "rack.small_larvae": "sift",
    "rack.bin_loss_per_year": 3.0,
    "bran.supply": "fixed",
    "bran.start_g": 40.0,
    "bran.top_up_g": 20.0,
    "bran.top_up_below_g": 38.0,
}
#: Beetles that soon die out, so that breeding bins are left without and new ones opened.
_WAITING = {
    **_LOOKING,
    "adult.hazard_per_day": 0.2,
    "rotation.when": "eggs",
    "rotation.eggs_per_dm2": 4.0,
    "rack.small_larvae": "wait",
    "rack.small_mg": 60.0,
    "bran.supply": "as_eaten",
    "bran.start_g": 4.0,
}
_HUNGER = {
    **_SMALL,
    "bran.start_g": 12.0,
    "predation.larva_from_mg": 5.0,
    "larva.starvation_hazard_per_day": 0.05,
    "predation.larva_egg": 0.004,
    "predation.larva_pupa": 0.0003,
    "predation.adult_pupa": 0.02,
    "predation.injured_share": 0.6,
    "rack.bins": 2,
}
#: What the keeper can do, as the bin log calls it, and why bins are cleared.
_ACTIONS = {*Action, Reason.SPENT, Reason.OLD, Reason.ROOM, Reason.LOST}


#: A small deep bin in which contact, thirst, heat of the insects and depth of eggs all tell.
_CLOSE = {
    **_SMALL,
    "rack.bins": 2,
    "rack.bin_area_dm2": 1.0,
    "bran.start_g": 100.0,
    "heat.loss_w_per_m2_k": 3.0,
    "fecundity.laying_depth_cm": 2.0,
    "predation.adult_egg": 0.02,
    "predation.adult_pupa": 0.02,
    "predation.larva_pupa": 0.005,
    "predation.injured_share": 0.5,
    "larva.duration_days": 40.0,
    "larva.asymptotic_mass_mg": 155.0,
    "pupa.duration_days": 3.0,
    "pupa.hazard_per_day": 0.3,
    "egg.lifetime_days": 9.0,
    "egg.lifetime_shape": 5.0,
    "growth.crowding_slope": 0.02,
    "growth.crowding_slope_area": 0.05,
}
_LAWS = ("west_brown_enquist", "gompertz", "logistic", "richards", "exponential")
#: Rooms (C): where development is slow, at its usual pace, and near the limits of laying.
_ROOMS = {"cold": 16.0, "warm": 26.0, "hot": 31.5}
#: Crowding, refuge and heat of the insects in every combination.
_WAYS = tuple(product(("per_volume", "per_area"), ("depth", "none"), (True, False)))


def mechanisms(days: int) -> dict[str, list[Case]]:
    """Each growth law in each room, with crowding, refuge and heat in every combination."""
    found = {}
    for law, (room, air) in product(_LAWS, _ROOMS.items()):
        wave = tuple(air + 0.5 * np.sin(day) for day in range(days))
        name = f"{law}, {room} room, {len(_WAYS)} ways"
        found[name] = [
            Case(
                name,
                {
                    **_CLOSE,
                    "growth.law": law,
                    "growth.crowding": crowding,
                    "predation.refuge": refuge,
                    "heat.own": heat,
                },
                wave,
                16,
                60,
                False,
            )
            for crowding, refuge, heat in _WAYS
        ]
    few = {
        **_CLOSE,
        "pupa.hazard_per_day": 0.01,
        "adult.female_share": 0.7,
        "predation.injured_share": 0.9,
    }
    found["few males, teneral or hurt"] = [
        Case("few males", few, _warm(days), breeders, 60, False) for breeders in range(2, 10)
    ]
    return found


def _warm(days: int) -> tuple[float, ...]:
    return (27.0,) * days


def _wild(days: int) -> tuple[float, ...]:
    """A year in `days` days, with heat and cold beyond every lethal limit near its end."""
    day = np.arange(days)
    air = 24.0 - 8.0 * np.cos(2 * np.pi * day / 25.0)
    air[days - 14 :: 4] = 38.5
    air[days - 13 :: 6] = -5.3
    return tuple(float(t) for t in air)


def cases(fast: bool, seed: int) -> list[Case]:
    """Scenarios that between them reach every branch of a day."""
    days = 30 if fast else 75
    found = [
        Case("closed bin", _SMALL, _warm(days), 24, 90, False),
        Case("closed bin, hungry", _HUNGER, _warm(days), 30, 160, False),
        Case("keeper, warm", _BUSY, _warm(days), 24, 90, True),
        Case(
            "keeper, wild climate",
            {**_BUSY, "rotation.surplus": "remove", "rack.clear_after_days": 22},
            _wild(days),
            24,
            90,
            True,
        ),
        Case("keeper who looks", _LOOKING, _warm(days), 24, 90, True),
        Case("keeper who waits", _WAITING, _warm(days), 24, 90, True),
    ]
    if not fast:
        found += [_drawn(seed, k, days) for k in range(3)]
    return found


def _drawn(seed: int, k: int, days: int) -> Case:
    """Every number of the parameter file drawn from its plausible range, a keeper at work."""
    rng = np.random.default_rng([seed, k])
    values = {}
    for key, entry in catalogue().items():
        if entry.kind == "number" and entry.low is not None:
            values[key] = float(rng.uniform(entry.low, entry.high))
        elif entry.kind == "integer" and entry.low is not None:
            values[key] = int(rng.integers(entry.low, entry.high + 1))
        elif entry.kind == "boolean":
            values[key] = bool(rng.integers(2))
        elif entry.kind == "choice":
            values[key] = str(rng.choice(entry.choices))
    values |= {"fecundity.peak_eggs_per_day": 2.0, "rack.bins": 6, "rotation.interval_days": 10}
    return Case(f"drawn parameters {k + 1}", values, _wild(days), 24, 90, True)


def _worst(runs: list[Differences]) -> Differences:
    """Of several cases in one: largest differences, events of all, the first one's series."""
    found = Differences(series=runs[0].series)
    for run in runs:
        for name in ("stages", "events", "mass", "stocks", "minutes", "insects", "fields"):
            setattr(found, name, max(getattr(found, name), getattr(run, name)))
        found.insect_days += run.insect_days
        found.actions |= run.actions
        for event, count in run.seen.items():
            found.seen[event] = found.seen.get(event, 0) + count
    return found


class Twin(Claim):
    """Same keyed draws, same lives."""

    name = "twin"
    statement = (
        "With the same seed, the fast engine and a plain Mesa model with one agent per insect hold"
        " the same insects on every day: stage counts per bin, every event, every mass flow, every"
        " stock, the minutes of work, and at the end every field and flag of every insect; so under"
        " each growth law, in a cold, a warm and a hot room, with crowding by volume and by area,"
        " with and without a refuge of eggs and heat of the insects."
    )
    source = (
        "tests/verification/twin_*.py; shares only the parameters with the engine, but was written"
        " by someone who had read it and follows its intended changes: it tests the program, not"
        " the biology"
    )

    def run(self, fast: bool) -> list[Check]:
        self.found: dict[str, Differences] = {}
        checks = []
        seen = dict.fromkeys(EVENTS.values(), 0)
        actions: set[str] = set()
        several = {case.name: [case] for case in cases(fast, self.seed)}
        several |= mechanisms(12 if fast else 25)
        for name, same in several.items():
            found = self.found[name] = _worst([compare(case, self.seed) for case in same])
            for event, count in found.seen.items():
                seen[event] += count
            actions |= found.actions
            about = f"{name} ({found.insect_days} insect-days)"
            checks += [
                exact(f"{about}: stage counts per bin", found.stages, 0),
                exact(f"{about}: events of a day", found.events, 0),
                exact(f"{about}: mass flows and masses, ng", found.mass, 0),
                exact(f"{about}: stocks of bins, ng", found.stocks, 0),
                exact(f"{about}: minutes of work", found.minutes, 0),
                exact(f"{about}: insects at the end", found.insects, 0),
                exact(f"{about}: fields of insects at the end", found.fields, 0),
            ]
        idle = [n for n, count in seen.items() if count == 0]
        checks.append(
            close("kinds of event that never came up", len(idle), 0, 0, "; ".join(idle) or "none")
        )
        if not fast:
            odd = "; ".join(sorted(_ACTIONS ^ actions))
            name = "actions of the keeper that never came up, or are not known"
            checks.append(close(name, len(_ACTIONS ^ actions), 0, 0, odd or "none"))
        return checks

    def figure(self, ax) -> None:
        for name, found in list(self.found.items())[:7]:
            day, engine, twin = np.array(found.series).T
            line = ax.plot(day, engine, lw=1, label=name)[0]
            ax.plot(day, twin, ".", ms=3, color=line.get_color())
        ax.set(xlabel="day", ylabel="larvae", title="Fast engine (lines) and slow twin (dots)")
        ax.legend(fontsize=7)


class TwinDistribution(Claim):
    """Independent seeds, same distribution."""

    name = "twin_distribution"
    statement = (
        "With seeds of their own, the fast engine and the slow twin agree in the mean of stage"
        " counts, larval mass and events of a closed bin."
    )
    source = Twin.source

    def run(self, fast: bool) -> list[Check]:
        days, few, many = (15, 6, 200) if fast else (30, 12, 800)
        case = Case("closed bin", _SMALL, _warm(days), 20, 40, False)
        self.twin = np.array([self._twin(case, 1000 * self.seed + k) for k in range(few)])
        self.engine = np.array([self._engine(case, 5000 * self.seed + k) for k in range(many)])
        names = ("eggs", "larvae", "pupae", "adults", "larvae, g", "eggs laid", "eggs eaten")
        self.names = names
        return [
            t_check(f"{name} ({few} twins, {many} engines)", self.twin[:, k], self.engine[:, k])
            for k, name in enumerate(names)
        ]

    @staticmethod
    def _twin(case: Case, seed: int) -> list[float]:
        model = twin_of(case, seed)
        laid = eaten = 0
        for _ in case.temperatures:
            model.step()
            laid += model.events["eggs_laid"]
            eaten += model.events["eggs_eaten_adults"]
        counts = [sum(b.counts[s] for b in model.stocks) for s in model.stocks[0].counts]
        grams = sum(b.larvae_ng for b in model.stocks) / 1e9
        return [*counts, grams, laid, eaten]

    @staticmethod
    def _engine(case: Case, seed: int) -> list[float]:
        colony = engine_of(case, seed)
        laid = eaten = 0
        for _ in case.temperatures:
            colony.step()
            laid += colony.events[:, 0].sum()
            eaten += colony.events[:, 2].sum()
        table = colony.table.sum(axis=0)
        return [*table[:4], table[4] / 1e9, laid, eaten]

    def figure(self, ax) -> None:
        scale = self.engine.mean(axis=0)
        scale[scale == 0] = 1.0
        place = np.arange(len(self.names))
        for k in place:
            ax.plot(np.full(len(self.twin), k - 0.12), self.twin[:, k] / scale[k], "k.", ms=4)
        ax.errorbar(
            place + 0.12,
            self.engine.mean(axis=0) / scale,
            self.engine.std(axis=0) / scale,
            fmt="o",
            capsize=3,
        )
        ax.set_xticks(place, self.names, rotation=20)
        ax.set(
            ylabel="relative to the engine's mean",
            title=f"Twins (dots) and engines (mean, SD); false alarm {ALPHA:g} each",
        )
