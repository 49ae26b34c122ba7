"""Temperatures from a logger's CSV: daily means against pandas, and every way to get them wrong."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from commandline import EXPERIMENT, cli

from colony_sim.biology.calendar import covers_year, on_calendar
from colony_sim.biology.climate import Climate, climate_from_table
from colony_sim.biology.logger import JUMP_K_PER_HOUR
from colony_sim.biology.parameters import Parameters
from colony_sim.colony.simulate import as_lived
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import content_key, expand
from colony_sim.results import manifest
from colony_sim.studies.comparison.stored import planned


def readings(first="2031-01-01 07:15", last="2032-01-20 09:00", every="30min") -> pd.DataFrame:
    """A year of a shed with warm afternoons, every half hour; invented."""
    time = pd.date_range(first, last, freq=every)
    season = -7 * np.cos(2 * np.pi * (time.day_of_year - 20) / 365.25)
    hour = time.hour + time.minute / 60
    celsius = 18 + season + 2 * np.sin(2 * np.pi * (hour - 9) / 24)
    return pd.DataFrame({"time": time.strftime("%Y-%m-%d %H:%M"), "temperature_c": celsius})


YEAR = readings()


def read(tmp_path, log, **fields) -> Climate:
    path = tmp_path / "log.csv"
    if isinstance(log, str):
        path.write_text(log, encoding="utf-8")
    else:
        log.to_csv(path, index=False)
    return climate_from_table({"kind": "logger", "csv": "log.csv", **fields}, "x.toml", tmp_path)


def refused(tmp_path, log, **fields) -> str:
    with pytest.raises(InputError) as caught:
        read(tmp_path, log, **fields)
    assert "\n" not in caught.value.line
    return caught.value.line


def resampled(log: pd.DataFrame) -> pd.Series:
    """Outside reference: pandas' means of calendar days."""
    index = pd.to_datetime(log["time"])
    return log.set_index(index)["temperature_c"].resample("D").mean()


def test_daily_means_are_those_of_pandas(tmp_path):
    climate = read(tmp_path, YEAR)
    whole = resampled(YEAR).iloc[1:-1]  # The first and the last day are not whole.
    assert climate.first == climate.start == "2031-01-02" == str(whole.index[0].date())
    assert climate.values == pytest.approx(whole.to_numpy(), abs=1e-9)
    assert climate.daily(100) == pytest.approx(whole.to_numpy()[:100], abs=1e-9)
    assert any("2031-01-01, 2032-01-20" in note for note in climate.notes)


def test_irregular_readings_are_plain_means(tmp_path):
    rng = np.random.default_rng(1)
    kept = YEAR.iloc[np.sort(rng.choice(1000, 900, replace=False))]
    climate = read(tmp_path, kept)
    reference = resampled(kept)
    assert climate.values == pytest.approx(reference.iloc[1:-1].to_numpy(), abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "time,temperature_c\n2031-01-01,20\n2031-01-02,21.5\n2031-01-03,19\n",
        "Time ; Humidity;Temperature_C\n2031-01-01;40;20\n2031-01-02;41;21,5\n2031-01-03;40;19,0\n",
        "\ufefftimestamp\ttemperature\n2031-01-01T12:00Z\t20\n2031-01-02T12:00Z\t21.5\n"
        "2031-01-03T12:00:00.5+00:00\t19\n\n",
        "date_time,temperature_f\n2031-01-01,68\n2031-01-02,70.7\n2031-01-03,66.2\n",
    ],
)
def test_layouts_that_loggers_write(tmp_path, text):
    climate = read(tmp_path, text)
    assert climate.values == pytest.approx([20, 21.5, 19]) and climate.first == "2031-01-01"


def test_fahrenheit_by_option_and_by_name(tmp_path):
    celsius = read(tmp_path, YEAR).values
    f = YEAR["temperature_c"] * 1.8 + 32
    by_name = YEAR[["time"]].assign(temperature_f=f)
    assert read(tmp_path, by_name).values == pytest.approx(celsius)
    assert read(tmp_path, by_name, unit="F").values == pytest.approx(celsius)
    plain = YEAR[["time"]].assign(temperature=f)
    assert read(tmp_path, plain, unit="F").values == pytest.approx(celsius)


def test_wrong_units_are_refused_with_a_remedy(tmp_path):
    f = YEAR["temperature_c"] * 1.8 + 32
    line = refused(tmp_path, YEAR.assign(temperature_c=f))
    assert "median" in line and "name the column temperature_f" in line and "17" in line
    line = refused(tmp_path, YEAR[["time"]].assign(temperature=f))
    assert 'set unit = "F"' in line
    # No rule for filling makes Fahrenheit into a room.
    assert "median" in refused(tmp_path, YEAR.assign(temperature_c=f), fill="interpolate")
    line = refused(tmp_path, YEAR[["time"]].assign(temperature_f=YEAR["temperature_c"]))
    assert "median" in line and "name the column temperature_c" in line
    assert "as the column temperature_c says" in refused(tmp_path, YEAR, unit="F")


# ---- Clocks


def test_days_are_those_of_the_clock_through_summer_time(tmp_path):
    # Central European Time: forward on 30 March 2031, back on 26 October 2031 (EU rule: last
    # Sundays of March and October at 01:00 UTC), as zoneinfo has it.
    time = pd.date_range("2031-01-01", "2031-12-31 23:30", freq="30min", tz="Europe/Berlin")
    rng = np.random.default_rng(3)
    values = 20 + np.cumsum(rng.normal(0, 0.05, len(time)))
    written = [stamp.isoformat() for stamp in time]
    assert any("+01:00" in text for text in written) and any("+02:00" in text for text in written)
    climate = read(tmp_path, pd.DataFrame({"time": written, "temperature_c": values}))
    reference = pd.Series(values, index=time).resample("D").mean()
    assert len(reference) == 365
    assert climate.values == pytest.approx(reference.to_numpy(), abs=1e-9)


def test_the_hour_that_comes_twice_needs_offsets(tmp_path):
    time = pd.date_range("2031-10-25", "2031-10-28", freq="30min", tz="Europe/Berlin")
    local = pd.DataFrame({"time": time.strftime("%Y-%m-%d %H:%M"), "temperature_c": 20.0})
    line = refused(tmp_path, local)
    assert "autumn" in line and "+01:00" in line and "row 56" in line
    assert "1 with an earlier one" in line


def test_utc_days_differ_from_local_days(tmp_path):
    time = pd.date_range("2031-06-01", "2031-06-03 23:00", freq="1h", tz="UTC")
    values = np.where(time.hour < 2, 10.0, 20.0)
    utc = pd.DataFrame({"time": [t.isoformat() for t in time], "temperature_c": values})
    local = utc.assign(time=[t.isoformat() for t in time.tz_convert("Europe/Berlin")])
    assert read(tmp_path, utc).values == pytest.approx([20 - 20 / 24] * 3)
    # By the clock of Berlin the cold hours are 2 and 3 of the same day; the first day lacks two.
    assert read(tmp_path, local).values[1] == pytest.approx(20 - 20 / 24)


# ---- Rows at fault


def changed(row: int, column: str, value) -> pd.DataFrame:
    log = YEAR.astype(object)
    log.loc[row - 2, column] = value
    return log


@pytest.mark.parametrize(
    ("log", "expected"),
    [
        (changed(7, "time", "03/04/2031 10:00"), ["row 7, time", "day and month", "ISO 8601"]),
        (changed(7, "time", "3.4.2031"), ["row 7, time", "day and month"]),
        (changed(7, "time", "2031-02-30 10:00"), ["row 7, time", "ISO 8601"]),
        (changed(7, "time", "20310301T1000"), ["row 7, time"]),
        (changed(7, "time", ""), ["row 7, time"]),
        (changed(7, "time", "2031-01-01 09:45+01:00"), ["row 7, time", "an offset"]),
        (changed(7, "time", YEAR["time"][4]), ["1 with the time of the row above", "row 7"]),
        (changed(7, "time", YEAR["time"][2]), ["with an earlier one", "sort the rows"]),
        (changed(99, "temperature_c", ""), ["1 readings", "row 99"]),
        (changed(99, "temperature_c", "n/a"), ["row 99: 'n/a'", "fill"]),
        (changed(99, "temperature_c", "nan"), ["row 99: 'nan'"]),
        (changed(99, "temperature_c", "1_0"), ["row 99"]),
        (changed(99, "temperature_c", -127), ["row 99: '-127'", "-30 to 50"]),
        (changed(99, "temperature_c", 45), ["jumps", "row 99", "row 100", "assumption"]),
        ("time,temperature_c\n", ["rows = 0"]),
        ("", ["header"]),
        ("2031-01-01,20\n", ["header", "time and temperature_c"]),
        ("time,temperature_c,temperature_f\n2031-01-01,20,68\n", ["header"]),
        ("time,temperature_c\n2031-01-01\n", ["row 2", "2 cells"]),
        ('time,temperature_c\n"2031-01-01,20\n', ["a readable CSV"]),
        ("time,temperature_c\n2031-01-01,\n", ["row 2"]),
    ],
)  # fmt: skip
def test_faults_are_named_with_their_rows(tmp_path, log, expected):
    line = refused(tmp_path, log)
    assert all(words in line for words in expected), line


def test_files_that_are_no_text(tmp_path):
    (tmp_path / "log.csv").write_bytes(b"\xff\xfe\x00")
    table = {"kind": "logger", "csv": "log.csv"}
    with pytest.raises(InputError, match="No such file|a readable CSV"):
        climate_from_table(table, "x.toml", tmp_path)
    with pytest.raises(InputError, match="No such file|a readable CSV"):
        climate_from_table(table, "x.toml", tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"unit": "K"}, "climate.unit"),
        ({"fill": "mean"}, '"refuse" or "interpolate" or "season"'),
        ({"longest_gap_days": 0}, "climate.longest_gap_days"),
        ({"longest_gap_days": True}, "climate.longest_gap_days"),
        ({"start": "spring"}, "a date"),
        ({"start": 2031}, "a date"),
        ({"days": 3}, "unknown key"),
    ],
)
def test_fields_of_the_table(tmp_path, fields, expected):
    assert expected in refused(tmp_path, YEAR, **fields)


# ---- Gaps and filling


def gapped(*gaps: tuple[str, str], log: pd.DataFrame = YEAR) -> pd.DataFrame:
    day = log["time"].str[:10]
    for first, last in gaps:
        log = log[~day.between(first, last).reindex(log.index)]
    return log


def test_gaps_are_listed_and_refused(tmp_path):
    log = gapped(("2031-03-05", "2031-03-07"), ("2031-06-01", "2031-06-01"))
    line = refused(tmp_path, log)
    assert "4 days without enough readings, in 2 gaps" in line
    assert "3 days from 2031-03-05, 1 day from 2031-06-01" in line and "interpolate" in line
    many = gapped(*((f"2031-0{m}-05", f"2031-0{m}-05") for m in range(2, 8)))
    assert "and 3 more" in refused(tmp_path, many)


def test_a_day_needs_three_quarters_of_its_readings(tmp_path):
    day = YEAR["time"].str[:10] == "2031-05-05"
    enough = YEAR.drop(YEAR[day].index[:12])
    assert read(tmp_path, enough).daily(365) == pytest.approx(
        resampled(enough).iloc[1:366].to_numpy(), abs=1e-9
    )
    assert "1 day from 2031-05-05" in refused(tmp_path, YEAR.drop(YEAR[day].index[:13]))


def test_a_straight_line_fills_a_gap(tmp_path):
    log = gapped(("2031-03-05", "2031-03-07"))
    climate = read(tmp_path, log, fill="interpolate")
    whole = resampled(YEAR)["2031-01-02":"2032-01-19"]
    holes = whole.copy()
    holes["2031-03-05":"2031-03-07"] = np.nan
    # Outside reference: pandas' linear interpolation.
    assert climate.values == pytest.approx(holes.interpolate().to_numpy(), abs=1e-9)
    assert any("filled by a straight line" in n and "2031-03-05" in n for n in climate.notes)


def test_the_season_fills_a_gap_better_than_a_line(tmp_path):
    gap = ("2031-07-05", "2031-08-20")
    log = gapped(gap)
    assert "1 of more than 7 days" in refused(tmp_path, log, fill="interpolate")
    truth = resampled(YEAR)[gap[0] : gap[1]].to_numpy()
    place = (date.fromisoformat(gap[0]) - date(2031, 1, 2)).days
    errors = {}
    for fill in ("season", "interpolate"):
        climate = read(tmp_path, log, fill=fill, longest_gap_days=60)
        filled = np.array(climate.values)[place : place + len(truth)]
        errors[fill] = np.abs(filled - truth).max()
    assert errors["season"] < 0.1 < 0.5 < errors["interpolate"]


def test_the_season_needs_every_month(tmp_path):
    part = YEAR.iloc[: 48 * 200]
    line = refused(tmp_path, gapped(("2031-03-05", "2031-03-05"), log=part), fill="season")
    assert "none in month 8, 9, 10, 11, 12" in line
    line = refused(tmp_path, gapped(("2031-07-01", "2031-09-15")), fill="season")
    assert "1 of more than 60 days" in line and "longest_gap_days" in line


def test_impossible_readings_and_jumps_are_left_out_if_asked(tmp_path):
    log = YEAR.copy()
    log.loc[500, "temperature_c"] = 45.0
    log.loc[900:901, "temperature_c"] = -127.0
    climate = read(tmp_path, log, fill="interpolate")
    kept = YEAR.drop([499, 500, 501, 900, 901])
    assert climate.values == pytest.approx(resampled(kept).iloc[1:-1].to_numpy(), abs=1e-9)
    told = " ".join(climate.notes)
    assert "row 902: '-127.0'" in told and "row 502" in told and "assumption" in told


def test_the_limit_of_jumps(tmp_path):
    for change, fine in ((JUMP_K_PER_HOUR - 0.1, True), (JUMP_K_PER_HOUR + 0.1, False)):
        log = YEAR.iloc[:480].assign(temperature_c=20.0)
        log.loc[200:, "temperature_c"] = 20 + change
        if fine:
            read(tmp_path, log)
        else:
            assert "row 202" in refused(tmp_path, log)
    # Over two hours it may be twice as much; over more than a day it is a gap.
    slow = readings(every="2h").assign(temperature_c=10.0)
    slow.loc[100:, "temperature_c"] = 10 + 2 * JUMP_K_PER_HOUR - 0.1
    read(tmp_path, slow)


# ---- The calendar


def test_days_beyond_the_log_follow_the_day_of_the_year(tmp_path):
    climate = read(tmp_path, YEAR)
    assert climate.period_days == 365
    long = pd.Series(climate.daily(1500), index=pd.date_range("2031-01-02", periods=1500))
    measured = pd.Series(climate.values, index=pd.date_range("2031-01-02", periods=383))
    assert (long[: len(measured)] == measured).all()
    # 2 January 2033 is as the latest measured 2 January, that of 2032.
    assert long["2033-01-02"] == measured["2032-01-02"]
    assert long["2034-07-15"] == measured["2031-07-15"]
    # 2032 has a 29 February, which the log has not: the mean of its neighbours.
    assert long["2032-02-29"] == (measured["2031-02-28"] + measured["2031-03-01"]) / 2
    assert long["2032-03-01"] == measured["2031-03-01"]
    assert np.abs(np.diff(long["2032-02-25":"2032-03-05"])).max() < 0.2


def test_a_leap_day_that_was_measured_stays(tmp_path):
    climate = read(tmp_path, readings("2028-01-01", "2028-12-31 23:30"))
    assert len(climate.values) == 366
    again = pd.Series(climate.daily(2000), index=pd.date_range("2028-01-01", periods=2000))
    assert again["2032-02-29"] == again["2028-02-29"] == climate.values[59]
    assert again["2029-03-01"] == again["2028-03-01"]


def test_a_run_may_start_on_any_day_of_a_log_that_covers_a_year(tmp_path):
    here = read(tmp_path, YEAR)
    later = read(tmp_path, YEAR, start=date(2031, 6, 1))
    assert later.daily(50).tolist() == here.daily(200)[150:].tolist()
    elsewhere = read(tmp_path, YEAR, start="2040-06-01")
    assert elsewhere.daily(50).tolist() == later.daily(50).tolist()


def test_a_short_log_begins_again_and_says_so(tmp_path):
    climate = read(tmp_path, readings("2031-05-01", "2031-05-10 23:30"))
    assert climate.period_days == 10
    assert climate.daily(25).tolist() == [*climate.values, *climate.values, *climate.values[:5]]
    assert any("begins again from its first day" in note for note in climate.notes)
    line = refused(tmp_path, readings("2031-05-01", "2031-05-10 23:30"), start="2031-06-01")
    assert "climate.start" in line and "2031-05-01 to 2031-05-10" in line


@pytest.mark.parametrize(
    ("first", "days", "whole"),
    [("2031-01-01", 365, True), ("2031-01-01", 364, False), ("2028-01-01", 365, False),
     ("2028-01-01", 366, True), ("2028-03-01", 365, True)],
)  # fmt: skip
def test_what_covers_a_year(first, days, whole):
    start = date.fromisoformat(first)
    assert covers_year(start, days) is whole
    every = {(start + timedelta(days=n)).strftime("%m-%d") for n in range(days)}
    assert (len(every - {"02-29"}) == 365) is whole


def test_constant_logs_have_no_season():
    climate = Climate("logger", (20.0,) * 400, "2031-01-01", "2031-01-01")
    assert climate.period_days == 1
    assert on_calendar(date(2031, 1, 1), [20.0] * 400, date(2035, 1, 1), 5).tolist() == [20.0] * 5


# ---- In an experiment


def test_the_manifest_keeps_the_series_and_the_rule(tmp_path):
    gapped(("2031-03-05", "2031-03-07")).to_csv(tmp_path / "log.csv", index=False)
    kind = 'kind = "logger"\ncsv = "log.csv"\nfill = "interpolate"\nstart = 2031-02-01'
    text = EXPERIMENT.replace('kind = "constant"\ntemperature_c = 27.0', kind)
    (tmp_path / "demo.toml").write_text(text)
    code, out, err = cli("compare", "demo.toml", "--replicates", 2, cwd=tmp_path)
    assert (code, err) == (0, [])
    folder = tmp_path / "results/demo"
    said = "filled by a straight line between the days on either side"
    assert said in " ".join(out.split()) and said in (folder / "verdict.txt").read_text()
    stored = json.loads((folder / "manifest.json").read_text())["climate"]
    climate = Climate.from_dict(stored)
    assert climate == load(tmp_path / "demo.toml").climate
    assert any(said in note for note in stored["notes"]) and stored["start"] == "2031-02-01"
    daily = pd.read_parquet(folder / "daily.parquet")
    one = daily[(daily["policy"] == "short") & (daily["seed"] == daily["seed"].iloc[0])]
    assert len(one) in (700, 1400)  # Lived on where it was not steady.
    assert one["temperature_c"].to_numpy() == pytest.approx(climate.daily(len(one)))
    # The log is not needed to repeat it.
    (tmp_path / "log.csv").unlink()
    again = manifest.plan_from(manifest.read(folder), "x")
    runs = json.loads((folder / "manifest.json").read_text())["runs"]
    assert [run.key for run in planned(again)] == [run["key"] for run in runs]


def test_what_is_noted_does_not_change_the_key_of_a_run(tmp_path):
    (tmp_path / "demo.toml").write_text(EXPERIMENT)
    scenario = next(expand(load(tmp_path / "demo.toml")).runs()).scenario
    keys = set()
    for notes in ((), ("Something.",)):
        climate = Climate("logger", (20.0, 21.0), "2031-01-01", "2031-01-01", notes)
        keys.add(content_key(type(scenario)(**{**vars(scenario), "climate": climate})))
    assert len(keys) == 1


def test_a_logger_in_a_bin_holds_the_heat_of_the_insects_already(tmp_path):
    climate = read(tmp_path, YEAR, place="bin")
    assert climate.place == "bin" and Climate.from_dict(climate.as_dict()) == climate
    p = Parameters.default()
    assert as_lived(p, climate)["heat.own"] is False
    assert as_lived(p, read(tmp_path, YEAR)) == p
    with pytest.raises(InputError, match='climate.place.*oven.*"room" or "bin"'):
        read(tmp_path, YEAR, place="oven")
