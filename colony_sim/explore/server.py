"""Loads the model for the page, and the page itself, and puts it where the site answers."""

from __future__ import annotations

from fastapi import FastAPI
from nicegui import ui

from colony_sim.colony.simulate import Scenario
from colony_sim.drawing.content import Scale
from colony_sim.experiment.worlds import Worlds
from colony_sim.explore.band import YEAR
from colony_sim.explore.clock import Clock
from colony_sim.explore.colonies import Colonies
from colony_sim.explore.page import Page
from colony_sim.explore.rack import in_bowl, rack_now
from colony_sim.explore.session import Session
from colony_sim.explore.site import TITLE, Site, sign


def serve(site: Site, scenario: Scenario, about: str, worlds: Worlds) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    site : Site
        Is up.
    scenario : Scenario
        What the page starts from.
    about : str
        Where it comes from, in a sentence or two.
    worlds : Worlds
        Colonies that are possible.

    Raises
    ------
    KeyboardInterrupt
        Stopped with Ctrl-C.
    """
    site.doing("The rack is being lived up to today.")
    # Also loads the kernels: the page would stand still for as long as that takes.
    session = Session(scenario)
    scale = lived_on(session, min(YEAR, scenario.days // 2))
    clock, colonies = Clock(session), Colonies(worlds)
    try:
        site.put(_app(clock, colonies, about, scale))
        site.wait()
    finally:
        colonies.close()
        clock.close()


def lived_on(session: Session, days: int) -> Scale:
    """Live some days before the page opens; the scale of drawing that holds all of them.

    A rack that was just set up has nothing to say: it opens when it is worth looking at.
    """
    scale = Scale.of([rack_now(session.old_run, 0)])
    for _ in range(days):
        session.live()
        if session.day % 5 == 0:
            larvae = in_bowl(session.old_run, session.day)
            scale = scale.wider(Scale.of([rack_now(session.old_run, larvae)]))
    return scale


def _app(clock: Clock, colonies: Colonies, about: str, scale: Scale) -> FastAPI:
    web = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    watching: set[str] = set()

    async def root() -> None:
        client = ui.context.client

        def watch() -> None:
            # A page that comes back may do so before its old connection is given up.
            here = client.has_socket_connection
            (watching.add if here else watching.discard)(client.id)
            page.watched(here)
            clock.watch(bool(watching))
            colonies.watch(bool(watching))

        page = Page(clock, colonies, about, scale)
        client.on_connect(watch)
        client.on_disconnect(watch)
        await client.connected()
        ui.run_javascript("exploring.ready()")

    ui.run_with(
        web,
        root=root,
        title=TITLE,
        favicon=sign(),
        dark=None,
        language="en-US",
        binding_refresh_interval=None,
        tailwind=False,
        show_welcome_message=False,
        # A machine that is busy with more than this page must not lose it.
        reconnect_timeout=8,
    )
    return web
