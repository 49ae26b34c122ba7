"""``colony-sim evidence``: do published experiments come out when the model lives them?"""

from __future__ import annotations

from pathlib import Path

from colony_sim.biology.parameters import Parameters, Value, find
from colony_sim.commands.compare import command_line
from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import progress_bar
from colony_sim.commands.study import tell
from colony_sim.errors import InputError
from colony_sim.evidence.study import NAME
from colony_sim.evidence.study import run_evidence as evidence
from colony_sim.experiment.design import parse_vary
from colony_sim.experiment.files import LARGEST_SEED
from colony_sim.experiment.plan import whole
from colony_sim.results.folder import folder_of


def changed(specs: list[str]) -> dict[str, Value]:
    """Values of ``--set``; InputError for what is no single allowed value of the biology."""
    found: dict[str, Value] = {}
    for spec in specs:
        key = spec.partition("=")[0].strip()
        if key:
            find(key, "--set", "biology")
        values = parse_vary(spec, "--set").values
        if len(values) != 1:
            raise InputError("--set", "KEY=VALUE", spec, "one value")
        if key in found:
            raise InputError("--set", key, "given twice", "every key once")
        found[key] = values[0]
    return found


def run_evidence(
    *,
    values: list[str],
    seed: int | None,
    workers: int | None,
    out: Path | None,
    bite: bool = False,
    keys: list[str] | None = None,
    full: bool = False,
) -> Path:
    """Live every replication, print what comes out, and write the table and its figure."""
    found = changed(values)
    Parameters.default().with_values(found, "--set")
    seed = whole("seed", seed, 0, LARGEST_SEED, 1)
    folder = folder_of(NAME, out)
    try:
        with progress_bar(NAME) as on_progress:
            result = evidence(
                folder, values=found, seed=seed, workers=workers, bite=bite, keys=keys,
                command=command_line(), on_progress=on_progress,
            )  # fmt: skip
    except KeyboardInterrupt:
        raise Ending("Stopped; nothing was written.", STOPPED) from None
    return tell(result, full, more=True)
