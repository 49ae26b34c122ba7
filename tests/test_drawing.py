"""The drawn rack: number and size of its signs, its colours, and one drawing for all that draw."""

import json
import re
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
from matplotlib.font_manager import FontProperties, findfont

from colony_sim.drawing import live, palette, typeface
from colony_sim.drawing.bins import bin_scene, place
from colony_sim.drawing.content import (
    DEEPEST,
    SIZES,
    SLOTS,
    TRAY_SLOTS,
    BinContent,
    RackContent,
    Scale,
    drawn,
    size_of,
)
from colony_sim.drawing.glyphs import BIN_WIDTH, FLOOR, FOOT, GLYPHS
from colony_sim.drawing.rack import example, rack_scene, sign_scene
from colony_sim.drawing.scene import Mark
from colony_sim.drawing.svg import svg
from colony_sim.figures import drawn as in_figures
from colony_sim.figures import style
from tests.browser import chromium
from tests.sight import SIGHT, contrast, lab, linear

KEPT = ("eggs", "larvae", "pupae", "adults")


def test_stages_keep_apart_in_any_sight_and_in_grey():
    colours = [palette.STAGES[stage] for stage in KEPT]
    for sight in SIGHT.values():
        seen = [lab(sight @ linear(colour)) for colour in colours]
        assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 35
    lightness = sorted(lab(linear(colour))[0] for colour in colours)
    assert min(np.diff(lightness)) > 14
    assert min(contrast(colour) for colour in colours) >= 3


def test_no_policy_and_no_other_thing_has_the_colour_of_a_stage():
    others = [palette.POLICY, palette.MOISTURE, palette.BRAN, palette.FRASS, palette.LEAF]
    for other, stage in ((o, s) for o in others for s in palette.STAGES.values()):
        assert np.linalg.norm(lab(linear(other)) - lab(linear(stage))) > 24


def test_words_of_a_page_stand_out_by_day_and_night():
    for page in (palette.LIGHT, palette.DARK):
        for words in ("ink", "quiet", "link"):
            assert contrast(page[words], page["paper"]) >= 4.5
            assert contrast(page[words], page["card"]) >= 4.5
        assert contrast(page["policy"], page["paper"]) >= 3


def test_the_typeface_comes_with_the_package_and_has_what_is_written():
    for bold in (False, True):
        found = findfont(FontProperties(family=typeface.NAME, weight="bold" if bold else "normal"))
        assert found == str(typeface.path(bold))
    assert "SIL OPEN FONT LICENSE" in typeface.path().with_name("OFL.txt").read_text()
    assert typeface.css().count("font/woff2") == 2


SCALE = Scale({"eggs": 100, "larvae": 50, "pupae": 10, "adults": 20, "skins": 30, "bowl": 40}, 4000)


def test_signs_go_with_numbers():
    for kind, slots in SLOTS.items():
        each = SCALE.each[kind]
        assert SCALE.signs(kind, 0, slots) == 0 and SCALE.signs(kind, 1, slots) == 1
        for count in range(1, slots + 1):
            assert SCALE.signs(kind, count * each, slots) == count
        assert SCALE.signs(kind, 9 * slots * each, slots) == slots


def test_the_scale_is_round_and_the_fullest_bin_just_goes_in():
    rack = example()
    scale = Scale.of([rack])
    for kind, slots in SLOTS.items():
        most = max(getattr(one, kind) for one in rack.bins)
        assert slots / 1.7 <= most / scale.each[kind] <= slots
    for kind, slots in TRAY_SLOTS.items():
        assert rack.tray[kind] / scale.each[kind] <= slots
    deepest = [drawn(one, scale) for one in rack.bins]
    assert 0.6 * DEEPEST <= max(one.bran + one.frass for one in deepest) <= DEEPEST


def test_larvae_are_drawn_to_size():
    sizes = [size_of(mg) for mg in np.geomspace(0.1, 200, 60)]
    assert sizes[0] == 0 and sizes[-1] == SIZES - 1 and sorted(set(sizes)) == list(range(SIZES))
    # Lengths go with the cube root of masses.
    assert size_of(120 / 8) == SIZES // 2


def test_a_scale_that_grows_holds_what_both_hold():
    other = Scale({**SCALE.each, "eggs": 900.0, "larvae": 1.0}, 100)
    wide = SCALE.wider(other)
    assert wide.each == {**SCALE.each, "eggs": 900.0} and wide.full_g == SCALE.full_g
    assert other.wider(SCALE) == wide


def test_frass_takes_the_place_of_eaten_bran():
    full = drawn(BinContent(1, "growing", bran_g=4000), SCALE)
    eaten = drawn(BinContent(1, "growing", bran_g=1000, frass_g=1500), SCALE)
    assert (full.bran, full.frass) == (DEEPEST, 0)
    assert eaten.frass > eaten.bran > 0 and eaten.frass + eaten.bran < DEEPEST


def outline(glyph, at):
    """Corners of all that a glyph draws, in its place."""
    boxes = [in_figures.turned(part, at).get_extents() for part in GLYPHS[glyph]]
    return np.array([[b.x0, b.y0, b.x1, b.y1] for b in boxes])


def test_everything_lies_within_its_bin():
    rich = BinContent(1, "growing", 9**9, 9**9, 9**9, 9**9, 120.0, 3000, 900, 9**9, True)
    for content in (rich, replace(rich, bran_g=150.0, frass_g=0.0)):
        for item in bin_scene(content, SCALE).items:
            if isinstance(item, Mark):
                edges = outline(item.glyph, item.at)
                assert edges[:, 0].min() >= 0 and edges[:, 2].max() <= BIN_WIDTH
                # What bends below the floor is hidden by the front.
                assert edges[:, 3].max() <= (FLOOR + 8 if item.of in SLOTS else FOOT)


def test_insects_in_bran_are_never_above_it():
    state = drawn(BinContent(1, "growing", 10, 10, 0, 0, 1.0, 2000), SCALE)
    for kind in ("eggs", "larvae"):
        for slot in range(SLOTS[kind]):
            y = place(kind, slot, state).y
            assert FLOOR - state.bran < y < FLOOR


def test_the_drawing_has_a_sign_for_each_it_counts():
    rack = example()
    scale = Scale.of([rack])
    root = ElementTree.fromstring(svg(rack_scene(rack, scale), "an invented rack"))
    uses = [one.attrib for one in root if one.tag.endswith("use")]
    for index, content in enumerate(rack.bins):
        for kind, count in drawn(content, scale).signs.items():
            found = [u for u in uses if u.get("data-of") == kind and u["data-bin"] == str(index)]
            assert len(found) == count
    words = [one.text for one in root if one.tag.endswith("text")]
    assert words[:2] == ["1", "in 9 d"] and "free" in words
    assert root.get("aria-label") == "an invented rack"
    drawn_names = {one.get("href")[1:] for one in uses}
    names = [one.get("id") for one in root.iter() if one.get("id")]
    assert drawn_names == set(names) and len(names) == len(set(names))


def test_text_of_a_label_cannot_become_markup():
    rack = RackContent([BinContent(1, "growing", label=("<b>&\"'",))])
    text = svg(rack_scene(rack, SCALE), 'a "rack" <x>')
    assert "<b>" not in text and "<x>" not in text
    ElementTree.fromstring(text)


def test_the_sign_is_small_and_stands_alone():
    text = svg(sign_scene(), "", width=24)
    assert len(text) < 4000 and 'width="24" height="24"' in text


def test_outlines_are_of_the_kind_that_both_drawers_read():
    grammar = re.compile(r"(M( -?[\d.]+){2}|L( -?[\d.]+){2}|C( -?[\d.]+){6}|Z)")
    for glyph in GLYPHS.values():
        for part in glyph:
            rest = grammar.sub("", part.path).strip()
            assert rest == "" and part.path.startswith("M ")


def test_a_figure_draws_as_many_patches_as_the_svg_has_parts():
    rack = example()
    scene = rack_scene(rack, Scale.of([rack]))
    with style.theme():
        figure = style.new_figure()
        panel = style.axes(figure, 0.4, 0.4, 12, 6.6)
        in_figures.paint(panel, scene)
    parts = sum(len(GLYPHS[item.glyph]) for item in scene.items if isinstance(item, Mark))
    (drawn_all,) = panel.collections
    assert len(drawn_all.get_paths()) == parts
    edges = [path.get_extents() for path in drawn_all.get_paths()]
    assert min(e.x0 for e in edges) >= -1 and max(e.x1 for e in edges) <= scene.width + 1


def racks(count=4):
    """Made-up racks that differ in everything that is drawn."""
    rng = np.random.default_rng(5)
    for _ in range(count):
        bins = [
            BinContent(
                k + 1, str(rng.choice(["free", "breeding", "growing"])),
                *rng.integers(0, 5000, 4).tolist(),
                float(rng.uniform(0, 130)), *rng.uniform(0, 2500, 2).tolist(),
                int(rng.integers(0, 300)), bool(rng.integers(0, 2)), (f"out {rng.integers(99)} d",),
            )
            for k in range(6)
        ]  # fmt: skip
        yield RackContent(bins, {"pupae": int(rng.integers(0, 900)), "adults": 30}, 700)


def shown(page):
    """Sign and place of each mark that is shown, in the order they are drawn; the words."""
    found = page.evaluate(
        """() => [...document.querySelectorAll("use:not([display])")].map((use) => {
             const m = use.transform.baseVal.consolidate().matrix;
             return [use.getAttribute("href"), [m.a, m.b, m.c, m.d, m.e, m.f]];
           })"""
    )
    texts = page.evaluate(
        """() => [...document.querySelectorAll("text")].map(
             (t) => [t.textContent, t.getAttribute("font-weight") === "700"])"""
    )
    names, places = zip(*found, strict=True)
    return names, np.array(places), [text for text in texts if text[0]]


def test_the_script_shows_what_the_drawing_shows():
    all_racks = list(racks())
    scale = Scale.of(all_racks)
    with chromium() as browser:
        page = browser.new_page()
        first = all_racks[0]
        page.set_content(live.live_svg(first, scale, "a rack"))
        page.add_script_tag(content=f"{live.script()}\nwindow.drawnRack = drawnRack;")
        page.evaluate(
            "(places) => { window.rack = drawnRack(document.querySelector('svg'), places); }",
            json.loads(json.dumps(live.places(first))),
        )
        still = browser.new_page()
        for rack in [*all_racks[1:], first]:
            page.evaluate("(state) => window.rack.all(state)", live.state(rack, scale))
            still.set_content(svg(rack_scene(rack, scale), "a rack"))
            (names, there, words), (others, here, said) = shown(page), shown(still)
            assert names == others and words == said
            assert np.abs(there - here).max() < 0.02
        flying = page.evaluate(
            """() => { window.rack.fly("beetle", 0, "bowl", 5, 60);
                 return document.querySelectorAll("use[href='#beetle'][aria-hidden]").length; }"""
        )
        assert flying == 5
        page.wait_for_function("() => !document.querySelector('use[aria-hidden]')")
