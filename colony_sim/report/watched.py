"""Which two policies of a comparison are watched, and their racks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from colony_sim.errors import InputError
from colony_sim.measuring.catalogue import YIELD
from colony_sim.report import rack_data, tables
from colony_sim.report.contents import COMPARISON, ordered
from colony_sim.studies.comparison.relive import retrace

ONLY = "the folder of a comparison (only its runs can be watched)"


def check_days(days: int | None) -> None:
    """Refuse days that cannot be shown.

    Raises
    ------
    InputError
    """
    if days is not None and not 1 <= days <= rack_data.MOST_DAYS:
        raise InputError("argument days", "days", days, f"1 to {rack_data.MOST_DAYS} days")


def pair_of(facts: dict[str, Any], folder: Path, asked: list[str] | None) -> tuple[str, str] | None:
    """The two policies of the racks: those asked for, else the baseline and the best of the others.

    None where there are not two.

    Raises
    ------
    InputError
        If others are asked for than the folder has.
    """
    names = ordered(facts)
    if asked is not None:
        if facts.get("kind") != COMPARISON:
            raise InputError(str(folder), "policies", ",".join(asked), ONLY)
        unknown = [name for name in asked if name not in names]
        if unknown or len(asked) != 2 or asked[0] == asked[1]:
            shown = unknown[0] if unknown else ",".join(asked)
            raise InputError("argument policies", "policies", shown, f"two of {', '.join(names)}")
        return asked[0], asked[1]
    if facts.get("kind") != COMPARISON or len(names) < 2:
        return None
    summary = tables.read(folder, "policies")
    means = summary[summary["measure"] == YIELD].set_index("policy")["mean"].fillna(-1.0)
    return names[0], max(names[1:], key=lambda name: means[name])


def racks_of(
    folder: Path, facts: dict[str, Any], pair: tuple[str, str] | None, days: int
) -> rack_data.Rack:
    """The racks of both policies, of one run each that is lived again.

    Raises
    ------
    InputError
        If there are not two policies or too many bins, or the runs come out otherwise than stored.
    """
    if facts.get("kind") != COMPARISON:
        raise InputError(str(folder), "kind", facts.get("kind"), ONLY)
    if pair is None:
        raise InputError(str(folder), "policies", 1, "two policies to compare")
    bins = max(entry["handling"]["rack.bins"] for entry in facts["policies"])
    if bins > rack_data.MOST_BINS:
        raise InputError(str(folder), "bins", bins, f"at most {rack_data.MOST_BINS} to be watched")
    return rack_data.build(retrace(folder, pair), pair, days)
