"""The file of parameters is complete, and bad values are refused in one clear line."""

from __future__ import annotations

import pickle
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

import colony_sim
from colony_sim.biology import parameters
from colony_sim.biology.parameters import Parameters, catalogue, find
from colony_sim.errors import InputError
from colony_sim.experiment.plan import model_fingerprint

ENTRIES = list(catalogue().values())
NUMBERS = [e for e in ENTRIES if e.kind in ("number", "integer")]
KINDS = {
    kind: [e for e in ENTRIES if e.kind == kind]
    for kind in ("number", "integer", "boolean", "choice")
}
BASES = {
    "published",
    "derived",
    "common practice, no source",
    "assumption to be tested",
}


def by_key(entry):
    return entry.key


def refused(values, where="x.toml", group=None) -> InputError:
    with pytest.raises(InputError) as caught:
        Parameters.default().with_values(values, where, group)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("x.toml: ")
    return caught.value


@pytest.mark.parametrize("entry", ENTRIES, ids=by_key)
def test_entry_is_complete(entry):
    assert entry.group in ("biology", "handling")
    assert len(entry.about) > 10 and entry.about.endswith(".")
    assert entry.unit and entry.source
    assert entry.basis in BASES
    assert entry.confidence in ("high", "medium", "low")
    if entry.kind in ("number", "integer"):
        assert entry.least <= entry.low <= entry.value <= entry.high <= entry.most
        assert entry.low < entry.high
        whole = [isinstance(v, int) for v in (entry.low, entry.high, entry.least, entry.most)]
        assert all(whole) if entry.kind == "integer" else not any(whole)
    else:
        assert (entry.low, entry.high, entry.least, entry.most) == (None,) * 4
    if entry.kind == "choice":
        assert len(set(entry.choices)) == len(entry.choices) >= 2
        assert entry.value in entry.choices
    else:
        assert entry.choices == ()
    assert entry.check(entry.value, "x") == entry.value


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('label = "time to hatch"\n', "", "egg.duration_days lacks label"),
        ('measure = "', 'own = "', "egg.duration_days lacks measure"),
        ("range = [6.0, 10.0]\n", "", "egg.duration_days lacks range"),
        ('unit = "d"', 'unit = "d"\ncolour = "red"', "has the unknown field colour"),
        ("slider = { ", 'colour = "red"\nslider = { ', "unknown field colour"),
    ],
)
def test_an_entry_without_a_field_or_with_one_that_nobody_reads_is_refused(
    tmp_path, monkeypatch, old, new, said
):
    text = files("colony_sim.biology").joinpath("parameters.toml").read_text("utf-8")
    assert old in text
    (tmp_path / "parameters.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    monkeypatch.setattr(parameters, "files", lambda package: tmp_path)
    with pytest.raises(ValueError, match=said):
        catalogue.__wrapped__()


def test_plain_names_and_sliders_are_one_each():
    labels = [entry.label for entry in ENTRIES]
    assert len(set(labels)) == len(labels)
    assert all(text == text.strip(" .") and "\n" not in text for text in labels)
    sliders = [entry.slider for entry in ENTRIES if entry.slider]
    assert sorted(slider.place for slider in sliders) == list(range(1, len(sliders) + 1))
    for entry in ENTRIES:
        if entry.slider and entry.kind == "choice":
            assert set(entry.slider.words) == set(entry.choices)
        assert entry.group == "handling" or entry.uncertain
        assert entry.group == "biology" or not entry.uncertain or "No source" in entry.source


def test_words_of_an_entry_make_no_run_anew(tmp_path, monkeypatch):
    package = Path(colony_sim.__file__).parent
    for part in ("biology", "population", "colony"):
        shutil.copytree(package / part, tmp_path / part)
    monkeypatch.setattr(colony_sim, "__file__", str(tmp_path / "__init__.py"))
    before = model_fingerprint.__wrapped__()
    words = tmp_path / "biology/parameters.toml"
    text = words.read_text("utf-8")
    words.write_text(text.replace("time to hatch", "days to hatch"), encoding="utf-8")
    assert words.read_text("utf-8") != text
    assert model_fingerprint.__wrapped__() == before
    with (tmp_path / "biology/growth.py").open("a") as code:
        code.write("\n")
    assert model_fingerprint.__wrapped__() != before


def test_handling_rests_on_no_publication():
    assert all(e.basis != "published" for e in ENTRIES if e.group == "handling")


def test_default_is_the_catalogue():
    assert Parameters.default().as_dict() == {e.key: e.value for e in ENTRIES}


@pytest.mark.parametrize("entry", NUMBERS, ids=by_key)
def test_ends_of_the_plausible_range_make_a_set(entry):
    for value in (entry.low, entry.high):
        assert Parameters.default().with_values({entry.key: value}, "x")[entry.key] == value


@pytest.mark.parametrize("entry", NUMBERS, ids=by_key)
def test_values_beyond_the_hard_limits_are_refused(entry):
    step = 1 if entry.kind == "integer" else 0.001
    for value in (entry.least - step, entry.most + step):
        error = refused({entry.key: value})
        assert error.key == entry.key
        assert f"{entry.least:g}" in error.allowed and f"{entry.most:g}" in error.allowed
        assert entry.unit in error.allowed


WRONG = {
    "number": ["1", None, True, [1.0], {}, float("nan"), float("inf"), 10**400, 1j],
    "integer": ["14", None, False, [14], 14.5, float("nan"), float("inf"), 10**400],
    "boolean": [0, 1, "true", None, "yes"],
    "choice": ["", "Skins", 0, None, True, ["skins"]],
}


@pytest.mark.parametrize("kind", WRONG)
def test_wrong_types_are_refused(kind):
    for value in WRONG[kind]:
        for entry in (KINDS[kind][0], KINDS[kind][-1]):
            assert refused({entry.key: value}).key == entry.key


def test_numbers_take_the_type_of_their_entry():
    p = Parameters.default().with_values(
        {"rotation.interval_days": 21.0, "harvest.smallest_mg": 90}, "x"
    )
    assert type(p["rotation.interval_days"]) is int
    assert type(p["harvest.smallest_mg"]) is float


@pytest.mark.parametrize(
    ("key", "near"),
    [
        ("rotation.interval_day", "rotation.interval_days"),
        ("rotaton.interval_days", "rotation.interval_days"),
        ("harvest.fractions", "harvest.fraction"),
        ("egg.duration", "egg.duration_days"),
    ],
)
def test_unknown_key_names_the_nearest(key, near):
    error = refused({key: 1})
    assert key in str(error) and near in str(error)


def test_unknown_key_far_from_all():
    assert "zzz" in str(refused({"zzz": 1}))


def test_keys_of_the_other_group_are_unknown():
    assert "egg.duration_days" in str(refused({"egg.duration_days": 7.0}, group="handling"))
    assert refused({"rotation.interval_days": 7}, group="biology").key == "unknown key"
    assert find("egg.duration_days", "x", "biology").group == "biology"


ORDER = [
    ("egg.lower_c", 20.0, {"egg.reference_c": 19.0}),
    ("egg.upper_c", 26.0, {}),
    ("egg.reference_c", 38.0, {}),
    ("egg.reference_c", 7.0, {}),
    ("egg.viability_full_c", 34.0, {}),
    ("egg.viability_none_c", 26.0, {}),
    ("larva.reference_c", 5.5, {}),
    ("larva.hatchling_mass_mg", 5.0, {"larva.mature_mass_mg": 5.0}),
    ("larva.mature_mass_mg", 301.0, {}),
    ("larva.asymptotic_mass_mg", 140.0, {}),
    ("pupa.upper_c", 26.0, {}),
    ("adult.teneral_reference_c", 39.5, {}),
    ("fecundity.full_from_c", 14.0, {}),
    ("fecundity.full_until_c", 33.0, {}),
    ("fecundity.upper_c", 27.0, {}),
    ("fecundity.full_from_c", 28.0, {}),
    ("fecundity.full_until_c", 23.0, {}),
    ("fecundity.full_from_days", 30.0, {}),
    ("fecundity.full_until_days", 12.0, {}),
]


@pytest.mark.parametrize(("key", "value", "others"), ORDER)
def test_values_out_of_order_are_refused_at_the_key_given(key, value, others):
    error = refused({key: value, **others})
    assert error.key in {key, *others}
    assert error.value in {value, *others.values()}


def test_equal_ends_where_they_may_touch():
    p = Parameters.default().with_values(
        {
            "fecundity.full_from_c": 25.0,
            "fecundity.full_until_c": 25.0,
            "fecundity.full_from_days": 20.0,
            "fecundity.full_until_days": 20.0,
        },
        "x",
    )
    assert p["fecundity.full_from_c"] == p["fecundity.full_until_c"]


def test_sets_are_values():
    p = Parameters.default()
    q = p.with_values({"harvest.fraction": 0.5}, "x")
    assert p["harvest.fraction"] == 0.8 and q["harvest.fraction"] == 0.5
    assert p != q and p == Parameters.default()
    assert hash(q) == hash(pickle.loads(pickle.dumps(q)))
    assert q == pickle.loads(pickle.dumps(q)) == Parameters(q.as_dict())
    assert len(p) == len(list(p)) == len(ENTRIES)
    copy = p.as_dict()
    copy["harvest.fraction"] = 0.1
    assert p["harvest.fraction"] == 0.8
    with pytest.raises(TypeError):
        p["harvest.fraction"] = 0.1
    with pytest.raises(KeyError):
        p["harvest.frac"]


def test_input_errors_cross_process_borders():
    error = InputError("a.toml", "key", "x" * 200 + "\n", "this\nor that")
    again = pickle.loads(pickle.dumps(error))
    assert str(again) == str(error) and "\n" not in str(error) and len(str(error)) < 150
