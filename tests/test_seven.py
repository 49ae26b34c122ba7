"""The talk: short titles in large type, counts that add up, plain words, ways to give it."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from browser import chromium, visit
from made_up_gains import CURRENCY, skewed, tables
from matplotlib.collections import PathCollection
from pictures import as_kept, readable
from plain_words import jargon
from small_comparison import made
from test_figures import texts
from test_slides import ledgers

from colony_sim.figures import plain, style
from colony_sim.studies.comparison import egg_fates, gains
from colony_sim.studies.comparison.leans_on import LeansOn
from colony_sim.studies.comparison.seven import answer, change, cost, rack, sure, talk, why
from colony_sim.studies.comparison.seven.case import Case, read
from colony_sim.talk import powerpoint, present, sheet
from colony_sim.talk.write import write_talk

NAMES = ("every 21 days", "every 14 days")
LEANS_ON = pd.DataFrame({
    "key": ["larva.duration_days"], "label": ["larval time"], "kind": ["value"],
    "value_g_per_day": [0.2], "value_g_per_year": [73.0], "value_g_per_year_se": [9.0],
    "told_apart": [True], "measurement": ["note when the first larvae of one bin can be harvested"],
})  # fmt: skip


def over(middle: float, **more) -> Case:
    """The small comparison as if it had been lived in a hundred possible colonies."""
    case = read(made("two"))
    found = tables({(NAMES[1], NAMES[0]): skewed(100, middle)}, zone=0.25)
    (side,) = gains.sides_of(*found, CURRENCY)
    over_all = dataclasses.replace(case, side=side, answer="So it is.", **more)
    # What is read from the folder, here without such tables.
    over_all.__dict__["leaning"] = LeansOn(NAMES[::-1], 100, 0.5, LEANS_ON)
    return over_all


CASES = {
    "one world": lambda: read(made("two")),
    "one policy": lambda: read(made("one")),
    "dying": lambda: read(made("dying")),
    "open": lambda: over(0.2),
    "sure": lambda: over(-3.0),
}


@cache
def told(name: str) -> dict[str, object]:
    return {slide.name: slide for slide in talk.slides(CASES[name]())}


@pytest.mark.parametrize("name", CASES)
def test_a_slide_is_one_idea_in_large_type_without_words_of_the_trade(name):
    slides = told(name)
    assert {"question", "rack", "answer"} <= set(slides)
    for slide in slides.values():
        assert slide.talk and len(slide.title.split()) <= plain.MOST_WORDS, slide.title
        figure = readable(slide, plain.LEAST)
        edge = 0.3 * figure.dpi
        for text in texts(figure):
            box = text.get_window_extent()
            assert text.get_fontsize() >= plain.LEAST, text.get_text()
            assert edge < box.x0 and box.x1 < figure.bbox.width - edge, text.get_text()
            assert not jargon(text.get_text()), text.get_text()


@pytest.mark.parametrize("name", ["open", "dying"])
def test_the_old_way_stands_at_the_left_on_every_slide(name):
    case = CASES[name]()
    old = case.policies[0]
    assert case.pair[0] == old and case.way(old) == "the old way"
    if len(case.policies) == 2:
        assert case.order == case.policies
        assert list(answer.amounts(case)["policy"]) == list(case.policies)
        assert list(cost.costs(case)["policy"].unique()) == list(case.policies)
        assert next(iter(sure.told(case)[0])) == old


def test_all_seven_are_there_over_possible_colonies():
    names = ["question", "rack", "answer", "how_sure", "why", "cost", "what_would_change_it"]
    assert list(told("open")) == list(told("sure")) == names
    assert list(told("one world")) == names[:-1]
    assert "how_sure" not in told("one policy")


def test_the_answer_is_no_stronger_than_the_probability_and_says_ruin_first():
    assert told("open")["answer"].title == "Nobody knows yet which gives more larvae"
    words = " ".join(t.get_text() for t in texts(told("open")["answer"].figure()))
    assert "first larvae of one bin" in " ".join(words.split())
    assert told("sure")["answer"].title == f"“{NAMES[0]}” gives more larvae than “{NAMES[1]}”"
    dying = CASES["dying"]()
    worst, died, runs = dying.gone()[0]
    assert told("dying")["answer"].title.endswith(f"runs the colony down in {died} of {runs} runs")
    assert died == (dying.results.runs.query("policy == @worst")["status"] == "died_out").sum() > 0


@pytest.mark.parametrize("middle", [-3.0, 0.2, 1.5])
def test_a_hundred_signs_are_the_shares(middle):
    case = over(middle)
    counts, of, _ = sure.told(case)
    assert of == "100 possible colonies" and sum(counts.values()) == 100
    first, _, second = case.side.shares
    assert abs(counts[NAMES[1]] - 100 * first) <= 1 and abs(counts[NAMES[0]] - 100 * second) <= 1
    figure = sure.slide(case).figure()
    drawn = {line.get_marker(): len(line.get_xdata()) for line in figure.axes[0].get_lines()}
    assert [drawn.get(m, 0) for m in "os"] == [counts[NAMES[0]], counts[NAMES[1]]]


def test_pairs_of_runs_stand_in_where_there_is_one_colony():
    case = read(made("two"))
    counts, of, _ = sure.told(case)
    wide = case.results.runs.pivot(index="seed", columns="policy", values="yield_g_per_day")
    assert of == f"{len(wide)} pairs of runs"
    assert counts[NAMES[1]] == (wide[NAMES[1]] > wide[NAMES[0]]).sum()


def test_the_racks_are_those_of_the_run_on_the_day_that_is_named():
    case = read(made("two"))
    slide = told("one world")["rack"]
    day = int(slide.data["day"].unique().item())
    ends = case.traces.warm_up.values()
    assert max(ends) < day <= 700 and f"day {day} of one run" in slide.say
    for policy in NAMES:
        lived = case.traces.records[policy].bins_daily.query("day == @day").set_index("bin")
        mine = slide.data[slide.data["policy"] == policy].set_index("bin")
        for stage in rack.STAGES:
            np.testing.assert_array_equal(mine[stage], lived[stage])
        assert (mine["phase"] == lived["phase"]).all()


def account(monkeypatch, shares: dict[str, float]) -> Case:
    monkeypatch.setattr(egg_fates, "egg_ledgers", lambda *_: ledgers(shares))
    return dataclasses.replace(read(made("two")))


def test_every_one_of_a_hundred_eggs_is_a_sign(monkeypatch, tmp_path):
    case = account(monkeypatch, dict(zip(NAMES, (60.0, 50.0), strict=True)))
    slide = why.slide(case)
    assert slide.title == "Of 100 eggs 60 or 50 are eaten by beetles"
    rows = why.ends(case.eggs, NAMES)
    values = {p: [why.value(case.eggs, p, end) for end in rows] for p in NAMES}
    assert all(abs(sum(found) - 100) < 2 * why.LEAST_SHOWN for found in values.values())
    figure = slide.figure()
    signs = [len(c.get_paths()) for axes in figure.axes for c in axes.collections
             if isinstance(c, PathCollection)]  # fmt: skip
    parts = {"egg": 1, "larva": 3, "pupa": 2, "beetle": 3}
    wanted = [round(values[p][i]) * parts[end.glyph] for i, end in enumerate(rows) for p in NAMES]
    assert signs == [count for count in wanted if count > 0]
    as_kept(slide, "seven_why", tmp_path)


def test_pictures_of_the_talk_are_those_that_were_looked_at(tmp_path):
    as_kept(told("open")["how_sure"], "seven_sure", tmp_path)


def test_costs_are_means_and_named_only_where_they_differ():
    case = read(made("two"))
    table = cost.costs(case).set_index(["policy", "measure"])["value"]
    runs = case.results.runs.groupby("policy")
    for policy in NAMES:
        own = runs.get_group(policy)
        assert table[policy, "bins_in_use"] == pytest.approx(own["bins_in_use"].mean())
        bran = 7 * own["yield_g_per_day"] / own["yield_g_per_kg_bran"]
        assert table[policy, cost.BRAN] == pytest.approx(bran.mean())
    amounts = answer.amounts(case).set_index("policy")
    assert amounts.loc[NAMES[0], "larvae"] == pytest.approx(
        runs.get_group(NAMES[0])["yield_larvae_per_day"].mean()
    )


def test_without_a_telling_measurement_the_home_trial_is_what_is_left():
    case = over(0.2)
    case.__dict__["leaning"] = LeansOn(
        NAMES[::-1], 100, 0.5, LEANS_ON.assign(told_apart=False)
    )  # fmt: skip
    slide = change.slide(case)
    words = " ".join(t.get_text() for t in texts(readable(slide, plain.LEAST)))
    assert "side by side in your own bins" in " ".join(words.split())
    assert "Measure this at home" in told("open")["what_would_change_it"].title


# ---- Giving it


@pytest.fixture(scope="module")
def given(tmp_path_factory):
    """The talk of the small comparison with two of its slides, and its folder."""
    folder = tmp_path_factory.mktemp("given")
    slides = [("01-answer", told("open")["answer"]), ("02-why", told("one world")["why"])]
    slides.append(("03-more", dataclasses.replace(told("one world")["cost"], talk=False)))
    with style.theme():
        for stem, slide in slides:
            style.save(slide.paint(), folder, stem)
    return slides, folder


def test_powerpoint_has_pictures_titles_and_notes(given):
    from pptx import Presentation

    slides, folder = given
    path = folder / "talk.pptx"
    powerpoint.write(path, "A question?", slides)
    first = path.read_bytes()
    deck = Presentation(str(path))
    assert (deck.slide_width, deck.slide_height) == (12192000, 6858000)
    assert len(deck.slides) == len(slides) and deck.core_properties.title == "A question?"
    for page, (stem, slide) in zip(deck.slides, slides, strict=True):
        assert page.shapes.title.text_frame.text == slide.title
        picture = next(shape for shape in page.shapes if shape.name == stem)
        assert picture.image.blob == (folder / f"{stem}.png").read_bytes()
        assert picture._element.nvPicPr.cNvPr.get("descr") == slide.alt
        notes = page.notes_slide.notes_text_frame.text
        assert slide.say in notes and slide.caveat in notes
    powerpoint.write(path, "A question?", slides)
    assert path.read_bytes() == first


def test_the_page_is_given_with_keys_clicks_touch_and_notes(given):
    slides, folder = given
    path = folder / "talk.html"
    present.write(path, "A question </script>?", slides)
    with chromium() as browser, visit(browser, path, has_touch=True) as seen:
        page = seen.page

        def place() -> str:
            return page.evaluate("document.querySelector('section:not([hidden])').id")

        assert place() == "slide-1"
        assert seen.violations() == []
        for key, there in (("ArrowRight", 2), ("PageDown", 3), ("ArrowRight", 3), ("Home", 1),
                           ("ArrowLeft", 1), ("End", 3), ("PageUp", 2)):  # fmt: skip
            page.keyboard.press(key)
            assert place() == f"slide-{there}", key
        page.mouse.click(100, 300)
        assert place() == "slide-1"
        page.touchscreen.tap(900, 300)
        assert place() == "slide-2"
        with page.expect_popup() as popup:
            page.keyboard.press("n")
        notes = popup.value
        assert notes.inner_text("#say") == " ".join(slides[1][1].say.split())
        page.keyboard.press("ArrowRight")
        assert notes.inner_text("#title") == slides[2][1].title
        assert "if somebody asks" in notes.inner_text("#where")
        # The notes lead as well.
        notes.keyboard.press("Home")
        assert place() == "slide-1" and notes.inner_text("#title") == slides[0][1].title
        shown = page.evaluate("document.querySelector('section:not([hidden]) img').naturalWidth")
        assert shown == 2000
        assert seen.complaints() == [] and seen.leaving(path.resolve().as_uri()) == []


def test_without_a_display_the_browser_is_left_alone(given, monkeypatch):
    opened = []
    monkeypatch.setattr(present.webbrowser, "open", lambda address: opened.append(address) or True)
    monkeypatch.setattr(present.sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    assert not present.present(Path("talk.html")) and opened == []
    monkeypatch.setenv("DISPLAY", ":0")
    assert present.present(Path("talk.html")) and opened[0].startswith("file:///")


def test_handout_and_poster_are_one_page_with_all_parts(tmp_path):
    from pypdf import PdfReader

    case = over(0.2)
    paths = sheet.write(case, tmp_path)
    first = [path.read_bytes() for path in paths]
    for path in paths:
        reader = PdfReader(path)
        assert len(reader.pages) == 1
        box = reader.pages[0].mediabox
        wide, high = sheet.SIZES[path.name]
        assert float(box.width) == pytest.approx(72 * wide, abs=1)
        assert float(box.height) == pytest.approx(72 * high, abs=1)
        text = re.sub(r"\s+", " ", reader.pages[0].extract_text())
        for part in ("Which interval gives more?", "Nobody knows yet", "How it was tried",
                     "How sure: of 100 possible colonies", "Larvae a day", "Where 100 eggs go",
                     "What it costs", "Find out at home", "Take care", "mask", "ammonia",
                     "feed law", "model of a colony"):  # fmt: skip
            assert part in text, part
        assert not jargon(text)
        fonts = reader.pages[0]["/Resources"]["/Font"]
        for font in fonts.values():
            inner = font["/DescendantFonts"][0] if "/DescendantFonts" in font else font
            assert "/FontFile2" in inner["/FontDescriptor"], "not embedded"
    assert [path.read_bytes() for path in sheet.write(case, tmp_path)] == first
    with style.theme():
        figure = sheet.page(case, *sheet.SIZES["handout-a4.pdf"])
        for text in texts(figure):
            box = text.get_window_extent()
            assert box.x0 > 0 and box.x1 < figure.bbox.width and box.y0 > 0, text.get_text()


def test_a_missing_package_is_named_before_anything_is_written(tmp_path, monkeypatch):
    from colony_sim.extras import MissingExtra

    def missing(module: str, package: str, extra: str):
        raise MissingExtra(package, extra)

    monkeypatch.setattr(powerpoint, "require", missing)
    with pytest.raises(MissingExtra, match=r"pip install 'python-pptx>=1.0' .*'talk'"):
        write_talk(made("two"), tmp_path / "out", pptx=True)
    assert not (tmp_path / "out").exists()
