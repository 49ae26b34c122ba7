"""Room temperatures: every kind, and every way to get them wrong."""

from __future__ import annotations

import json

import numpy as np
import pytest

from colony_sim.biology.climate import Climate, climate_from_table, constant
from colony_sim.errors import InputError

WAVE = {"kind": "yearly_wave", "mean_c": 20.0, "amplitude_k": 8.0, "coldest_day": 15}


def series(tmp_path, text, name="room.csv"):
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return climate_from_table({"kind": "series", "csv": name}, "x.toml", tmp_path)


def refused(table, where="x.toml", base=None) -> InputError:
    with pytest.raises(InputError) as caught:
        climate_from_table(table, where, base)
    assert "\n" not in str(caught.value)
    return caught.value


def test_constant():
    climate = climate_from_table({"kind": "constant", "temperature_c": 27}, "x")
    assert climate.daily(4).tolist() == [27.0] * 4
    assert climate.daily(4).dtype == np.float64
    assert climate.period_days == 1
    assert climate == constant(27.0)


def test_yearly_wave():
    climate = climate_from_table(WAVE, "x")
    room = climate.daily(730)
    assert room[14] == pytest.approx(12.0)
    assert room[:365].argmin() == 14
    assert room[:365].max() == pytest.approx(28.0, abs=0.01)
    assert room[:365].argmax() in (196, 197)  # half a year later
    assert room[:365].mean() == pytest.approx(20.0)
    assert room[365:] == pytest.approx(room[:365])
    assert climate.period_days == 365


def test_wave_without_amplitude_is_constant():
    climate = climate_from_table({**WAVE, "amplitude_k": 0}, "x")
    assert climate.period_days == 1
    assert set(climate.daily(50)) == {20.0}


def test_series_starts_again_after_its_last_day(tmp_path):
    climate = series(tmp_path, "day,temperature_c\n1,20\n2,21.5\n3,-3e0\n")
    assert climate.daily(7).tolist() == [20.0, 21.5, -3.0, 20.0, 21.5, -3.0, 20.0]
    assert climate.daily(2).tolist() == [20.0, 21.5]
    assert climate.period_days == 3


def test_series_as_spreadsheets_write_it(tmp_path):
    plain = series(tmp_path, "day,temperature_c\n1,20\n2,21.5\n")
    assert series(tmp_path, b"\xef\xbb\xbfday,temperature_c\r\n1,20\r\n2,21.5\r\n") == plain
    assert series(tmp_path, '"day","temperature_c"\n 1 , 20 \n"2","21.5"') == plain


def test_series_by_absolute_path(tmp_path):
    (tmp_path / "a.csv").write_text("day,temperature_c\n1,20\n")
    table = {"kind": "series", "csv": str(tmp_path / "a.csv")}
    assert climate_from_table(table, "x").values == (20.0,)
    assert climate_from_table(table, "x", tmp_path / "elsewhere").values == (20.0,)


@pytest.mark.parametrize("table", [{"kind": "constant", "temperature_c": 22.5}, WAVE])
def test_round_trip(table):
    climate = climate_from_table(table, "x")
    assert Climate.from_dict(json.loads(json.dumps(climate.as_dict()))) == climate


def test_round_trip_of_a_series_needs_no_file(tmp_path):
    climate = series(tmp_path, "day,temperature_c\n1,20.1\n2,19.9\n")
    data = json.loads(json.dumps(climate.as_dict()))
    (tmp_path / "room.csv").unlink()
    assert Climate.from_dict(data) == climate


@pytest.mark.parametrize("kind", [None, "", "Constant", "sine", 3, True, ["constant"], {}])
def test_unknown_kind(kind):
    error = refused({"kind": kind, "temperature_c": 20.0})
    assert error.key == "climate.kind"
    for word in ("constant", "yearly_wave", "series", "x.toml"):
        assert word in str(error)


def test_kind_left_out():
    assert refused({}).key == "climate.kind"


@pytest.mark.parametrize(
    ("table", "missing"),
    [
        ({"kind": "constant"}, "temperature_c"),
        *[({k: v for k, v in WAVE.items() if k != f}, f) for f in WAVE if f != "kind"],
        ({"kind": "series"}, "csv"),
    ],
)
def test_missing_field(table, missing):
    assert refused(table).key == f"climate.{missing}"


@pytest.mark.parametrize(
    "table", [{"kind": "constant", "temperature_c": 20.0, "mean_c": 20.0}, {**WAVE, "csv": "a"}]
)
def test_field_of_another_kind(table):
    assert "unknown key" in str(refused(table))


NOT_NUMBERS = ["20", None, True, [20], float("nan"), float("inf"), -float("inf"), 10**400]


@pytest.mark.parametrize("value", [*NOT_NUMBERS, -30.1, 50.1, 300.0])
@pytest.mark.parametrize("field", ["temperature_c", "mean_c"])
def test_bad_temperature(field, value):
    table = WAVE if field == "mean_c" else {"kind": "constant"}
    error = refused({**table, field: value})
    assert error.key == f"climate.{field}"


@pytest.mark.parametrize("value", [-30.0, 50.0, 0])
def test_temperatures_at_the_limits_are_accepted(value):
    assert constant(value).values == (float(value),)


@pytest.mark.parametrize("value", [*NOT_NUMBERS, -0.1, 40.1])
def test_bad_amplitude(value):
    assert refused({**WAVE, "amplitude_k": value}).key == "climate.amplitude_k"


@pytest.mark.parametrize("mean", [-25.0, 45.0])
def test_wave_outside_the_limits(mean):
    error = refused({**WAVE, "mean_c": mean})
    assert "-30" in str(error) and "50" in str(error)


@pytest.mark.parametrize("value", [*NOT_NUMBERS, 0, 366])
def test_bad_coldest_day(value):
    assert refused({**WAVE, "coldest_day": value}).key == "climate.coldest_day"


@pytest.mark.parametrize("value", ["", None, 3, ["a.csv"], "nothing.csv", ".", "a\0b.csv"])
def test_bad_csv_name(value, tmp_path):
    assert refused({"kind": "series", "csv": value}, base=tmp_path).key == "climate.csv"


BAD_FILES = {
    "empty": ("", "header"),
    "header only": ("day,temperature_c\n", "rows"),
    "no header": ("1,20\n2,20\n", "header"),
    "other header": ("day,temp\n1,20\n", "header"),
    "columns the other way round": ("temperature_c,day\n20,1\n", "header"),
    "other separator": ("day;temperature_c\n1;20\n", "header"),
    "one cell": ("day,temperature_c\n1\n", "row 2"),
    "three cells": ("day,temperature_c\n1,20,5\n", "row 2"),
    "blank line within": ("day,temperature_c\n1,20\n\n2,20\n", "row 3"),
    "first day is 0": ("day,temperature_c\n0,20\n", "row 2, day"),
    "day left out": ("day,temperature_c\n1,20\n3,20\n", "row 3, day"),
    "day twice": ("day,temperature_c\n1,20\n1,20\n", "row 3, day"),
    "date for a day": ("day,temperature_c\n2024-01-01,20\n", "row 2, day"),
    "no temperature": ("day,temperature_c\n1,\n", "row 2, temperature_c"),
    "words": ("day,temperature_c\n1,warm\n", "row 2, temperature_c"),
    "not a number": ("day,temperature_c\n1,nan\n", "row 2, temperature_c"),
    "infinite": ("day,temperature_c\n1,inf\n", "row 2, temperature_c"),
    "too hot": ("day,temperature_c\n1,20\n2,68\n", "row 3, temperature_c"),
    "too cold": ("day,temperature_c\n1,-31\n", "row 2, temperature_c"),
    "underscore": ("day,temperature_c\n1,2_0\n", "row 2, temperature_c"),
    "not text": (b"day,temperature_c\n1,\xff\xfe\n", "climate.csv"),
    "open quote": ('day,temperature_c\n1,"20\n', "climate.csv"),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_bad_csv(case, tmp_path):
    text, key = BAD_FILES[case]
    with pytest.raises(InputError) as caught:
        series(tmp_path, text)
    assert caught.value.key == key
    assert "room.csv" in str(caught.value)
    assert "\n" not in str(caught.value)
