"""Units of the house: nothing drifts by a rounding, and what is no quantity is one clear line."""

from __future__ import annotations

import math
import re
import threading

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from colony_sim.biology.climate import constant
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.simulate import Scenario
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.units import CUP_CM3, METRIC, House, read, using, using_everywhere
from colony_sim.explore import rules
from colony_sim.explore.experiment_file import experiment_text
from colony_sim.trial.back import empty
from colony_sim.trial.back import read as read_result
from colony_sim.trial.boxes import TRIALS
from colony_sim.trial.words import in_house, instructions
from colony_sim.words.units import both, bran, moisture, scaled, show, span, symbol

US = House("us")
HOUSES = (METRIC, US)
KINDS = {
    "C": (-20.0, 60.0), "K": (0.1, 40.0), "g": (0.01, 1e6), "kg": (0.01, 1e4), "mg": (1.0, 1000.0),
    "cm": (0.1, 1e3), "g/d": (0.01, 1e5), "kg/week": (0.01, 1e3), "dm2": (0.5, 200.0),
    "eggs/dm2": (1.0, 1e5), "larvae/dm2": (1.0, 1e5), "skins/dm2": (1.0, 1e5),
}  # fmt: skip
EXAMPLES = settings(deadline=None, max_examples=200)


@st.composite
def quantities(draw) -> tuple[float, str]:
    unit = draw(st.sampled_from(sorted(KINDS)))
    return draw(st.floats(*KINDS[unit])), unit


def back(text: str, unit: str) -> float:
    """A text as shown, read again."""
    if unit == "kg":
        return read(text, "g", "text", "key") / 1000
    return read(text, unit, "text", "key")


def most_off(text: str, unit: str, value: float, again: float) -> float:
    """How far a text may be from its value: half a tenth of a degree, half a third digit."""
    if unit in ("C", "K"):
        return 0.05 * (1.0 if "C" in text else 5 / 9)
    if unit == "dm2":
        # Half an inch to and fro of one side, at most.
        return 0.5 * 2.54 / 10 * 1.3 * math.sqrt(value) / 2
    number = float(re.match(r"[\d.]+", text)[0])
    return again * 0.5 * 10.0 ** (math.floor(math.log10(number)) - 2) / number


@EXAMPLES
@given(quantities())
def test_what_is_shown_is_read_back_within_its_last_place_and_shown_the_same(quantity):
    value, unit = quantity
    for house in HOUSES:
        with using(house):
            text = show(value, unit)
            again = back(text, unit)
            assert abs(again - value) <= most_off(text, unit, value, again) * (1 + 1e-6), text
            assert show(again, unit) == text


@EXAMPLES
@given(quantities(), st.sampled_from(HOUSES))
@example((181.09375, "dm2"), METRIC)
def test_a_house_and_its_neighbour_can_tell_each_other_a_quantity_for_ever(quantity, first):
    """The first rounds may round once more; from then on both texts stay as they are."""
    value, unit = quantity
    second = HOUSES[1 - HOUSES.index(first)]
    texts = []
    for _ in range(5):
        for house in (first, second):
            with using(house):
                texts.append(show(value, unit))
                value = back(texts[-1], unit)
    assert texts[4:6] == texts[6:8] == texts[8:10]


def test_a_cup_of_bran_is_that_of_the_model():
    volume = float(catalogue()["feed.bran_cm3_per_g"].value)
    assert METRIC.cup_g == round(CUP_CM3 / volume)


@pytest.mark.parametrize(
    ("text", "unit", "stuff", "value"),
    [
        ("68 F", "C", "", 20.0),
        ("68°F", "C", "", 20.0),
        ("20 degrees C", "C", "", 20.0),
        ("9 F", "K", "", 5.0),
        ("1 1/2 lb", "g", "", 680.388555),
        ("3 cups of bran", "g", "bran", 165.0),
        ("1/2 cup", "g", "bran", 27.5),
        ("6 slices of carrot", "g/d", "water", 26.4),
        ("7 oz a week", "g/d", "", 28.349523125),
        ("16 x 12 in", "dm2", "", 12.387072),
        ("40 by 30 cm", "dm2", "", 12.0),
        ("2 sq ft", "dm2", "", 18.580608),
        ("2 weeks", "d", "", 14.0),
        ("1 h", "min", "", 60.0),
        ("2 h", "min/week", "", 120.0),
        ("8 g a hundred", "mg", "", 80.0),
        ("155 eggs on 4 x 4 in", "eggs/dm2", "", 150.156550313),
        ("10 eggs/in2", "eggs/dm2", "", 155.000310001),
        ("12 in", "cm", "", 30.48),
    ],
)
def test_texts_that_a_keeper_may_write(text, unit, stuff, value):
    assert read(text, unit, "file", "key", stuff) == value


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("2 lb", "C"), ("3 furlongs", "cm"), ("68", "C"), ("", "C"), ("1/0 lb", "g"), ("F", "C"),
        ("9" * 400 + " g", "g"), ("68 F F", "C"), ("5 g /", "g"), ("3 cups", "g"), ("-", "g"),
        ("2 slices", "g/d"), ("12 in", "dm2"), ("4 x 4 lb", "dm2"), ("nan F", "C"), ("5 g²", "g"),
    ],
)  # fmt: skip
def test_what_is_no_such_quantity_is_one_clear_line(text, unit):
    with pytest.raises(InputError) as caught:
        read(text, unit, "rack.toml", "some.key")
    line = caught.value.line
    assert line.startswith("rack.toml: some.key = ") and "\n" not in line
    assert f"a number ({unit}), or one with a unit: " in line


FILE = """\
[experiment]
name = "us"
days = 700
replicates = 4
units = "us"
cup_of_bran_g = "2 oz"

[climate]
kind = "yearly_wave"
mean_c = "72 F"
amplitude_k = "9 F"
coldest_day = 20

[start]
breeders = 300

[handling]
rack.bin_area_dm2 = "16 x 12 in"
bran.start_g = "10 cups"
moisture.growing_g_per_day = "6 slices"

[[policy]]
name = "weekly"
rotation.interval_days = "2 weeks"
"""


def test_a_file_may_have_units_wherever_a_key_has_one(tmp_path):
    path = tmp_path / "us.toml"
    path.write_text(FILE, encoding="utf-8")
    found = load(path)
    p = found.policies[0].parameters
    assert found.house == House("us", cup_g=56.69904625)
    assert found.climate.values == pytest.approx((22.2222222222, 5.0, 20.0))
    assert p["bran.start_g"] == pytest.approx(566.9904625) and p["rotation.interval_days"] == 14
    assert p["rack.bin_area_dm2"] == 12.387072 and p["moisture.growing_g_per_day"] == 26.4


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('units = "us"', 'units = "uk"', "experiment.units = 'uk'; allowed: \"metric\" or \"us\""),
        ('"2 oz"', '"2 F"', "experiment.cup_of_bran_g = '2 F'; allowed: a number (g)"),
        ('"72 F"', '"72 lb"', "climate.mean_c = '72 lb'; allowed: a number (C)"),
        ('"10 cups"', '"10 F"', "bran.start_g = '10 F'; allowed: a number (g)"),
        ('"2 weeks"', '"2 cups"', "rotation.interval_days = '2 cups'; allowed: a number (d)"),
        ('"72 F"', '"720 F"', "climate.mean_c = 382.22"),
    ],
)  # fmt: skip
def test_a_wrong_unit_in_a_file_names_its_key(tmp_path, old, new, told):
    path = tmp_path / "us.toml"
    path.write_text(FILE.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(path)
    assert told in caught.value.line


def test_amounts_as_a_keeper_measures_them():
    with using(US):
        assert bran(600) == "11 cups (1.32 lb)"
        assert bran(600, paper=True) == "11 cups (600 g)"
        assert moisture(25) == "5.5 slices of carrot" and bran(5000) == "11 lb"
        assert show(25, "C") == "77 °F" and both(25, "C") == "77 °F (25 °C)"
        assert span(17, 27, "C") == "62.6 to 80.6 °F" and symbol("g/d") == "oz a day"
        assert scaled(28.349523125, "g/d") == pytest.approx(1.0)
    assert bran(600) == "600 g" and bran(600, paper=True) == "600 g (11 cups)"
    assert both(25, "C") == "25 °C (77 °F)" and moisture(25) == "25 g of water"
    assert show(12, "dm2") == "40 x 30 cm" and show(80, "mg") == "8 g a hundred"


def test_threads_without_a_house_of_their_own_show_that_of_the_page():
    """Handlers of a served page run in threads and tasks of a library."""
    shown: list[str] = []
    with using_everywhere(US):
        other = threading.Thread(target=lambda: shown.append(show(25.0, "C")))
        other.start()
        other.join()
        with using(METRIC):
            shown.append(show(25.0, "C"))
    assert shown == ["77 °F", "25 °C"] and show(25.0, "C") == "25 °C"


# ---- Where a keeper types and reads


def test_the_room_of_the_page_is_in_the_degrees_of_the_house():
    room_given = constant(20.0)
    scenario = Scenario(Parameters.default(), room_given, 1, 1, 10, 0)
    with using(US):
        room = rules.rule(rules.TEMPERATURE)
        assert room.printed == "°F" and rules.shown(room.key, 20.0) == "68 °F"
        low, high = rules.on_slider(room, 20.0)
        for degrees in range(low, high + 1):
            # What is typed or slid stays as it is.
            now = rules.changed(scenario, room.key, room.off_page(degrees), room_given)
            assert room.on_page(rules.value(now, room.key)) == degrees
        with pytest.raises(InputError) as caught:
            rules.changed(scenario, room.key, room.off_page(500.0), room_given)
        assert re.search(r"500\.0 is not possible.* to 122 \(F\)", rules.refused(caught.value))
    room = rules.rule(rules.TEMPERATURE)
    assert (room.printed, room.off_page(20.5), room.page_step) == ("°C", 20.5, 0.5)


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: trial.name)
def test_a_trial_is_told_in_the_units_of_the_house(trial):
    metric = instructions(trial, 20.0)
    assert all(in_house(step) in metric for step in trial.steps)
    with using(US):
        told = instructions(trial, 20.0)
    assert "near 68 F" in told
    # What is not weighed to a quarter cup is in grams as well.
    assert not re.search(r"\d+ g of|\d mg|\d cm", told.split("Write down")[0].replace(" (", "("))


def test_a_result_from_home_may_have_its_unit(tmp_path):
    (sample,) = (trial for trial in TRIALS if trial.name == "sample")
    log = tmp_path / "sample.csv"
    numbers = []
    for text in ("5.6699", "0.2 oz"):
        log.write_text(empty(sample).rstrip("\n") + text + "\n")
        numbers += read_result(log, TRIALS)[1].tolist()
    assert numbers[0] == pytest.approx(numbers[1], rel=1e-4)


def test_an_experiment_of_the_page_keeps_the_units_of_the_house(tmp_path):
    old = Scenario(Parameters.default(), constant(20.0), 400, 1, 10, 0)
    new = rules.changed(old, rules.STAY, 20, old.climate)
    (tmp_path / "x.toml").write_text(experiment_text(old, new))
    assert load(tmp_path / "x.toml").house == METRIC
    with using(US):
        (tmp_path / "x.toml").write_text(experiment_text(old, new))
    assert load(tmp_path / "x.toml").house == US
