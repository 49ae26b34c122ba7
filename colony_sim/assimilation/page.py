"""The rack as it stands today, as one closed page: a tap on a bin opens what is in it."""

from __future__ import annotations

import base64
import datetime
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import jinja2
from markupsafe import Markup

from colony_sim.assimilation import taps, words
from colony_sim.assimilation.told import BinTold, Told
from colony_sim.atomic import write_text
from colony_sim.colony.bins import Phase
from colony_sim.drawing import palette, typeface
from colony_sim.drawing.content import BinContent, RackContent, Scale
from colony_sim.drawing.glyphs import BIN_WIDTH, FOOT
from colony_sim.drawing.rack import offsets, rack_scene
from colony_sim.drawing.scene import Scene
from colony_sim.drawing.svg import svg
from colony_sim.logs.log_rows import Layout, Row
from colony_sim.words.units import symbol

FILE = "today.html"
_ACROSS = 3
"""Bins side by side: three can be told apart and hit with a thumb on a telephone."""
_SHOWN = (
    ("eggs", "eggs"), ("small_larvae", "small larvae"), ("medium_larvae", "medium larvae"),
    ("large_larvae", "larvae of harvest size"), ("large_g", "of harvest size ({})"),
    ("pupae", "pupae"), ("beetles", "beetles"), ("bran_g", "bran ({})"), ("frass_g", "frass ({})"),
    ("skins", "skins to be seen"),
)  # fmt: skip


@dataclass(frozen=True)
class Service:
    """What a served page knows besides what is told.

    Attributes
    ----------
    version : int
        Of the state shown; another is shown after the log was worked out again.
    day : datetime.date or None
        The day on which rows are logged; None: the calendar's.
    rows : sequence of Row
        Rows logged on pages like this one.
    fresh : frozenset of str
        Keys of those that the state shown does not know of.
    """

    version: int
    day: datetime.date | None
    rows: Sequence[Row]
    fresh: frozenset[str]


#: Letters of a bin's name that can stand large on its label.
SHORT_NAME = 4


def write(told: Told, layout: Layout, path: Path) -> None:
    """Write the page, whole or not at all."""
    write_text(path, html(told, layout)[0])


def html(told: Told, layout: Layout, service: Service | None = None) -> tuple[str, str]:
    """The page and its content policy. Without a service it is closed: no request leaves it."""
    content = rack_of(told)
    scene = rack_scene(content, Scale.of([content]), _ACROSS)
    must, more = words.screen(told)
    style = "\n".join([
        palette.css(), typeface.css(), f"body {{ font: 1.0625rem/1.5 {typeface.STACK}; }}",
        _read("page.css"), *_places(content, scene),
    ])  # fmt: skip
    data = _data(told, layout, service)
    script = f"const data = {_for_script(data)};\n{_read('page.js')}"
    policy = _policy(style, script, service is not None)
    template = jinja2.Environment(autoescape=True).from_string(_read("page.html"))
    text = template.render(
        style=Markup(style),
        script=Markup(script),
        policy=policy,
        served=service is not None,
        on=words.nice(told.on) + f" {told.on.year}",
        headline=must[0],
        warning=words.strange(told),
        picture=Markup(svg(scene, "")),
        bins=[{"name": bin_.name, **_details(told, bin_)} for bin_ in told.bins],
        work=[words.task(told, bin_, step) for bin_, step in told.work],
        more=more,
    )
    return text, policy


def _read(name: str) -> str:
    return files("colony_sim.assimilation").joinpath(name).read_text(encoding="utf-8")


def _places(content: RackContent, scene: Scene) -> list[str]:
    """Where on the drawing a tap opens a bin."""
    across, down = 100 * BIN_WIDTH / scene.width, 100 * FOOT / scene.height
    return [f".rack a {{ width: {across:.2f}%; height: {down:.2f}%; }}"] + [
        f'.rack a[href="#bin-{n}"] {{ left: {100 * x / scene.width:.2f}%; '
        f"top: {100 * y / scene.height:.2f}%; }}"
        for n, (x, y) in enumerate(offsets(content, _ACROSS), 1)
    ]


def _policy(style: str, script: str, served: bool) -> str:
    """Only this style and this script; a served page also asks the server that it came from."""
    hashes = [
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        for text in (style, script)
    ]
    asks = "'self'" if served else "'none'"
    return (
        f"default-src 'none'; style-src 'sha256-{hashes[0]}'; script-src 'sha256-{hashes[1]}'; "
        f"font-src data:; img-src data:; connect-src {asks}; base-uri 'none'; form-action 'none'"
    )


def _for_script(data: object) -> str:
    # A note of the keeper's must not end the script.
    return json.dumps(data).replace("<", "\\u003c")


def _data(told: Told, layout: Layout, service: Service | None) -> dict[str, object]:
    day = told.on if service is None else service.day
    return {
        "served": service is not None,
        "version": 0 if service is None else service.version,
        "day": None if day is None else day.isoformat(),
        "columns": layout.columns,
        "parted": layout.parted,
        "forms": taps.forms(),
        "bins": [bin_.name for bin_ in told.bins],
        "free": [bin_.name for bin_ in told.bins if bin_.phase == Phase.FREE.value],
        "work": [
            {"bin": bin_.name, "action": taps.DOES[step.what]} for bin_, step in told.work
        ],
        "rows": [
            {"key": row.key, "cells": row.cells, "fresh": row.key in service.fresh}
            for row in service.rows
        ] if service else [],
    }  # fmt: skip


def _details(told: Told, bin_: BinTold) -> dict[str, object]:
    label = {
        "free": "free",
        "breeding": f"beetles in since {words.short_date(bin_.beetles_in)}",
        "growing": f"beetles out since {words.short_date(bin_.beetles_out)}",
    }[bin_.phase]
    if bin_.skins is not None:
        label += f", skins seen on {words.short_date(bin_.skins)}"
    rows = [
        (said.format(symbol("g")), *words.in_cells(one, what.endswith("_g")))
        for what, said in _SHOWN
        if (one := bin_.contents[what]).high_90 >= 0.5 and bin_.phase != "free"
    ]
    first, others = taps.of_phase(bin_.phase)
    steps = [words.step_in_words(told, step) for step in bin_.steps if step.probability > 0.5]
    return {"label": label, "rows": rows, "steps": steps, "first": first, "others": others}


def rack_of(told: Told) -> RackContent:
    """The rack as it is drawn, by the medians."""
    tray = {
        "pupae": round(told.tray.contents["pupae"].median),
        "adults": round(told.tray.contents["beetles"].median),
    }
    drawn = [_drawn(told, slot, bin_) for slot, bin_ in enumerate(told.bins)]
    return RackContent(drawn, tray if any(tray.values()) else None)


def _drawn(told: Told, slot: int, bin_: BinTold) -> BinContent:
    middle = {what: one.median for what, one in bin_.contents.items()}
    # A longer name has its own line beside the place of the bin.
    short = len(bin_.name) <= SHORT_NAME
    number = bin_.name if short else slot + 1
    label = [] if short else [bin_.name]
    if bin_.phase == "free":
        return BinContent(number, "free", label=(*label, "free"))
    since = bin_.beetles_in if bin_.phase == "breeding" else bin_.beetles_out
    word = "in" if bin_.phase == "breeding" else "out"
    days = 0 if since is None else (told.on - since).days
    larvae = middle["larvae"]
    return BinContent(
        number, bin_.phase, round(middle["eggs"]), round(larvae), round(middle["pupae"]),
        round(middle["beetles"]), 1000 * middle["larvae_g"] / larvae if larvae >= 1 else 0.0,
        middle["bran_g"], middle["frass_g"], round(middle["skins"]),
        bin_.moist or bin_.phase == "breeding", (*label, f"{word} {days} d"),
    )  # fmt: skip
