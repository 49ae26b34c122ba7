"""The rack as it stands today, as one closed page: a tap on a bin opens what is in it."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import jinja2
from markupsafe import Markup

from colony_sim.assimilation import words
from colony_sim.assimilation.told import BinTold, Told
from colony_sim.atomic import write_atomic
from colony_sim.drawing import palette, typeface
from colony_sim.drawing.content import BinContent, RackContent, Scale
from colony_sim.drawing.glyphs import BIN_WIDTH, FOOT
from colony_sim.drawing.rack import offsets, rack_scene
from colony_sim.drawing.svg import svg

FILE = "today.html"
_ACROSS = 3
"""Bins side by side: three can be told apart and hit with a thumb on a telephone."""
_SHOWN = (
    ("eggs", "eggs"), ("small_larvae", "small larvae"), ("medium_larvae", "medium larvae"),
    ("large_larvae", "larvae of harvest size"), ("large_g", "of harvest size (g)"),
    ("pupae", "pupae"), ("beetles", "beetles"), ("bran_g", "bran (g)"), ("frass_g", "frass (g)"),
    ("skins", "skins to be seen"),
)  # fmt: skip


def write(told: Told, path: Path) -> None:
    """Write the page, whole or not at all."""
    text = html(told)
    write_atomic(path, lambda staged: staged.write_text(text, encoding="utf-8", newline="\n"))


def html(told: Told) -> str:
    """The page: no request leaves it."""
    content = rack_of(told)
    picture = svg(rack_scene(content, Scale.of([content]), _ACROSS), "")
    scene = rack_scene(content, Scale.of([content]), _ACROSS)
    places = [
        {"left": 100 * x / scene.width, "top": 100 * y / scene.height,
         "width": 100 * BIN_WIDTH / scene.width, "height": 100 * FOOT / scene.height}
        for x, y in offsets(content, _ACROSS)
    ]  # fmt: skip
    must, more = words.screen(told)
    template = jinja2.Environment(autoescape=True).from_string(
        files("colony_sim.assimilation").joinpath("page.html").read_text(encoding="utf-8")
    )
    return template.render(
        style=Markup(palette.css() + typeface.css()),
        family=Markup(typeface.STACK),
        on=words.nice(told.on) + f" {told.on.year}",
        headline=must[0],
        warning=words.strange(told),
        picture=Markup(picture),
        bins=[
            {"name": bin_.name, "place": place, **_details(told, bin_)}
            for bin_, place in zip(told.bins, places, strict=True)
        ],
        more=more,
    )


def _details(told: Told, bin_: BinTold) -> dict[str, object]:
    label = {
        "free": "free",
        "breeding": f"beetles in since {words.short_date(bin_.beetles_in)}",
        "growing": f"beetles out since {words.short_date(bin_.beetles_out)}",
    }[bin_.phase]
    rows = [
        (said, words.about(one.median), f"{words.about(one.low_90)} to {words.about(one.high_90)}")
        for what, said in _SHOWN
        if (one := bin_.contents[what]).high_90 >= 0.5 and bin_.phase != "free"
    ]
    steps = [words.step_in_words(told, step) for step in bin_.steps if step.probability > 0.5]
    return {"label": label, "rows": rows, "steps": steps}


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
    numbered = bin_.name.isdigit()
    number = int(bin_.name) if numbered else slot + 1
    label = [] if numbered else [bin_.name]
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
