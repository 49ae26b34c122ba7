"""The page in a real browser: quiet, closed, open to all readers, and its rack draws the data."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from browser import LAPTOP, PHONE, SMALLEST, chromium, visit
from report_case import DAYS, PAIR, case, lived_again, with_slides

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import Scenario, simulate
from colony_sim.drawing.rack import rack_scene
from colony_sim.drawing.svg import svg
from colony_sim.report import rack_data
from colony_sim.report.contents import gather_contents
from colony_sim.report.page import render
from colony_sim.studies.comparison.relive import Traces
from colony_sim.talk.deck import Deck

STAGES = ("eggs", "larvae", "pupae", "adults")


@pytest.fixture(scope="module")
def browser():
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def lived():
    return lived_again()


@pytest.fixture
def seen(browser):
    with visit(browser, case().page, still=True) as seen:
        yield seen
        assert seen.complaints() == []


@pytest.mark.parametrize("size", [PHONE, LAPTOP], ids=["phone", "laptop"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_page_is_quiet_closed_and_accessible(browser, size, dark):
    with visit(browser, case().page, size, dark=dark, offline=True) as seen:
        assert seen.overflow() <= 0
        for element in seen.page.query_selector_all("summary"):
            element.click()
        assert seen.overflow() <= 0
        assert seen.violations() == []
        seen.page.click("#rack-play")
        seen.page.wait_for_timeout(150)
        assert seen.complaints() == []
        assert seen.requests[0] == case().page.resolve().as_uri()
        assert seen.leaving(case().page.resolve().as_uri()) == []


def test_page_fits_the_smallest_phone(browser):
    with visit(browser, case().page, SMALLEST) as seen:
        assert seen.overflow() <= 0
        for element in seen.page.query_selector_all("summary"):
            element.click()
        assert seen.overflow() <= 0


def test_page_of_a_study_has_the_same_frame_without_the_rack(browser):
    with visit(browser, case().study_page, PHONE, dark=True) as seen:
        assert seen.page.locator("script").count() == 0
        for element in seen.page.query_selector_all("summary"):
            element.click()
        assert seen.violations() == [] and seen.complaints() == [] and seen.overflow() <= 0
        assert seen.leaving(case().study_page.resolve().as_uri()) == []


# ---- the rack draws the data ----------------------------------------------------------------


def state(page) -> dict:
    """What the page shows of both racks on its day, in its table and its totals."""
    return page.evaluate(
        """() => ({
          day: Number(document.getElementById("rack").dataset.day),
          slider: Number(document.getElementById("rack-slide").value),
          tables: [...document.querySelectorAll("table.bins")].map(t => [...t.tBodies[0].rows].map(
            r => [...r.cells].map(c => c.textContent))),
          totals: [...document.querySelectorAll("[data-total]")].map(
            e => [Number(e.dataset.side), e.dataset.total, e.textContent]),
        })"""
    )


def near(text: str, value: float) -> bool:
    """Whether a number with three digits says this value."""
    number = float(text.split()[0])
    return abs(number - value) <= max(0.005 * abs(value), 5e-4)


def check_day(page, lived, day: int) -> None:
    """Numbers on the page are those of the runs on this day, under both policies."""
    shown = state(page)
    assert shown["day"] == shown["slider"] == day
    first = max(lived.warm_up.values()) + 1
    for side, policy in enumerate(PAIR):
        record = lived.records[policy]
        bins = record.bins_daily[record.bins_daily["day"] == day].set_index("bin")
        rows = shown["tables"][side]
        assert len(rows) == len(bins) + 1
        log = record.bin_log[record.bin_log["day"] == day]
        for row in rows[:-1]:
            stored = bins.loc[int(row[0])]
            assert row[1] == stored["phase"]
            if row[1] != "free":
                start = stored["date_out" if row[1] == "growing" else "date_in"]
                assert int(row[2]) == day - start
            assert [int(cell) for cell in row[3:7]] == [stored[stage] for stage in STAGES]
            assert abs(float(row[7]) - stored["larvae_g"]) <= 0.051
            actions = set(log[log["bin"] == int(row[0])]["action"])
            assert ("beetles in" in actions) == ("beetles in" in row[8])
            assert ("harvest" in actions) == ("harvest" in row[8])
        daily = record.daily.set_index("day")
        totals = {name: text for which, name, text in shown["totals"] if which == side}
        harvested = daily["harvest_g"].loc[first:day].sum()
        assert near(totals["harvestedMg"], harvested) or harvested == 0
        bowl = daily["harvest_larvae"].loc[day - rack_data.BOWL_DAYS + 1 : day].sum()
        larvae = daily["harvest_larvae"].loc[first:day].sum()
        for name, due in (("bowlLarvae", bowl), ("harvestedLarvae", larvae)):
            assert totals[name].replace("\u202f", "") == f"{due} larvae"
        assert near(totals["standingMg"], daily["larvae_g"].loc[day])
        assert int(totals["breeders"]) == daily["breeders"].loc[day]
        minutes = daily["work_minutes"].loc[first:day].sum()
        number, unit = totals["minutes"].split()
        told = float(number) * {"min": 1, "h": 60}[unit]
        assert abs(told - minutes) <= (0.5 if unit == "min" else 0.5 + 0.005 * minutes)


def test_rack_shows_the_numbers_of_the_day_by_every_control(seen, lived):
    page = seen.page
    first = max(lived.warm_up.values()) + 1
    check_day(page, lived, first)
    page.click("#rack-on")
    check_day(page, lived, first + 1)
    page.click("#rack-on")
    page.click("#rack-back")
    check_day(page, lived, first + 1)
    page.fill("#rack-slide", str(first + 50))
    check_day(page, lived, first + 50)
    page.focus("#rack-slide")
    page.keyboard.press("ArrowRight")
    check_day(page, lived, first + 51)
    page.focus("#rack-view")
    for key, day in (
        ("ArrowLeft", first + 50), ("ArrowRight", first + 51), ("End", first + DAYS - 1),
        ("ArrowRight", first + DAYS - 1), ("Home", first), ("ArrowLeft", first),
    ):  # fmt: skip
        page.keyboard.press(key)
        check_day(page, lived, day)
    # A day on which beetles were moved, seen from a button that has the focus.
    log = lived.records[PAIR[1]].bin_log
    moved = log[(log["action"] == "beetles in") & log["day"].between(first + 1, first + DAYS - 1)]
    day = int(moved["day"].iloc[0])
    page.fill("#rack-slide", str(day - 1))
    page.focus("#rack-play")
    page.keyboard.press("ArrowRight")
    check_day(page, lived, day)


def placed(page, k: int) -> tuple[list[str], np.ndarray, list[str]]:
    """Signs of a rack that are shown, where they are, and the words on it."""
    found, texts = page.evaluate(
        """(k) => { const svg = document.querySelector(`#rack-${k} svg`);
          return [[...svg.querySelectorAll("use:not([display]):not([aria-hidden])")].map((use) => {
            const m = use.transform.baseVal.consolidate().matrix;
            return [use.getAttribute("href").split("-").slice(2).join("-"),
                    [m.a, m.b, m.c, m.d, m.e, m.f]];
          }), [...svg.querySelectorAll("text")].filter((t) => t.textContent).map((t) =>
            `${t.textContent} ${t.getAttribute("font-weight") || "400"}`)]; }""",
        k,
    )
    return [name for name, _ in found], np.array([place for _, place in found]), texts


def test_rack_of_a_day_is_drawn_as_the_still_picture_of_it(browser, lived):
    rack = rack_data.build(lived, PAIR, DAYS)
    with visit(browser, case().page, still=True) as seen, visit(browser, "about:blank") as other:
        for day in (0, 40, DAYS - 1, 3):
            seen.page.fill("#rack-slide", str(rack.first + day))
            for k, side in enumerate(rack.sides):
                scene = rack_scene(side.contents[day], rack.scale)
                still = svg(scene, "a rack", prefix=rack_data.prefix(k))
                other.page.set_content(f"<div id='rack-{k}'>{still}</div>")
                (names, there, words), (due, here, said) = (
                    placed(seen.page, k),
                    placed(other.page, k),
                )
                assert names == due and words == said
                assert len(names) > 200 and np.abs(there - here).max() < 0.02


def test_moves_are_seen_when_a_day_goes_on_and_not_by_who_wants_less_motion(browser, lived):
    flying = """() => [...document.querySelectorAll(".drawing use[aria-hidden]")].map(
        (use) => use.getAttribute("href").split("-").pop())"""
    log = lived.records[PAIR[0]].bin_log
    first = max(lived.warm_up.values()) + 1
    days = {
        glyph: int(log[(log["action"] == action) & (log["day"] > first)]["day"].iloc[0])
        for glyph, action in (("beetle", "beetles in"), ("larva", "harvest"))
    }
    for still in (False, True):
        with visit(browser, case().page, still=still) as seen:
            for glyph, day in days.items():
                seen.page.fill("#rack-slide", str(day - 1))
                seen.page.click("#rack-on")
                assert (glyph in seen.page.evaluate(flying)) == (not still)
                seen.wait_until("!document.querySelector('.drawing use[aria-hidden]')")


def test_a_bin_that_is_touched_tells_its_label(browser, lived):
    first = max(lived.warm_up.values()) + 1
    record = lived.records[PAIR[1]]
    row = record.bins_daily.set_index(["day", "bin"]).loc[first, 2]
    with visit(browser, case().page, PHONE, has_touch=True) as seen:
        seen.wait_until("document.getElementById('rack-told').textContent !== ''")
        label = seen.page.locator("#rack-1 [data-of=number][data-bin='1']")
        label.scroll_into_view_if_needed()
        label.tap()
        told = seen.page.text_content("#rack-told")
        assert told.startswith(f"Bin 2, “{PAIR[1]}”, day {first}: beetles in on day ")
        assert f"in on day {row['date_in']:.0f}, out on day {row['date_out']:.0f};" in told
        assert f" {row['larvae']:,} larvae".replace(",", "\u202f") in told


def test_figures_fit_a_phone_without_moving_them_sideways(browser):
    with visit(browser, case().page, PHONE) as seen:
        boxes = seen.page.eval_on_selector_all(
            "article.figure img",
            "all => all.map((e) => [e.offsetWidth, e.parentElement.scrollWidth])",
        )
        assert len(boxes) > 3 and all(320 <= wide == whole for wide, whole in boxes)
        titles = seen.page.locator("article.figure h3")
        assert all(titles.nth(k).is_visible() for k in range(len(boxes)))


# ---- time, keys, ears, paper ----------------------------------------------------------------


def test_play_pause_speed_and_the_end(browser, lived):
    first = max(lived.warm_up.values()) + 1
    with visit(browser, case().page) as seen:
        page = seen.page
        assert page.input_value("#rack-speed") == "7"
        assert page.get_attribute("#rack", "data-playing") == "no"
        page.select_option("#rack-speed", "60")
        page.focus("#rack-view")
        page.keyboard.press("Space")
        assert page.text_content("#rack-play") == "Pause"
        seen.wait_until(f"Number(document.getElementById('rack').dataset.day) > {first + 5}")
        # Nothing is read out while it moves, however slowly.
        page.select_option("#rack-speed", "1")
        page.wait_for_timeout(500)
        assert page.text_content("#rack-told") == ""
        page.click("#rack-play")
        assert page.text_content("#rack-play") == "Play"
        day = state(page)["day"]
        check_day(page, lived, day)
        page.wait_for_timeout(100)
        assert state(page)["day"] == day
        seen.wait_until("document.getElementById('rack-told').textContent !== ''")
        told = page.text_content("#rack-told")
        assert told.startswith(f"Day {day}. “{PAIR[0]}”") and f"“{PAIR[1]}”" in told
        page.fill("#rack-slide", str(first + DAYS - 10))
        page.select_option("#rack-speed", "60")
        page.click("#rack-play")
        seen.wait_until("document.getElementById('rack').dataset.playing === 'no'")
        check_day(page, lived, first + DAYS - 1)
        page.click("#rack-play")
        seen.wait_until(f"Number(document.getElementById('rack').dataset.day) < {first + DAYS - 1}")
        page.click("#rack-on")
        assert page.get_attribute("#rack", "data-playing") == "no"
        assert seen.complaints() == []


def test_reader_who_wants_less_motion_gets_a_still_rack_and_a_slow_one(seen):
    page = seen.page
    day = state(page)["day"]
    page.wait_for_timeout(200)
    assert state(page)["day"] == day and page.input_value("#rack-speed") == "1"


def test_focus_goes_through_the_controls_and_on(seen):
    page = seen.page
    page.focus("#rack-view")
    passed = []
    for _ in range(7):
        page.keyboard.press("Tab")
        passed.append(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    assert passed[:5] == ["rack-play", "rack-back", "rack-on", "rack-speed", "rack-slide"]
    assert not set(passed[5:]) & {"rack-view", *passed[:5]}
    # The list of speeds keeps its own keys.
    page.focus("#rack-speed")
    day = state(page)["day"]
    page.keyboard.press("ArrowDown")
    assert state(page)["day"] == day and page.input_value("#rack-speed") == "3"


def test_readout_counts_every_insect_of_the_day(seen, lived):
    page = seen.page
    day = state(page)["day"]
    seen.wait_until("document.getElementById('rack-told').textContent !== ''")
    told = page.text_content("#rack-told")
    for policy in PAIR:
        row = lived.records[policy].daily.set_index("day").loc[day]
        counts = ", ".join((f"{row['eggs']:.0f} eggs", f"{row['larvae']:.0f} larvae"))
        assert counts in told
        assert f"{row['pupae']:.0f} pupae, {row['adults']:.0f} beetles" in told
        assert f"“{policy}”: {row['bins_in_use']:.0f} of 14 bins in use" in told


def test_colony_that_died_out_is_told_and_drawn_as_free_bins(browser, tmp_path):
    record = died_out_record()
    facts = SimpleNamespace(days=record.died_out_day + 30)
    traces = Traces(1, facts, {"a": record, "b": record}, {"a": None, "b": None})
    rack = rack_data.build(traces, ("a", "b"))
    manifest = json.loads((case().folder / "manifest.json").read_text("utf-8"))
    with with_slides(Deck([], [], [])):
        contents = gather_contents(case().folder, manifest)
    contents = replace(
        contents, facts=manifest | {"policies": [{"name": "a"}, {"name": "b"}]}, sure=None
    )
    path = tmp_path / "page.html"
    path.write_text(render(case().folder, contents, rack, ""), encoding="utf-8")
    with visit(browser, path, still=True) as seen:
        seen.page.focus("#rack-view")
        seen.page.keyboard.press("End")
        shown = state(seen.page)
        assert {row[1] for row in shown["tables"][0][:-1]} == {"free"}
        died = f"died out on day {record.died_out_day}"
        seen.wait_until(f"document.getElementById('rack-told').textContent.includes('{died}')")
        assert seen.complaints() == []


def died_out_record():
    deadly = {"adult.hazard_per_day": 0.05, "egg.viable_share": 0.5, "rack.bins": 3,
              "larva.young_hazard_per_day": 0.5, "larva.hazard_per_day": 0.02}  # fmt: skip
    parameters = Parameters.default().with_values(deadly, where="test")
    record = simulate(Scenario(parameters, constant(27.0), 700, 1, 20), record_bins=True)
    assert record.died_out_day is not None
    return record


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_print_is_light_still_and_has_no_controls(browser, dark, tmp_path):
    with visit(browser, case().page, dark=dark) as seen:
        page = seen.page
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print")
        for name in (".controls", "nav", ".hint", "details:not([open])"):
            assert not any(e.is_visible() for e in page.query_selector_all(name)), name
        for name in ("#rack-0 svg", "#rack-1 svg", "#rack-told", "table.totals", ".answer"):
            assert page.is_visible(name), name
        assert page.text_content("#rack-told") != ""
        # Signs are printed even by those who leave out backgrounds.
        kept = "getComputedStyle(document.querySelector('{}')).printColorAdjust"
        assert [page.evaluate(kept.format(name)) for name in (".mat", ".sign")] == ["exact"] * 2
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert ground == "rgb(255, 255, 255)"
        page.emulate_media(media="screen")
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        page.pdf(path=tmp_path / "page.pdf", format="A4")
        assert (tmp_path / "page.pdf").stat().st_size > 50_000
        assert seen.complaints() == []
