"""``colony-sim explore``: a local page with a drawn rack that rules are tried on.

The page answers from the start and waits for the model: what is heavy is imported after that.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from colony_sim.commands.early import getting_ready
from colony_sim.errors import InputError
from colony_sim.extras import check

if TYPE_CHECKING:
    from colony_sim.colony.simulate import Scenario
    from colony_sim.experiment.units import House
    from colony_sim.experiment.worlds import Worlds

INVENTED = "An invented scenario, every rule at its default. It is not data of a real colony."
MODEL = "A model, not a forecast for your bins."


def run_explore(
    file: Path | None, *, policy: str | None, profile: Path | None, port: int, browse: bool
) -> None:
    """Serve the page until Ctrl-C."""
    if file is None and policy is not None:
        raise InputError("command line", "--policy", policy, "only with an experiment FILE")
    check("nicegui", "nicegui>=3.14", "explore")
    from colony_sim.explore.site import Site

    with Site(port, _tell) as site:
        # A file that is refused must not have opened a page.
        given = file is not None or profile is not None
        if not given:
            site.announce(browse)
        with getting_ready():
            scenario, about, worlds, house = start(file, policy, profile)
            from colony_sim.experiment.units import using_everywhere
            from colony_sim.explore import server
            from colony_sim.running.runner import compile_kernels, preparing
        if given:
            site.announce(browse)
        if line := preparing():
            site.doing(line)
        compile_kernels()
        with using_everywhere(house):
            server.serve(site, scenario, f"{about} {MODEL}", worlds)


def start(
    file: Path | None, policy: str | None, profile: Path | None
) -> tuple[Scenario, str, Worlds, House]:
    """What the page starts from, in words where that is from, what is possible, and its units."""
    from colony_sim.experiment.files import load
    from colony_sim.experiment.plan import single
    from colony_sim.experiment.units import METRIC
    from colony_sim.experiment.worlds import SHIPPED, profile_of, read_worlds
    from colony_sim.explore.session import invented

    if file is None:
        scenario, about, house = invented(), INVENTED, METRIC
    else:
        run = single(load(file), policy=policy)
        scenario, house = run.scenario, run.house
        about = f'Starts from the policy "{run.policy}" of {file.name}, as in its first run.'
    fitted = profile_of(profile)
    if fitted is None:
        return scenario, about, read_worlds(SHIPPED), house
    own = scenario.parameters.with_values(fitted.centre(), where=str(profile))
    about += f" Biology: central draw of profile “{fitted.name}”."
    return replace(scenario, parameters=own), about, fitted, house


def _tell(line: str) -> None:
    print(line, flush=True)
