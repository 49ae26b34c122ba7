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
        assert near(totals["harvestMg"], daily["harvest_g"].loc[day])
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


def test_columns_and_gauges_are_as_tall_as_the_numbers_say(browser, lived):
    """Pixels of a column are counted by colour and held against the runs."""
    first = max(lived.warm_up.values()) + 1
    with visit(browser, case().page) as seen:
        page = seen.page
        data = json.loads(page.text_content("#rack-data"))
        colours = page.evaluate(
            """() => { const s = getComputedStyle(document.documentElement);
              return Object.fromEntries(["eggs", "pupae", "adults", "mass", "track"].map(
                n => [n, s.getPropertyValue("--" + n).trim()])); }"""
        )
        rgb = {name: [int(c[i : i + 2], 16) for i in (1, 3, 5)] for name, c in colours.items()}
        checked = 0
        for day in (first, first + 40, first + 90):
            page.fill("#rack-slide", str(day))
            for side, policy in enumerate(PAIR):
                record = lived.records[policy]
                bins = record.bins_daily[record.bins_daily["day"] == day]
                tiles, columns = page.evaluate(
                    """(id) => { const c = document.getElementById(id), pen = c.getContext("2d");
                      const tiles = JSON.parse(c.dataset.tiles);
                      const line = (x, bottom, height) => [...pen.getImageData(Math.round(x),
                        Math.round(bottom - height), 1, Math.round(height)).data];
                      return [tiles, tiles.map(([left, wide, bottom, height, gauge]) =>
                        [line(left + wide / 2, bottom, height), line(gauge + 3, bottom, height)])];
                    }""",
                    f"rack-{side}",
                )
                for i, (_, row) in enumerate(bins.sort_values("bin").iterrows()):
                    if row["phase"] == "free":
                        continue
                    height = tiles[i][3]
                    column, gauge = (
                        np.array(strip, int).reshape(-1, 4)[:, :3] for strip in columns[i]
                    )

                    def tall(strip, name):
                        return int((np.abs(strip - rgb[name]).max(axis=1) <= 2).sum())

                    for stage in ("eggs", "pupae", "adults"):
                        due = row[stage] / data["fullInsects"] * height
                        due = max(due, 1) if row[stage] else 0
                        assert abs(tall(column, stage) - due) <= 2, (day, policy, i, stage)
                    whole = row[list(STAGES)].sum() / data["fullInsects"] * height
                    full = len(column) - tall(column, "track")
                    assert abs(full - whole) <= 4, (day, policy, i)
                    due = row["larvae_g"] / data["fullGrams"] * height
                    assert abs(tall(gauge, "mass") - due) <= 1.5, (day, policy, i, "gauge")
                    checked += 1
        assert checked > 30


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
    contents = replace(contents, facts=manifest | {"policies": [{"name": "a"}, {"name": "b"}]})
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
        for name in ("#rack-0", "#rack-1", "#rack-course", "#rack-told", "table.totals", ".answer"):
            assert page.is_visible(name), name
        assert page.text_content("#rack-told") != ""
        # The key of colours is printed even by those who leave out backgrounds.
        kept = "getComputedStyle(document.querySelector('{}')).printColorAdjust"
        assert [page.evaluate(kept.format(name)) for name in (".swatch", ".sign")] == ["exact"] * 2
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert ground == "rgb(255, 255, 255)"
        box = page.evaluate(
            "[...document.getElementById('rack-0').getContext('2d')"
            ".getImageData(12, 12, 1, 1).data]"
        )
        assert min(box[:3]) > 200
        page.emulate_media(media="screen")
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        page.pdf(path=tmp_path / "page.pdf", format="A4")
        assert (tmp_path / "page.pdf").stat().st_size > 50_000
        assert seen.complaints() == []
