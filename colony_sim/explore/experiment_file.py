"""The experiment file that puts the two ways of the page to the test."""

from __future__ import annotations

from typing import Any

from colony_sim.biology.parameters import catalogue
from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.units import METRIC, UNITS, house
from colony_sim.explore.rules import differences

NAME = "explored"
#: Runs of each policy, as in the shipped experiments.
REPLICATES = 20


def experiment_text(old: Scenario, new: Scenario) -> str | None:
    """Text (TOML) of an experiment with two ways that differ in handling alone as its policies.

    None where both are the same, or where the room follows a series that is in a file of its own.
    """
    handling = [found.key for found, _, _ in differences(old, new)]
    if not handling or new.climate.kind in ("series", "logger"):
        return None
    default = {key: entry.value for key, entry in catalogue().items()}
    same = {
        key: found
        for key, found in new.parameters.items()
        if found != default[key] and key not in handling
    }
    lines = [
        "# An invented scenario, from the page of colony-sim explore.",
        "",
        "[experiment]",
        f'name = "{NAME}"',
        'question = "Does the new way do better than the old way?"',
        "invented = true",
        *_units(),
        f"days = {new.days}",
        f"replicates = {REPLICATES}",
        f"seed = {new.seed}",
        'baseline = "old way"',
        "",
        "[climate]",
        f'kind = "{new.climate.kind}"',
    ]
    fields = {
        "constant": ("temperature_c",),
        "yearly_wave": ("mean_c", "amplitude_k", "coldest_day"),
    }[new.climate.kind]
    lines += [
        f"{field} = {found!r}" for field, found in zip(fields, new.climate.values, strict=True)
    ]
    lines += ["", "[start]", f"breeders = {new.breeders}", f"larvae = {new.larvae}"]
    for group in ("biology", "handling"):
        own = {key: found for key, found in same.items() if catalogue()[key].group == group}
        if own:
            lines += ["", f"[{group}]", *(f"{key} = {_toml(own[key])}" for key in own)]
    for name, scenario in (("old way", old), ("new way", new)):
        lines += ["", "[[policy]]", f'name = "{name}"']
        lines += [f"{key} = {_toml(scenario.parameters[key])}" for key in handling]
    return "\n".join(lines) + "\n"


def _units() -> list[str]:
    """The units of the house, where they are not those that a file has by itself."""
    system = house().system
    return [] if system == METRIC.system else [f'{UNITS} = "{system}"']


def _toml(found: Any) -> str:
    if isinstance(found, bool):
        return str(found).lower()
    return f'"{found}"' if isinstance(found, str) else repr(found)
