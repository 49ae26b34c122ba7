"""Claims: facts of the trade. Common practice, no source."""

from __future__ import annotations

import numpy as np

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario, simulate

from .claim import Check, Claim, exact

#: Grams of one bin's harvest that a keeper would call a harvest.
_A_HARVEST_G = 10.0


class Trade(Claim):
    """What keepers see, with the default rules in a household."""

    name = "trade"
    statement = (
        "With the default rules at 25 C: beetles are moved every two to three weeks; a bin is near"
        " first harvest seven to eight weeks after the beetles leave it; skins lie on top by about"
        " six weeks; larvae of one bin differ in size; bins form a ladder of ages."
    )
    source = "common practice, no source"

    def run(self, fast: bool) -> list[Check]:
        days, seeds = (260, 1) if fast else (420, 4)
        moves, first, skins, spread, ladder = [], [], [], [], []
        self.ages = []
        for k in range(seeds):
            scenario = Scenario(Parameters.default(), constant(25.0), days, self.seed + k, 300)
            run = simulate(scenario, record_bins=True)
            log = run.bin_log
            moves += list(np.diff(sorted(log[log["action"] == "beetles out"]["day"].unique())))
            settled = log[(log["date_out"] > 0) & (log["date_out"] < days - 160)]
            harvest = settled[(settled["action"] == "harvest") & (settled["grams"] >= _A_HARVEST_G)]
            age = (harvest["day"] - harvest["date_out"]).groupby(harvest["date_out"]).min()
            first += [int(v) for v in age]
            wet = settled[settled["action"] == "moisture started"]
            skins += [int(v) for v in wet["day"] - wet["date_out"]]
            last = run.bins_daily[run.bins_daily["day"] == days]
            growing = last[(last["phase"] == "growing") & (last["larvae"] > 20)]
            self.ages.append(sorted((days - growing["date_out"]).astype(int)))
            ladder.append(len(set(self.ages[-1])) / max(1, len(self.ages[-1])))
            spread.append(self._size_spread(self.seed + k))
        self.first, self.skins = first, skins
        return [
            Check("days between moves", float(np.median(moves)), 17.5, 3.5, "two to three weeks"),
            Check(
                f"median days from beetles out to a harvest of {_A_HARVEST_G:g} g, 25 C",
                float(np.median(first)),
                52.5,
                14.0,
                "seven to eight weeks, and two rounds of harvest either way",
            ),
            Check(
                "median days from beetles out to skins enough to be seen",
                float(np.median(skins)),
                42.0,
                10.0,
                "about six weeks, and some ten days either way",
            ),
            Check(
                "coefficient of variation of larval mass 60 d after the beetles left",
                float(np.mean(spread)),
                0.4,
                0.25,
                "differ plainly to the eye: 15 to 65 %",
            ),
            exact(
                "growing bins of an age of their own, share",
                float(np.mean(ladder)),
                1.0,
                "one bin is left at a time",
            ),
        ]

    def _size_spread(self, seed: int) -> float:
        from colony_sim.colony.model import Colony
        from colony_sim.population.insects import Stage

        p = Parameters.default()
        colony = Colony(p, [25.0] * 74, seed, 300)
        for _ in range(74):
            colony.step()
        store = colony.insects
        mine = (store.view("stage") == Stage.LARVA) & (store.view("bin") == 0)
        mass = store.view("mass")[mine] / 1e6
        return float(mass.std() / mass.mean())

    def figure(self, ax) -> None:
        ax.hist(
            [self.first, self.skins],
            bins=np.arange(20, 160, 7),
            label=["first harvest", "skins seen"],
        )
        ax.axvspan(49, 56, alpha=0.2, color="C0", label="trade: 7-8 weeks")
        ax.axvline(42, color="C1", ls=":", label="trade: about 6 weeks")
        ax.set(xlabel="days since the beetles left", ylabel="bins", title="Common practice")
        ax.legend(fontsize=7)
