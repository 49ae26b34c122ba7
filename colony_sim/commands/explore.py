"""``colony-sim explore``: a local page with a drawn rack that rules are tried on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import single
from colony_sim.experiment.units import METRIC, using
from colony_sim.experiment.worlds import SHIPPED, profile_of, read_worlds
from colony_sim.explore.session import invented
from colony_sim.extras import require
from colony_sim.running.runner import compile_kernels

INVENTED = "An invented scenario, every rule at its default. It is not data of a real colony."
MODEL = "A model, not a forecast for your bins."


def run_explore(
    file: Path | None, *, policy: str | None, profile: Path | None, port: int, browse: bool
) -> None:
    """Serve the page until Ctrl-C."""
    if file is None:
        if policy is not None:
            raise InputError("command line", "--policy", policy, "only with an experiment FILE")
        scenario, about, house = invented(), INVENTED, METRIC
    else:
        run = single(load(file), policy=policy)
        scenario, house = run.scenario, run.house
        about = f'Starts from the policy "{run.policy}" of {file.name}, as in its first run.'
    fitted = profile_of(profile)
    if fitted is not None:
        own = scenario.parameters.with_values(fitted.centre(), where=str(profile))
        scenario = replace(scenario, parameters=own)
        about += f" Biology: central draw of profile “{fitted.name}”."
    require("nicegui", "nicegui>=3.14", "explore")
    from colony_sim.explore.server import serve

    compile_kernels()
    with using(house):
        serve(scenario, f"{about} {MODEL}", fitted or read_worlds(SHIPPED), port, _tell, browse)


def _tell(address: str) -> None:
    print(f"The page is at {address} (this machine only). Ctrl-C ends it.", flush=True)
