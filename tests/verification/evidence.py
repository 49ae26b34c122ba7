"""Claims: published experiments and what keepers see, beside the model."""

from __future__ import annotations

import math

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.evidence import keepers
from colony_sim.evidence.misses import misses
from colony_sim.evidence.numbers import Standing
from colony_sim.evidence.run import run

from .claim import Check, Claim

_KINDS = {Standing.JUDGED: "check", Standing.USED: "calibration"}


def status(row: dict, name: str, allowed: str, kind: str = "check") -> Check:
    """Whether a number comes out (1) or not (0), against the list of known misses."""
    reason = misses().get(row["id"])
    why = f"known miss: {reason}" if reason else allowed
    return Check(name, float(row["in"]), float(reason is None), 0.0, why, 0.0, kind)


class Evidence(Claim):
    """All published numbers that the model can live."""

    name = "evidence"
    statement = (
        "Lived as its authors did, each judged published number comes out within the difference"
        " between studies, stated beforehand by kind of quantity; those that do not are named in"
        " the package with a reason, and none of these comes out unnoticed. What set a value is"
        " calibration."
    )
    source = "colony_sim/evidence/numbers.csv, a source a number"

    def run(self, fast: bool) -> list[Check]:
        # The list of misses is that of the first seed: some numbers lie at the edge.
        self.table = run(Parameters.default(), seed=1)
        checks = []
        for row in self.table.to_dict("records"):
            if row["standing"] == Standing.HELD:
                continue
            allowed = (
                f"published {row['published']}, model {row['model']:.4g} ({row['model_low']:.4g} to"
                f" {row['model_high']:.4g}); factors {row['below']:g} and {row['above']:g},"
                f" {row['points']:g} points"
            )
            name = f"{row['quantity']} ({row['id']})"
            checks.append(status(row, name, allowed, _KINDS[Standing(row["standing"])]))
        return checks

    def figure(self, ax) -> None:
        shown = self.table[self.table["ratio"].gt(0)]
        for k, (standing, rows) in enumerate(shown.groupby("standing")):
            ratios = np.clip(np.sort(rows["ratio"]), 0.1, 10)
            ax.plot(ratios, np.linspace(0, 1, len(rows)), ".-", color=f"C{k}", label=standing)
        ax.axvline(1.0, color="k", lw=1)
        ax.set(xscale="log", xlabel="model over published number", ylabel="share of numbers")
        ax.legend()


class Keepers(Claim):
    """First harvest and skins on top in a household."""

    name = "keepers"
    statement = (
        "With the default rules a bin is near first harvest seven to eight weeks after its beetles"
        " left and has skins on top after some six, or the gap is named in the package with its"
        " reason; nothing is fitted to it."
    )
    source = "common practice, no source"

    def run(self, fast: bool) -> list[Check]:
        p = Parameters.default()
        self.table = keepers.table(keepers.grid(p, self.seed), p)
        return [
            status(
                row,
                f"{row['what']} at {row['room_c']:g} C",
                f"practice {row['practice_low']:g} to {row['practice_high']:g} d, model"
                f" {row['model']:.0f} ({row['model_low']:.0f} to {row['model_high']:.0f})",
            )
            for row in self.table.to_dict("records")
        ]

    def figure(self, ax) -> None:
        for y, row in enumerate(self.table.to_dict("records")):
            ax.barh(y, row["practice_high"] - row["practice_low"], left=row["practice_low"])
            ends = [row[end] for end in ("model_low", "model", "model_high")]
            ax.plot([min(end, 250.0) for end in ends if not math.isnan(end)], [y] * 3, "k.-")
        names = [f"{row['what']}, {row['room_c']:g} C" for row in self.table.to_dict("records")]
        ax.set_yticks(range(len(names)), names)
        ax.set(xlabel="days since the beetles left (bar: practice)", title="Common practice")
