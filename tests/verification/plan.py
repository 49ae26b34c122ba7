"""Claim: what a plan says of its own advice comes true in fresh runs in fresh worlds."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from colony_sim.experiment.worlds import worlds_of
from colony_sim.planning.choose import FROM_LOG, OVER_WORLDS
from colony_sim.planning.planner import make_plan
from colony_sim.planning.request import read_request

from .claim import Check, Claim, close, mean_check

START = "2030-03-01"
#: Wants and rooms from easily fed to never, from beetles and from bins.
ASKED = (
    {"animals": "4 hens", "bins": 14, "coldest": 17.0, "warmest": 27.0, "breeders": 100},
    {"animals": "2 hens", "bins": 14, "temperature": 25.0, "breeders": 200},
    {"animals": "12 quail", "bins": 10, "temperature": 22.0},
    {"grams_per_day": 1.5, "bins": 8, "coldest": 12.0, "warmest": 28.0},
    {"animals": "2 hens, 3 quail", "log": "demo_log", "temperature": 27.0, "bins": 9},
    {"grams_per_day": 3.0, "bins": 20, "temperature": 27.0, "breeders": 60},
)
FRESH = 60


class PlanComesTrue(Claim):
    """A plan, then its advice in colonies that nothing was chosen on."""

    name = "plan"
    statement = (
        "The share of all four weeks that a plan says its advice feeds is that of fresh runs of it"
    )
    source = "colony_sim.planning.check; fresh seeds and fresh worlds"

    def run(self, fast: bool) -> list[Check]:
        """Plans of the default effort with more fresh runs; the fast version makes two."""
        self.said, self.came, held = [], [], []
        for number, asked in enumerate(ASKED[:2] if fast else ASKED):
            found = self._checked(number, asked, 20 if fast else FRESH)
            self.said.append(found.said_fed)
            self.came.append(found.fed)
            held.append(found.low <= 0 <= found.high)
        gaps = np.array(self.came) - np.array(self.said)
        # Of n intervals of 95 %, more than this many miss with probability below 1 in 1,000.
        most = 1 if len(held) < 3 else 2
        return [
            mean_check(
                "mean of what came minus what was said (share of four weeks fed)", gaps, 0.0,
                alpha=0.01, allowance=0.02, why="a remedy picked as the best is a little flattered",
            ),
            close("intervals that miss", len(held) - sum(held), 0, most, "95 % intervals"),
            close("largest gap", float(np.abs(gaps).max()), 0, 1, "shown", kind="shown"),
        ]  # fmt: skip

    def _checked(self, number: int, asked: dict, fresh: int):
        from colony_sim.experiment import shipped

        given = {"seed": self.seed + number, **asked}
        if "log" in given:
            given["log"] = shipped.find(Path(given["log"]), shipped.LOG)
        else:
            given["start"] = START
        request = read_request(None, given)
        effort = FROM_LOG if request.from_log else replace(OVER_WORLDS, check=fresh)
        with tempfile.TemporaryDirectory() as folder:
            found = make_plan(request, Path(folder), effort, profile=worlds_of(None, False))
        assert found.checked is not None
        return found.checked

    def figure(self, ax) -> None:
        """What came against what was said."""
        ax.plot([0, 1], [0, 1], color="0.7")
        ax.plot(self.said, self.came, "o")
        ax.set_xlabel("Share of four weeks fed, as said")
        ax.set_ylabel("in fresh runs")
