"""Worlds: the type and its file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_up_worlds import EGG, KEYS, LAID, LIFE, PROFILE
from scipy import stats

from colony_sim.biology.parameters import Parameters, catalogue, out_of_order
from colony_sim.errors import InputError
from colony_sim.experiment import worlds as module
from colony_sim.experiment.worlds import Worlds, fitted_ranges, read_worlds, write_worlds
from colony_sim.studies.comparison.assumptions import uncertain

LAW, OWN = "growth.law", "heat.own"
LAWS = catalogue()[LAW].choices
MIXED = Worlds(
    "mixed",
    (LAW, EGG, OWN),
    np.array([[0, 0.1, 1], [1, 0.2, 1], [1, 0.3, 0], [2, 0.4, 1], [1, 0.5, 1]]),
    {"log": 'a "log, # 2".csv', "dates": ["2031-01-01", "é\n\u2028\x7f"]},
)
MASS = ("larva.mature_mass_mg", "larva.asymptotic_mass_mg")


def every_key(draws: int) -> Worlds:
    """Every key of the biology, with values close to the defaults."""
    rng = np.random.default_rng(8)
    columns = []
    for entry in (e for e in catalogue().values() if e.group == "biology"):
        if not entry.is_number:
            columns.append(rng.integers(0, max(len(entry.choices), 2), draws))
        else:
            near = entry.value * (1 + rng.normal(0, 1e-4, draws))
            columns.append(np.clip(near, entry.least, entry.most))
    keys = tuple(e.key for e in catalogue().values() if e.group == "biology")
    return Worlds("all", keys, np.column_stack(columns))


# ---- The file


@pytest.mark.parametrize("worlds", [PROFILE, MIXED, every_key(20)], ids=lambda w: w.name)
def test_round_trip_is_exact(tmp_path, worlds):
    path = tmp_path / "a.csv"
    write_worlds(path, worlds)
    found = read_worlds(path)
    assert found == worlds and found.draws.tobytes() == worlds.draws.tobytes()
    assert (found.keys, found.facts) == (worlds.keys, worlds.facts)
    again = tmp_path / "again.csv"
    write_worlds(again, found)
    assert again.read_bytes() == path.read_bytes()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv", "again.csv"]


def test_odd_numbers_keep_every_bit(tmp_path):
    odd = Worlds("odd", (EGG,), np.array([[0.1 + 0.2], [1e-300], [5e-324], [0.0], [-0.0], [10.0]]))
    write_worlds(tmp_path / "a.csv", odd)
    assert read_worlds(tmp_path / "a.csv").draws.tobytes() == odd.draws.tobytes()


@pytest.mark.parametrize("worlds", [MIXED, every_key(20)], ids=lambda w: w.name)
def test_pandas_opens_the_file(tmp_path, worlds):
    path = tmp_path / "a.csv"
    write_worlds(path, worlds)
    table = pd.read_csv(path, comment="#")
    assert list(table) == ["world", *worlds.keys]
    assert table["world"].tolist() == list(range(1, len(worlds.draws) + 1))
    for entry, column in zip(worlds.entries, worlds.draws.T, strict=True):
        if entry.is_number:
            np.testing.assert_allclose(table[entry.key], column, rtol=1e-15)
        else:
            values = [worlds.draw(number)[entry.key] for number in table["world"]]
            assert table[entry.key].tolist() == values


def test_the_file_can_be_read_by_people(tmp_path):
    write_worlds(tmp_path / "a.csv", MIXED)
    lines = (tmp_path / "a.csv").read_text(encoding="utf-8").split("\n")
    assert lines[0].startswith("## ") and lines[-1] == ""
    assert "# format = 2" in lines and '# name = "mixed"' in lines
    unit = catalogue()[EGG].unit
    low, high = MIXED.interval(EGG, 0.9)
    assert (
        f"## {EGG} ({unit}): half of the worlds from 0.2 to 0.4, 90 % from {low:.4g} to {high:.4g}"
    ) in lines
    assert f"## {OWN}: false 20 %, true 80 %" in lines
    assert lines[-6:-1] == [
        f"1,{LAWS[0]},0.1,true", f"2,{LAWS[1]},0.2,true", f"3,{LAWS[1]},0.3,false",
        f"4,{LAWS[2]},0.4,true", f"5,{LAWS[1]},0.5,true",
    ]  # fmt: skip


def test_facts_are_plain(tmp_path):
    full = replace(PROFILE, facts={"n": np.int64(3), "x": np.float64(0.5), "none": None, "t": (1,)})
    assert full.facts == {"n": 3, "x": 0.5, "t": [1]}
    write_worlds(tmp_path / "a.csv", full)
    assert read_worlds(tmp_path / "a.csv") == full
    for facts in ({"x": float("nan")}, {"a b": 1}, {"name": "x"}, {"d": {"a": 1}}):
        with pytest.raises(InputError):
            replace(PROFILE, facts=facts)


FILE = """\
## By hand.
# format = 2
# name = "shed"
# log = "log.csv"
world,predation.adult_egg,fecundity.peak_eggs_per_day,growth.law,heat.own
1,0.01,5.0,richards,true
2,0.02,6.0,gompertz,true
3,0.03,7,richards,false
"""


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("world,", "draw,", ["line 5 = 'draw,predation", "the header row", "colony-sim fit"]),
        ("world,", "1,0.01\nworld,", ["line 5 = '1,0.01'", "the header row"]),
        (FILE, "", ["line 1 = ''", "the header row"]),
        (FILE[FILE.index("world") :], "", ["line 5 = ''", "the header row"]),
        ('"shed"', '"A shed"', ["name = 'A shed'"]),
        ("# name", "# nam", ["name = None"]),
        ("format = 2", "format = 1", ["format = 1; allowed: 2"]),
        ("format = 2", "format = true", ["format = True; allowed: 2"]),
        ("# format = 2\n", "", ["format = None"]),
        ("# name =", "# name", ["line 3 = '# name", "# NAME = VALUE"]),
        ("# log", "# name", ["line 4", "name once"]),
        ('"log.csv"', "[" * 100_000, ["line 4", "# NAME = VALUE"]),
        ('"log.csv"', "9" * 10_000, ["line 4"]),
        ('"log.csv"', "nan", ["fact log = nan"]),
        ('"log.csv"', "2031-01-01", ["fact log"]),
        ("adult_egg,", "adult_eg,", ["unknown key", "predation.adult_egg"]),
        ("heat.own", "harvest.fraction", ["what nobody chooses"]),
        (LAID, EGG, ["key = 'predation.adult_egg'; allowed: every key once"]),
        (f",{EGG},{LAID},{LAW},{OWN}", "", ["keys = 'none'"]),
        ("gompertz,true", "gompertz", ["world 2: number of cells = 4; allowed: 5"]),
        ("gompertz,true", "gompertz,true,", ["world 2: number of cells = 6; allowed: 5"]),
        ("3,0.03", "2,0.03", ["line 8, world = '2'; allowed: 3"]),
        ("3,0.03", "4,0.03", ["line 8, world = '4'; allowed: 3"]),
        ("3,0.03", "\n3,0.03", ["line 8, world = ''"]),
        (FILE[FILE.index("1,") :], "", ["draws = 0"]),
        ("0.03", "11.0", ["world 3: predation.adult_egg = 11.0", "from 0 to 10"]),
        ("0.03", "-0.1", ["world 3: predation.adult_egg = -0.1"]),
        ("0.03", "1e999", ["world 3: predation.adult_egg = inf"]),
        ("0.03", "nan", ["world 3: predation.adult_egg = 'nan'", "a number from 0 to 10"]),
        ("0.03", "0.0_3", ["world 3: predation.adult_egg = '0.0_3'"]),
        ("0.03", "٣", ["world 3: predation.adult_egg"]),
        ("0.03", "", ["world 3: predation.adult_egg = ''"]),
        ("0.03", "true", ["world 3: predation.adult_egg = 'true'"]),
        ("gompertz", "Gompertz", ["world 2: growth.law = 'Gompertz'", '"richards"']),
        ("gompertz", "1", ["world 2: growth.law = '1'"]),
        ("7,richards,false", "7,richards,0", ["world 3: heat.own = '0'; allowed: true or false"]),
        (FILE, '[profile]\nname = "a"\n', ["a TOML profile", "run colony-sim fit again"]),
    ],
)
def test_a_bad_file_is_one_line(tmp_path, old, new, expected):
    path = tmp_path / "a.csv"
    path.write_text(FILE, encoding="utf-8")
    assert read_worlds(path).draw(3) == {EGG: 0.03, LAID: 7.0, LAW: "richards", OWN: False}
    assert old in FILE
    path.write_text(FILE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_worlds(path)
    line = caught.value.line
    assert line.startswith(str(path)) and "\n" not in line
    assert all(words in line for words in expected), line


def test_files_that_cannot_be_text(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_bytes(FILE.encode() + b"\xff")
    with pytest.raises(InputError, match="not UTF-8"):
        read_worlds(path)
    with pytest.raises(InputError, match="No such file"):
        read_worlds(tmp_path / "b.csv")
    path.write_text(FILE)
    monkeypatch.setattr(module, "MOST_BYTES", len(FILE))
    read_worlds(path)
    monkeypatch.setattr(module, "MOST_BYTES", len(FILE) - 1)
    with pytest.raises(InputError, match="a.csv: size = .* MB.; allowed: at most .* MB; a profile"):
        read_worlds(path)
    monkeypatch.undo()
    monkeypatch.setattr(module, "MOST_DRAWS", 2)
    with pytest.raises(InputError, match="a.csv: draws = 3; allowed: 1 to 2"):
        read_worlds(path)


def test_the_largest_file_is_not_too_large():
    # Nothing is longer than a float with all its digits, sign, exponent and comma.
    biology = sum(entry.group == "biology" for entry in catalogue().values())
    assert biology * 25 * module.MOST_DRAWS < module.MOST_BYTES


def test_a_file_of_windows_is_the_same(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"\xef\xbb\xbf" + FILE.replace("\n", "\r\n").encode())
    assert len(read_worlds(path).draws) == 3


# ---- What goes together


def test_a_world_that_breaks_the_order_of_keys_is_named(tmp_path):
    path = tmp_path / "a.csv"
    rows = "1,150.0,200.0\n2,400.0,300.0\n3,500.0,300.0\n"
    path.write_text(f'# format = 2\n# name = "a"\nworld,{",".join(MASS)}\n{rows}')
    line = r"world 2: larva.mature_mass_mg = 400.0; allowed: below larva.asymptotic_mass_mg = 300"
    with pytest.raises(InputError, match=line):
        read_worlds(path)
    with pytest.raises(InputError, match="world 1"):
        write_worlds(tmp_path / "q.csv", Worlds("a", MASS, np.array([[400.0, 300.0]])))
    assert not (tmp_path / "q.csv").exists()


@pytest.mark.parametrize(
    ("values", "fine"),
    [
        ({"egg.lower_c": 27.5}, False),
        ({"egg.reference_c": 38.0}, False),
        ({"adult.teneral_reference_c": 45.0}, False),
        ({"fecundity.full_from_c": 32.5}, False),
        ({"fecundity.full_from_days": 65.0}, False),
        ({"feed.frass_share": 0.65}, False),
        ({"feed.per_gain": 1.0}, False),
        ({"feed.per_gain": 1.6, "feed.frass_share": 0.4}, False),
        ({"larva.mature_mass_mg": 160.0, "larva.asymptotic_mass_mg": 150.0}, False),
        ({"fecundity.full_from_c": 28.0, "fecundity.full_until_c": 28.0}, True),
    ],
)
def test_arrays_are_judged_as_single_sets_are(values, fine):
    default = Parameters.default()

    def refused(chosen):
        try:
            default.with_values(chosen, where="here")
        except InputError as error:
            return error.line
        return None

    keys = tuple(values)
    usual = [default[key] for key in keys]
    worlds = Worlds("a", keys, np.array([usual, list(values.values()), usual]))
    line = refused(values)
    assert (line is None) == fine
    bad = out_of_order(default.as_dict() | dict(zip(keys, worlds.draws.T, strict=True)), 3)
    assert bad.tolist() == [False, not fine, False]
    if fine:
        worlds.check("here")
        return
    with pytest.raises(InputError) as caught:
        worlds.check("here")
    assert caught.value.line == line.replace("here:", "here, world 2:")


def test_every_limit_is_that_of_the_single_value():
    for entry in (e for e in catalogue().values() if e.group == "biology"):
        tried = (
            (entry.least, entry.most, np.nextafter(entry.most, np.inf), np.nan, -np.inf)
            if entry.is_number
            else (0.0, 1.0, -1.0, 0.5, max(len(entry.choices), 2) - 1.0, 5.0, np.nan)
        )
        for value in tried:
            worlds = Worlds("a", (entry.key,), np.array([[value]]))
            try:
                entry.check(worlds.draw(1)[entry.key], "here")
            except InputError:
                with pytest.raises(InputError, match=f"here, world 1: {entry.key}"):
                    worlds.check("here")
            else:
                assert module._allowed(entry, worlds.draws[:, 0]).all()


def test_the_other_values_may_be_given():
    worlds = Worlds("a", MASS[:1], np.array([[150.0], [170.0]]))
    worlds.check("here")
    base = Parameters.default().with_values({MASS[1]: 160.0}, where="test")
    with pytest.raises(InputError, match="here, world 2: larva.mature_mass_mg = 170.0"):
        worlds.check("here", base)


# ---- The type


def test_shapes_and_names_of_worlds():
    for keys, draws in (
        ((EGG,), np.ones((3, 2))), ((EGG,), np.ones(3)), ((EGG, EGG), np.ones((3, 2))),
        ((), np.ones((3, 0))), ((EGG,), np.ones((0, 1))), (("pupae.isolate",), np.ones((3, 1))),
        ((EGG,), np.ones((module.MOST_DRAWS + 1, 1))),
    ):  # fmt: skip
        with pytest.raises(InputError):
            Worlds("a", keys, draws)
    with pytest.raises(InputError, match="name = '../a'"):
        Worlds("../a", (EGG,), np.ones((3, 1)))
    with pytest.raises(ValueError, match="read-only"):
        PROFILE.draws[0, 0] = 1.0


def test_draws_give_values_in_their_own_type():
    assert MIXED.draw(1) == MIXED.draw(6) == {LAW: LAWS[0], EGG: 0.1, OWN: True}
    assert MIXED.draw(3)[OWN] is False and isinstance(MIXED.draw(3)[EGG], float)
    data = MIXED.as_dict()
    assert data["draws"][2] == [LAWS[1], 0.3, False] and Worlds.from_dict(data) == MIXED
    data["draws"][2][0] = "none of these"
    with pytest.raises(ValueError):
        Worlds.from_dict(data)


def test_intervals_and_parts():
    assert PROFILE.interval(LAID, 0.9) == tuple(np.quantile(PROFILE.draws[:, 1], [0.05, 0.95]))
    with pytest.raises(InputError, match="growth.law"):
        MIXED.interval(LAW, 0.9)
    assert PROFILE.draw(1) == PROFILE.draw(41) != PROFILE.draw(2)
    assert PROFILE.without([]) is PROFILE and PROFILE.without(KEYS) is None
    rest = PROFILE.without([LAID])
    assert rest.keys == (EGG, LIFE) and np.array_equal(rest.draws, PROFILE.draws[:, [0, 2]])


def distances(worlds: Worlds) -> np.ndarray:
    """Distance of every draw from the centre, with other means."""
    far = np.zeros(len(worlds.draws))
    for key, column in zip(worlds.keys, worlds.draws.T, strict=True):
        if catalogue()[key].kind in ("choice", "boolean"):
            far += [2 * (1 - np.mean(column == own)) for own in column]
        else:
            far += stats.norm.ppf((stats.rankdata(column) - 0.5) / len(column)) ** 2
    return far


@pytest.mark.parametrize("worlds", [PROFILE, every_key(60), MIXED], ids=lambda w: w.name)
def test_the_centre_is_the_nearest_draw(worlds):
    nearest = int(np.argmin(distances(worlds)))
    assert worlds.centre() == worlds.draw(nearest + 1)


def test_the_centre_is_on_a_curve_on_which_the_medians_are_not():
    line = np.linspace(-2, 2, 9)
    curve = Worlds("a", (EGG, LAID), np.column_stack([np.abs(line), 5 + line]))
    middle = dict(zip(curve.keys, np.median(curve.draws, axis=0), strict=True))
    draws = [curve.draw(number) for number in range(1, 10)]
    assert curve.centre() in draws and middle not in draws


def test_rare_options_are_far_from_the_centre_and_ties_go_to_the_first():
    # The middle number has an option of its own: 2 x (1 - 1/5) against 2 x (1 - 4/5) and 0.27.
    draws = np.array([[0, 0.1], [0, 0.2], [1, 0.3], [0, 0.4], [0, 0.5]])
    assert Worlds("a", (LAW, EGG), draws).centre() == {LAW: LAWS[0], EGG: 0.2}
    assert Worlds("a", (LAW, EGG), draws[::-1]).centre() == {LAW: LAWS[0], EGG: 0.4}
    alike = np.array([[0.3], [0.3], [0.3]])
    assert Worlds("a", (EGG,), alike).centre() == {EGG: 0.3}


def test_ranges_of_fitted_keys_are_those_of_the_draws():
    entries = {entry.key: entry for entry in fitted_ranges(uncertain(), PROFILE)}
    for entry in uncertain():
        here = entries[entry.key]
        if entry.key in KEYS:
            assert (here.low, here.high) == PROFILE.interval(entry.key, 0.9)
            assert (here.basis, here.source) == ("fitted", "profile shed")
        else:
            assert here == entry
    assert fitted_ranges(uncertain(), None) == uncertain()
    law = catalogue()[LAW]
    assert fitted_ranges([law], MIXED) == [law]
