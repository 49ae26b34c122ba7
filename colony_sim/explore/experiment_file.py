"""The experiment file that puts the two runs of the page to the test."""

from __future__ import annotations

from typing import Any

from colony_sim.biology.parameters import catalogue
from colony_sim.colony.simulate import Scenario
from colony_sim.explore.rules import BREEDERS, LARVAE, TEMPERATURE, differences

NAME = "explored"
#: Runs of each policy, as in the shipped experiments.
REPLICATES = 20
_COMMON = (TEMPERATURE, BREEDERS, LARVAE)


def experiment_text(held: Scenario, this: Scenario) -> str | None:
    """Text (TOML) of an experiment with the two runs' handling as its policies.

    None where an experiment cannot hold both: they differ in the room or the founders, or in no
    handling rule, or the room follows a series that is in a file of its own.
    """
    keys = [found.key for found, _, _ in differences(held, this)]
    handling = [key for key in keys if key in catalogue()]
    if not handling or set(keys) & set(_COMMON) or this.climate.kind in ("series", "logger"):
        return None
    default = {key: entry.value for key, entry in catalogue().items()}
    same = {
        key: found
        for key, found in this.parameters.items()
        if found != default[key] and key not in handling
    }
    lines = [
        "# An invented scenario, from the page of colony-sim explore.",
        "",
        "[experiment]",
        f'name = "{NAME}"',
        'question = "Does the changed handling do better than the held run?"',
        "invented = true",
        f"days = {this.days}",
        f"replicates = {REPLICATES}",
        f"seed = {this.seed}",
        'baseline = "held run"',
        "",
        "[climate]",
        f'kind = "{this.climate.kind}"',
    ]
    fields = {
        "constant": ("temperature_c",),
        "yearly_wave": ("mean_c", "amplitude_k", "coldest_day"),
    }[this.climate.kind]
    lines += [
        f"{field} = {found!r}" for field, found in zip(fields, this.climate.values, strict=True)
    ]
    lines += ["", "[start]", f"breeders = {this.breeders}", f"larvae = {this.larvae}"]
    for group in ("biology", "handling"):
        own = {key: found for key, found in same.items() if catalogue()[key].group == group}
        if own:
            lines += ["", f"[{group}]", *(f"{key} = {_toml(own[key])}" for key in own)]
    for name, scenario in (("held run", held), ("this run", this)):
        lines += ["", "[[policy]]", f'name = "{name}"']
        lines += [f"{key} = {_toml(scenario.parameters[key])}" for key in handling]
    return "\n".join(lines) + "\n"


def _toml(found: Any) -> str:
    if isinstance(found, bool):
        return str(found).lower()
    return f'"{found}"' if isinstance(found, str) else repr(found)
