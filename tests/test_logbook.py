"""The bin log: what the checker says, what a replay does and shows."""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from commandline import cli
from conftest import QUIET

from colony_sim.biology.parameters import Parameters
from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.logs import demo, observe
from colony_sim.logs.logbook import parse
from colony_sim.logs.reading import temperatures
from colony_sim.logs.replay import replay
from colony_sim.logs.schedule import compile_schedule
from colony_sim.logs.template import template
from colony_sim.logs.words import ABOUT_ERROR, COLUMNS, LogAction

HEAD = "date,bin,action,stage,count,grams,about,until,note\n"
WARM = np.full(500, 27.0)


def lines(rows: str, head: str = HEAD) -> list[str]:
    """What the checker says about a log."""
    entries, faults, _ = parse(head + rows)
    return [fault.line for fault in faults or compile_schedule(entries).faults]


def schedule_of(rows: str):
    entries, faults, _ = parse(HEAD + rows)
    assert not faults
    schedule = compile_schedule(entries)
    assert not schedule.faults
    return schedule


def quiet(**values) -> Parameters:
    """Nobody dies or is missed; all that is there is found."""
    still = {key: value for key, value in QUIET.items() if key != "bran.start_g"}
    return Parameters.default().with_values(
        {**still, "pupae.find_share": 1.0, "harvest.fraction": 1.0, "bran.start_g": 50_000.0,
         **{key.replace("__", "."): value for key, value in values.items()}}, where="test",
    )  # fmt: skip


# ---- The checker


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("15.03.2031,1,cleared,,,,,,", "row 2, date, '15.03.2031': write the day as YYYY-MM-DD"),
        ("2031-02-30,1,cleared,,,,,,", "row 2, date, '2031-02-30': no such day"),
        ("2031-03-15,1,beetels out,,,,,,", "row 2, action, 'beetels out': did you mean 'beetles o"),
        ("2031-03-15,1,count,,9,,,,", "row 2, stage, '': needed with count: one of larvae, small"),
        ("2031-03-15,1,harvest,pupae,9,,,,", "row 2, stage, 'pupae': with harvest: large larvae"),
        ('2031-03-15,1,harvest,,,"1,250",,,', "row 2, grams, '1,250': 1250 or 1.25? write no"),
        ("2031-03-15,1,harvest,,160 g,,,,", "row 2, count, '160 g': the number alone: 160; a we"),
        ("2031-03-15,1,harvest,,,4 cups,,,", "row 2, grams, '4 cups': the number alone, in grams"),
        ("2031-03-15,1,moved beetles,,,,,,", "row 2, action, 'moved beetles': write 'beetles out'"),
        ("2031-03-15,1,fed them carrot,,,,,,", "row 2, action, 'fed them carrot': write 'bran ad"),
        ("2031-03-15,1,harvest,,~40,,,,", "row 2, count, '~40': the number alone: 40, and yes"),
        ("2031-03-15,1,harvest,,-3,,,,", "row 2, count, '-3': a number from 0"),
        ("2031-03-15,1,harvest,,2.5,,,,", "row 2, count, '2.5': a whole number"),
        ("2031-03-15,1,harvest,,nan,,,,", "row 2, count, 'nan': a number from 0"),
        ("2031-03-15,1,harvest,,9,,perhaps,,", "row 2, about, 'perhaps': no (counted"),
        ("2031-03-15,,harvest,,9,,,,", "row 2, bin, '': the name or number"),
        ("2031-03-15,1,sample,larvae,50,,,,", "row 2, grams, '': sample needs grams"),
        ("2031-03-15,1,sample,larvae,50,2100,,,", "row 2, grams, '2100': 50 insects of 4.2e+04 mg"),
        ("2031-03-15,,not written,,,,,2031-03-01,", "row 2, until, '2031-03-01': not before"),
        ("2031-03-15,1,cleared,,,,,2031-03-16,", "row 2, until, '2031-03-16': only with"),
        ("2031-03-15,1,larvae in,,,,,,", "row 2, count, '': larvae in needs a count or grams"),
        ("2031-03-15,1,cleared,,9,,,,", "row 2, count, '9': leave it empty with cleared"),
        ("2031-03-15,1,harvest,,9,,,,big, fat", "row 2, row, '2031-03-15,1,harvest,,9"),
        ("2031-03-15,1,harvest,,9,,,,", "row 2, bin, '1': not in use on this day"),
        ("2031-03-15,1,beetles out,,9,,,,", "row 2, bin, '1': the beetles were not in this bin"),
        ("2031-03-15,1,beetles in,,,,,,", "row 2, count, '': where these beetles come from"),
        ("2031-03-15,1,beetles in,,9,,,,", "row 1, count, '': no row has a number to learn from"),
    ],
)
def test_a_fault_names_row_column_and_remedy(row, said):
    found = lines(row)
    assert len(found) == 1
    assert found[0].startswith(said)
    assert len(found[0]) > len(said.split(": ")[0]) + 10


def test_all_faults_are_named_at_once_with_their_rows():
    rows = "2031-03-01,1,beetles in,,80,,,,\n# a remark\n\n31/3/2031,1,harvest,,x,,,,\n"
    found = lines(rows + "2031-04-01,1,harvest,,5,,no,,\n2031-04-01,1,harvest,,5,,no,,\n")
    assert [line.split(":")[0] for line in found] == [
        "row 5, date, '31/3/2031'", "row 5, count, 'x'",
        "row 7, row, '2031-04-01,1,harvest,5,no'",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("date;bin;acton\n", "row 1, header, 'acton': unknown column: rename it to action"),
        ("date,bin,acton\n", "row 1, header, 'acton': unknown column: rename it to action"),
        ("date,bin\n", "row 1, header, 'action': missing: add the column action"),
        ("date,bin,bin,action\n", "row 1, header, 'bin': twice"),
        ("", "row 1, header, '': the file is empty"),
    ],
)
def test_a_wrong_header_is_named(head, said):
    assert lines("", head)[0].startswith(said)


@pytest.mark.parametrize(
    ("parted", "grams", "value", "said"),
    [
        (",", "3 oz", 85.04857, "3 oz read as 85.05 g"),
        (",", "0.4kg", 400.0, "0.4kg read as 400 g"),
        (",", "160 g", 160.0, ""),
        (",", '"12,5"', 12.5, ""),
        (";", "12,5", 12.5, ""),
        (";", "1,250", 1.25, ""),
        (";", "0,5 lb", 226.796185, "0,5 lb read as 226.8 g"),
        ("\t", "12.5", 12.5, ""),
    ],
)
def test_decimal_commas_units_and_other_separators_are_read(parted, grams, value, said):
    # Ounce and pound: NIST Special Publication 811, appendix B.8.
    rows = f"2031-03-01,1,beetles in,,80,,,,\n2031-03-15,1,weight,larvae,,{grams},,,\n"
    text = HEAD.replace(",", parted)
    cells = [line.split(",", 5) for line in rows.splitlines()]
    for first in cells:
        rest = first.pop()
        # Only the cell of grams may hold a comma that is no separator.
        last = [grams, "", "", ""] if grams in rest else [""] * 4
        text += parted.join([*first, *last]) + "\n"
    entries, faults, notes = parse(text)
    assert not faults
    assert entries[1].grams == pytest.approx(value, rel=1e-6)
    assert notes == ([f"row 3, grams: {said}"] if said else [])


def test_what_can_hardly_be_is_asked_for():
    def notes(rows):
        entries, faults, _ = parse(HEAD + rows)
        assert not faults
        return compile_schedule(entries).notes

    begin = "2031-03-01,1,beetles in,,200,,,,\n"
    (note,) = notes(begin + "2031-03-15,1,beetles out,,400,,,,\n")
    assert note.startswith("row 3: 400 beetles out of bin 1, which got 200; check both")
    assert notes(begin + "2031-03-15,1,beetles out,,190,,,,\n") == ()
    # More were brought in between.
    more = begin + "2031-03-05,1,beetles in,,150,,,,\n2031-03-15,1,beetles out,,330,,,,\n"
    assert notes(more) == ()
    move = "2031-03-15,1,beetles out,,190,,,,\n2031-03-15,2,beetles in,,190,,,,\n"
    (note,) = notes(begin + move + "2031-03-29,2,beetles out,,1900,,,,\n")
    assert note.startswith("row 5: 1900 beetles out of bin 2, which got 190")
    note, *_ = notes(begin + move + "2031-04-20,1,harvest,,,9000,,,\n")
    assert note.startswith("row 5: 9000 g out of bin 1 at once is more than a bin")


def test_a_date_a_century_off_is_named_wherever_it_stands():
    rows = "2031-03-01,1,beetles in,,80,,,,\n2031-04-01,1,count,larvae,9,,,,\n"
    late = lines(rows + "2131-05-01,1,count,larvae,9,,,,\n")
    assert late[0].startswith("row 4, date, '2131-05-01': the log spans")
    early = lines("1931-03-01,1,beetles in,,80,,,,\n" + rows.replace("beetles in", "count,pupae", 1)
                  .replace("count,pupae,,80", "count,pupae,80"))  # fmt: skip
    assert early[0].startswith("row 2, date, '1931-03-01': the log spans")


def test_beetles_still_in_a_bin_and_a_year_typed_wrongly():
    rows = "2031-03-01,1,beetles in,,80,,,,\n2031-04-01,1,count,larvae,9,,,,\n"
    assert lines(rows + "2031-05-01,1,cleared,,,,,,")[0].startswith("row 4, bin, '1': beetles are")
    assert "correct the year" in lines(rows + "2301-05-01,1,count,larvae,9,,,,")[0]


def test_the_template_has_no_fault_and_explains_every_word():
    text = template()
    assert lines(text, "") == []
    assert all(f"# {action} " in text for action in LogAction)
    assert all(f"# {column}" in text or f"# {column}" in text for column in ("date", "until"))
    assert ",".join(COLUMNS) in text


def test_the_command_line_checks_and_writes_templates(tmp_path):
    code, _, err = cli("fit", "--template", "mine.csv", cwd=tmp_path, faults=None)
    assert (code, err) == (0, [])
    code, out, _ = cli("fit", "mine.csv", "--check", cwd=tmp_path, faults=None)
    assert code == 0 and out.startswith("mine.csv has no faults")
    code, _, err = cli("fit", "--template", "mine.csv", cwd=tmp_path, faults=None)
    assert code == 2 and "exists" in err[0]
    (tmp_path / "bad.csv").write_text(HEAD + "2031-03-15,1,cleard,,,,,,\n2031-03-15,,count,,,,,,\n")
    code, out, err = cli("fit", "bad.csv", "--check", cwd=tmp_path, faults=None)
    assert code == 2 and len(out.splitlines()) == 4
    assert err == ["colony-sim: bad.csv: 4 faults to mend; then check again"]
    code, _, err = cli("fit", "bad.csv", cwd=tmp_path, faults=None)
    assert code == 2 and len(err) == 1 and "row 2, action = 'cleard'" in err[0]
    assert not (tmp_path / "results").exists()


def test_the_demo_log_comes_out_of_its_generator(tmp_path):
    demo.main(str(tmp_path))
    for name in ("demo_log.csv", "demo_log.toml"):
        shipped = (demo.FOLDER / name).read_bytes()
        assert (tmp_path / name).read_bytes() == shipped
    assert load(demo.FOLDER / "demo_log.toml").invented
    years = {line[:4] for line in (tmp_path / "demo_log.csv").read_text().splitlines()[4:]}
    assert years <= {"2031", "2032"}


# ---- What a log leaves open


def test_a_move_over_night_is_a_move():
    rows = "2031-03-01,1,beetles in,,80,,,,\n2031-03-15,1,beetles out,,70,,,,\n"
    schedule = schedule_of(rows + "2031-03-16,2,beetles in,,,,,,\n")
    assert [step.what for step in schedule.steps[15]] == ["take out", "put in"]
    assert 14 not in schedule.steps


def test_a_missing_move_is_put_into_the_middle_of_the_gap():
    schedule = schedule_of(
        "2031-03-01,1,beetles in,,80,,,,\n2031-03-10,,not written,,,,,2031-03-20,\n"
        "2031-03-28,2,beetles out,,60,,,,\n2031-03-28,3,beetles in,,,,,,\n"
    )
    assert [step.what for step in schedule.steps[14]] == ["take out", "put in"]
    assert "taken as moved there on 2031-03-15" in schedule.notes[0]
    assert not schedule.written(9) and schedule.written(8) and not schedule.written(19)


def test_long_silence_and_a_bin_never_cleared_are_told():
    schedule = schedule_of(
        "2031-03-01,1,beetles in,,80,,,,\n2031-03-15,1,beetles out,,60,,,,\n"
        "2031-07-15,1,beetles in,,60,,,,\n"
    )
    assert "never cleared" in schedule.notes[0]
    assert "no rows between 2031-03-15 and 2031-07-15" in schedule.notes[1]
    assert [step.what for step in schedule.steps[136]] == ["cleared", "arrive"]


def test_a_yearly_wave_runs_by_the_calendar():
    from colony_sim.biology.climate import Climate

    wave = Climate("yearly_wave", (20.0, 5.0, 60.0))
    schedule = schedule_of("2031-03-01,1,beetles in,,80,,,,\n2031-04-01,1,count,beetles,9,,,,\n")
    found = temperatures(wave, schedule)
    # 1 March is day 60, the coldest; the replay's day 1 is the day after.
    assert found[0] == pytest.approx(wave.daily(61)[60])
    assert found == pytest.approx(wave.daily(60 + len(found))[60:])


def test_a_logger_runs_by_its_dates_or_is_refused():
    from colony_sim.biology.climate import Climate

    schedule = schedule_of("2031-03-01,1,beetles in,,80,,,,\n2031-03-06,1,count,beetles,9,,,,\n")
    series = tuple(float(t) for t in range(10, 20))
    from_26_february = Climate("logger", series, "2031-02-26", "2031-02-26")
    # 2 March is its fifth day; the day after the last row is not needed, and begins it again.
    assert temperatures(from_26_february, schedule)[:5] == (14.0, 15.0, 16.0, 17.0, 18.0)
    for first in ("2031-03-03", "2031-02-20"):
        with pytest.raises(InputError, match="every day from 2031-03-02 to 2031-03-06"):
            temperatures(Climate("logger", series, first, first), schedule)


# ---- What a replay shows, with nothing left to chance


def test_numbers_go_where_the_log_says():
    rows = (
        "2031-03-01,1,beetles in,,80,,1%,,\n2031-03-01,5,larvae in,large larvae,50,,1%,,\n"
        "2031-03-05,1,beetles out,,80,,,,\n2031-03-05,2,beetles in,,30,,,,\n"
        "2031-03-05,3,beetles in,,50,,,,\n2031-03-06,3,count,beetles,50,,,,\n"
        "2031-03-06,5,count,larvae,50,,,,\n2031-03-07,3,beetles out,,50,,,,\n"
        "2031-03-08,2,beetles removed,,10,,,,\n2031-03-09,2,count,beetles,20,,,,\n"
        "2031-03-20,5,harvest,,50,5,,,\n2031-03-21,5,count,larvae,0,,,,\n"
    )
    schedule = schedule_of(rows)
    # So slow that next to none of the larvae pupates before they are counted.
    free = quiet(fecundity__peak_eggs_per_day=0.0, larva__duration_days=600.0)
    seen = replay(schedule, free, WARM, 4)
    shown = {(o.entry.row, o.unit): v for o, v in zip(schedule.observed, seen, strict=True)}
    founders = shown[4, "count"]
    assert abs(founders - 80) <= 4  # An error of 1 % of what was counted.
    assert shown[5, "count"] + shown[6, "count"] == founders
    assert shown[5, "count"] == round(30 / 80 * founders)
    assert shown[7, "count"] == shown[6, "count"] == shown[9, "count"]
    assert shown[11, "count"] == shown[5, "count"] - 10
    larvae = shown[8, "count"]
    assert abs(larvae - 50) <= 3
    pupated = larvae - shown[12, "count"]
    assert 0 <= pupated < larvae and shown[12, "grams"] > 0.08 * shown[12, "count"]
    assert shown[13, "count"] == 0


def test_pupae_go_to_the_tray_and_beetles_back_to_the_breeders():
    rows = "2031-03-01,1,beetles in,,20,,1%,,\n2031-03-01,2,larvae in,large larvae,900,,1%,,\n"
    rows += "".join(f"2031-04-{d:02},2,pupae picked,,9,,,,\n" for d in range(5, 29, 4))
    schedule = schedule_of(rows + "2031-05-20,1,count,beetles,9,,,,\n")
    # So slow that larvae still pupate two months on.
    slow = quiet(fecundity__peak_eggs_per_day=0.0, larva__duration_days=600.0)
    seen = replay(schedule, slow, WARM, 4)
    assert seen[:-1].sum() > 100
    # All picked have emerged, and joined the founders (19 to 21 within the error of counting).
    assert abs(seen[-1] - seen[:-1].sum() - 20) <= 1


def test_a_bin_washed_between_out_and_in_takes_its_beetles_back():
    """A second breeding bin does not get the beetles that wait."""
    schedule = schedule_of(
        "2031-03-01,1,beetles in,,80,,1%,,\n2031-03-01,2,beetles in,,40,,1%,,\n"
        "2031-03-01,3,larvae in,,9,,,,\n"
        "2031-03-10,1,beetles out,,80,,,,\n2031-03-10,1,cleared,,,,,,\n"
        "2031-03-10,1,beetles in,,80,,,,\n2031-03-11,1,count,larvae,0,,,,\n"
    )
    assert not schedule.notes
    seen = replay(schedule, quiet(), WARM, 4)
    assert abs(seen[0] - 80) <= 4 and seen[1] == seen[0] and seen[2] == 0


def test_what_is_seen_on_the_day_a_bin_is_filled_is_seen_after():
    schedule = schedule_of(
        "2031-03-01,1,beetles in,,50,,1%,,\n2031-03-01,1,count,beetles,50,,,,\n"
        "2031-03-01,2,sample,larvae,50,2,,,\n2031-03-01,2,larvae in,,50,2,,,\n"
    )
    seen = replay(schedule, quiet(), WARM, 4)
    assert abs(seen[0] - 50) <= 3 and seen[1] == pytest.approx(40, rel=0.15)


def test_one_bin_only():
    """Beetles that leave the log are gone; a second filling takes those that wait on the tray."""
    schedule = schedule_of(
        "2031-03-01,A,beetles in,,60,,,,\n2031-03-15,A,beetles out,,55,,,,\n"
        "2031-05-01,A,sample,larvae,50,2,,,\n2031-06-20,A,pupae picked,,10,,,,\n"
        "2031-07-10,A,cleared,,,,,,\n2031-07-11,A,beetles in,,70,,,,\n"
        "2031-07-20,A,beetles out,,65,,,,\n"
    )
    # Fast enough that there are pupae to pick on 20 June.
    fast = {"larva.duration_days": 75.0, "moisture.start": "always", "larva.contact_slope": 0.0}
    seen = replay(schedule, Parameters.default().with_values(fast, "test"), WARM, 3)
    assert schedule.bins == ("A",)
    assert 40 <= seen[0] <= 66 and seen[1] > 1
    # Where no beetle dies or is missed, all that go in come out nine days later.
    spared = {
        "adult.life_mean_days": 1000.0, "adult.hazard_per_day": 0.0, "rotation.missed_share": 0.0,
        "rotation.killed_share": 0.0,
    }  # fmt: skip
    all_out = replay(schedule, Parameters.default().with_values(fast | spared, "test"), WARM, 3)
    assert all_out[3] == all_out[-1] > 50 and seen[3] > seen[-1]


def test_mixed_weights_and_handfuls():
    schedule = schedule_of(
        "2031-03-01,1,larvae in,,400,,1%,,\n2031-03-02,1,weight,mixed,,40,,,\n"
        "2031-03-02,1,weight,larvae,,40,yes,,\n2031-03-02,1,count,small larvae,200,,yes,,\n"
        "2031-03-02,1,count,large larvae,200,,50%,,\n2031-04-20,1,weight,mixed,,40,,,\n"
        "2031-04-20,1,weight,larvae,,40,,,\n2031-04-20,1,weight,pupae,,40,,,\n"
        "2031-04-20,1,weight,beetles,,40,,,\n"
    )
    seen = replay(schedule, Parameters.default(), WARM, 3)
    rows = [one.entry.row for one in schedule.observed]
    shown = dict(zip(rows, seen, strict=True))
    assert shown[3] == pytest.approx(shown[4], rel=0.03)  # Few pupae yet.
    assert shown[5] + shown[6] == pytest.approx(400, abs=40)
    assert shown[7] == pytest.approx(shown[8] + shown[9] + shown[10], rel=1e-3)
    assert min(shown[8], shown[9], shown[10]) > 0
    written = observe.written(schedule, np.tile(seen, (4000, 1)), np.random.default_rng(1))
    judged = [rows.index(row) for row in (4, 5, 6, 7)]  # In a later row one may read 0.
    spread = dict(
        zip((4, 5, 6, 7), np.log(written[:, judged] / seen[judged]).std(axis=0), strict=True)
    )
    # The standard error of a standard deviation over 4,000 logs is 1.1 %; six of them.
    for row, error in ((4, ABOUT_ERROR), (5, ABOUT_ERROR), (6, 0.5)):
        assert spread[row] == pytest.approx(error, rel=0.07)
    assert spread[7] == pytest.approx(np.hypot(0.02, 0.29 / shown[7]), rel=0.07)
    assert np.all(written[:, rows.index(5)] == np.round(written[:, rows.index(5)]))


def test_a_replay_repeats_and_depends_on_its_seed():
    schedule = compile_schedule(demo.plan())
    short = compile_schedule([e for e in demo.plan() if e.date < datetime.date(2031, 5, 1)])
    assert len(schedule.observed) > 100
    p = Parameters.default()
    first, again, other = (replay(short, p, WARM, seed) for seed in (5, 5, 6))
    assert np.array_equal(first, again) and not np.array_equal(first, other)
