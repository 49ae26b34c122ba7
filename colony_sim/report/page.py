"""One self-contained page of a results folder: no request leaves it, no script but its own."""

from __future__ import annotations

import base64
import hashlib
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2
import numpy as np
from markupsafe import Markup

from colony_sim.atomic import write_text
from colony_sim.drawing import live, palette, typeface
from colony_sim.drawing.rack import sign_scene
from colony_sim.drawing.scene import Mark, Place, Scene
from colony_sim.drawing.svg import svg
from colony_sim.errors import InputError
from colony_sim.experiment.units import using
from colony_sim.figures.slide import Slide
from colony_sim.report import rack_data, tables, words
from colony_sim.report.contents import COMPARISON, Contents, gather_contents
from colony_sim.report.pictures import Picture, pictures
from colony_sim.report.watched import check_days, pair_of, racks_of
from colony_sim.results import manifest
from colony_sim.results.folder import check_place
from colony_sim.running.protocol import Executor

REPORT = "report.html"
KINDS = (".html", ".htm")
SCRIPTS = ("rack_words.js", "rack_draw.js", "rack_play.js")
"""Parts of the page's one script, in this order, after that of the drawing; a later one uses the
names of those before."""
MARKS = "●■◆▲▼"
"""Signs of policies by their place, the baseline first; `page.css` draws them."""
KEY = (
    ("egg", "eggs", "eggs"),
    ("larva", "larvae", "larvae, the larger the heavier on average"),
    ("pupa", "pupae", "pupae"),
    ("beetle", "adults", "beetles"),
    ("skin", "skins", "shed skins"),
)
"""Sign, what a scale calls it, and its words."""
_PACKAGE = "colony_sim.report"


@dataclass(frozen=True)
class Written:
    """The file, its size (bytes), and why there is no rack on it (empty: there is one)."""

    path: Path
    size: int
    without_rack: str


def write_report(
    folder: Path,
    out: Path | None = None,
    *,
    policies: list[str] | None = None,
    days: int | None = None,
    beside: bool = True,
    executor: Executor | None = None,
) -> Written:
    """Write the page of a results folder.

    Parameters
    ----------
    folder : Path
        Results folder of any kind that has figures; it is only read, but for the page.
    out : Path, optional
        Default: ``report.html`` in the folder.
    policies : list of str, optional
        The two policies of the racks, in this order; only for a comparison. Default: the baseline
        and the other policy with the highest mean yield.
    days : int, optional
        Days of the rack (1 to 730; default 730, or as many as the runs have).
    beside : bool
        Show studies of the same experiment in the same parent folder as well.
    executor : Executor, optional
        Makes pictures small meanwhile; default: this process.

    Raises
    ------
    InputError
        If the folder, a policy, the days or the place of the page is not allowed.
    """
    folder = Path(folder)
    path, facts, pair = check_report(folder, out, policies, days)
    chosen = "two" if policies else "the old one and the best of the others"
    with using(manifest.house_of(facts)):
        contents = gather_contents(folder, facts, beside=beside)
        rack, without = _rack(folder, facts, pair, days or rack_data.MOST_DAYS)
        text = render(folder, contents, rack, without, chosen, executor)
    write_text(path, text)
    return Written(path, path.stat().st_size, without)


def check_report(
    folder: Path, out: Path | None, policies: list[str] | None, days: int | None
) -> tuple[Path, dict[str, Any], tuple[str, str] | None]:
    """File of a page, manifest, policies of the racks; raises what `write_report` does of these."""
    path = Path(out) if out is not None else folder / REPORT
    check_place("out", path, KINDS)
    check_days(days)
    facts = manifest.read(folder, ())
    return path, facts, pair_of(facts, folder, policies)


def _rack(
    folder: Path, facts: dict[str, Any], pair: tuple[str, str] | None, days: int
) -> tuple[rack_data.Rack | None, str]:
    """The racks, or why there are none; a study has none and need not say so."""
    if facts.get("kind") != COMPARISON:
        return None, ""
    try:
        return racks_of(folder, facts, pair, days), ""
    except InputError as error:
        return None, error.line


def render(
    folder: Path,
    contents: Contents,
    rack: rack_data.Rack | None,
    without: str,
    chosen: str = "two",
    executor: Executor | None = None,
) -> str:
    """The page as text; the same results always give the same page.

    `without` says why there is no rack, `chosen` which of many policies are in it.
    """
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader(_PACKAGE, "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    family = f":root {{ --type: {typeface.STACK}; }}\n"
    style = "".join([typeface.css(), palette.css(), family, _part("page.css")])
    script = "".join(['(() => {\n"use strict";\n', live.script(), *map(_part, SCRIPTS), "})();\n"])
    page = environment.get_template("page.html")
    return page.render(
        c=contents,
        title=contents.question,
        style=Markup(style),
        script=Markup(script),
        style_hash=_hash(style),
        script_hash=_hash(script),
        figures=_figures(contents, executor),
        sign=Markup(svg(sign_scene(), "")),
        icon=_address(svg(sign_scene(), "", width=48)),
        rack=rack,
        drawings=[] if rack is None else list(_drawings(rack)),
        key=[] if rack is None else list(_key(rack)),
        course=None if rack is None else _course(rack),
        bowl_days=rack_data.BOWL_DAYS,
        rack_json=None if rack is None else Markup(rack_data.as_json(rack)),
        without=without,
        chosen=chosen,
        marks=MARKS,
        policy_index={name: i % len(MARKS) for i, name in enumerate(contents.names)},
        limits=words.LIMITS,
        cautions=words.CAUTIONS,
        made=_made(contents.facts),
        repeat=_repeat(folder, contents),
        software=_software(contents.facts),
        settings=_settings(contents.facts),
    )


def _part(name: str) -> str:
    return files(_PACKAGE).joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    """What the page's policy calls a style or script that may be used."""
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
    return f"'sha256-{digest}'"


def _drawings(rack: rack_data.Rack) -> Iterator[Markup]:
    """Both racks on the first day, with all that the script may show."""
    for k, side in enumerate(rack.sides):
        title = f"Rack under “{side.policy}”; its numbers are in the table below"
        first = side.contents[0]
        yield Markup(live.live_svg(first, rack.scale, title, prefix=rack_data.prefix(k)))


def _key(rack: rack_data.Rack) -> Iterator[dict[str, Any]]:
    """What is drawn: a sign, its words, and how many it stands for."""
    for glyph, kind, text in KEY:
        scene = Scene(28, 18, [Mark(glyph, Place(14, 10, 1.1, 1.1))])
        drawn = Markup(svg(scene, "", width=28, prefix=f"key-{glyph}-"))
        yield {"sign": drawn, "text": text, "each": f"{rack.scale.each[kind]:g}"}


def _course(rack: rack_data.Rack) -> dict[str, Any]:
    """Harvested larvae so far of both racks as lines in a frame of 1000 by 100."""
    most = max(1, *(int(side.totals["harvested_larvae"].max()) for side in rack.sides))
    lines = []
    for side in rack.sides:
        heights = 99 - 98 * side.totals["harvested_larvae"].to_numpy() / most
        places = np.linspace(0, 1000, len(heights)).round(1)
        points = zip(places, heights.round(2), strict=True)
        lines.append(" ".join(f"{x:g},{y:g}" for x, y in points))
    return {"lines": lines, "most": most}


def _address(text: str) -> str:
    """A drawing as a data address."""
    return f"data:image/svg+xml;base64,{base64.b64encode(text.encode()).decode('ascii')}"


def _figures(contents: Contents, executor: Executor | None) -> list[dict[str, Any]]:
    deck = contents.deck
    drawn = pictures(deck.slides, executor)
    return [_figure(*each) for each in zip(deck.slides, deck.folders, drawn, strict=True)]


def _figure(slide: Slide, place: Path, drawn: Picture) -> dict[str, Any]:
    said = slide.say.strip()
    # The title stands above the picture already.
    said = said.removeprefix(slide.title).lstrip(". ")
    file = f"the whole table: {slide.name}.csv, written by colony-sim figures"
    return {
        "name": slide.name,
        "title": slide.title,
        "say": said,
        "caveat": slide.caveat,
        "alt": slide.alt,
        "place": place.name,
        "picture": drawn,
        "numbers": tables.numbers_table(slide.data, f"Numbers behind “{slide.title}”", file),
    }


def _repeat(folder: Path, contents: Contents) -> list[tuple[str, str]]:
    """What to do, and the command that does it."""
    found = []
    if command := contents.facts.get("command"):
        found.append(("The command that gave these results", command))
    if contents.facts.get("kind") == COMPARISON:
        command = shlex.join(["colony-sim", "repeat", str(folder)])
        found.append(("Run all of it again and check that every table is the same", command))
    found.append(("Make this page again", shlex.join(["colony-sim", "report", str(folder)])))
    return found


def _made(facts: dict[str, Any]) -> str:
    """Seed, versions and day of the results, in words."""
    head, software = facts.get("experiment", {}), facts.get("software", {})
    runs = f", {head['replicates']} seeds, {head['days']} days" if "replicates" in head else ""
    commit, plus, changes = str(facts.get("commit") or "none").partition("+")
    with_what = ", ".join(
        f"{name} {software.get(name)}" for name in ("python", "numpy", "platform")
    )
    when = f", {facts['created_utc']}" if "created_utc" in facts else ""
    return (
        f"Experiment {head.get('name')}: seed {head.get('seed', facts.get('seed'))}{runs}. Made by "
        f"colony-sim {software.get('colony_sim')} (commit {commit[:12]}{plus}{changes}) with "
        f"{with_what}{when}. The same seed gives the same numbers with any number of workers."
    )


def _software(facts: dict[str, Any]) -> list[tuple[str, str]]:
    software = dict(facts.get("software", {}))
    found = [(name.replace("_", "-"), str(value)) for name, value in software.items()]
    return [("commit", str(facts.get("commit") or "not from a checkout")), *found]


def _settings(facts: dict[str, Any]) -> list[tuple[str, str]]:
    head = facts.get("experiment", {})
    found = [("kind", str(facts.get("kind"))), ("experiment", str(head.get("name")))]
    for key in ("seed", "replicates", "days", "breeders", "larvae"):
        if key in head:
            found.append((key, str(head[key])))
    found += [(f"climate: {key}", _short(value)) for key, value in facts.get("climate", {}).items()]
    for part in ("study", "sweep"):
        found += [(f"{part}: {key}", _short(value)) for key, value in facts.get(part, {}).items()]
    if facts.get("profile") is not None:
        found.append(("profile of the biology", _short(facts["profile"])))
    if "created_utc" in facts:
        found.append(("made (UTC)", str(facts["created_utc"])))
    return found


def _short(value: Any, most: int = 160) -> str:
    text = str(value)
    return text if len(text) <= most else f"{text[:most]}… (whole in manifest.json)"
