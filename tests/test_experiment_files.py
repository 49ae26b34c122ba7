"""Experiment files: what is read, and one line on what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commandline import EXPERIMENT, cli

from colony_sim.errors import InputError
from colony_sim.experiment.files import load
from colony_sim.experiment.plan import expand
from colony_sim.results import manifest
from colony_sim.studies.origin import Origin

SHIPPED = Path(__file__).parents[1] / "experiments"


def write(folder: Path, text: str) -> Path:
    path = folder / "demo.toml"
    path.write_text(text, encoding="utf-8")
    return path


def fault(folder: Path, text: str) -> str:
    path = write(folder, text)
    with pytest.raises(InputError) as caught:
        load(path)
    line = caught.value.line
    assert "\n" not in line
    assert "demo.toml" in line or ".csv" in line
    return line


def test_reads_every_part(tmp_path):
    experiment = load(
        write(
            tmp_path,
            EXPERIMENT.replace("seed = 5", 'seed = 5\nbaseline = "long"\nquick_days = 90')
            + '[biology]\n"egg.mass_mg" = 0.5\n[handling]\nharvest.fraction = 0.6\n',
        )
    )
    assert [policy.name for policy in experiment.policies] == ["long", "short"]
    long, short = (policy.parameters for policy in experiment.policies)
    assert (long["rotation.interval_days"], short["rotation.interval_days"]) == (21, 14)
    assert long["harvest.fraction"] == short["harvest.fraction"] == 0.6
    assert long["egg.mass_mg"] == short["egg.mass_mg"] == 0.5
    assert (experiment.days, experiment.quick_days, experiment.seed) == (700, 90, 5)
    assert (experiment.replicates, experiment.quick_replicates) == (4, 4)
    assert (experiment.breeders, experiment.larvae) == (300, 0)
    assert list(experiment.climate.daily(2)) == [27.0, 27.0]


@pytest.mark.parametrize("declared", [True, False])
def test_a_scenario_is_invented_where_it_is_declared_so(tmp_path, declared):
    """By the key alone, whatever comment and question say; it is kept in the manifest."""
    said = "not an invented scenario" if not declared else "a barn"
    text = f"# {said}\n" + EXPERIMENT.replace("Which interval", f"Of {said}, which interval")
    if declared:
        text = text.replace("seed = 5", "seed = 5\ninvented = true")
    plan = expand(load(write(tmp_path, text)))
    stored = json.loads(json.dumps(manifest.build(plan, [], "")))
    assert said in stored["file_text"] and said in stored["experiment"]["question"]
    assert manifest.is_invented(stored) is Origin.of(stored).invented is declared
    assert manifest.plan_from(stored, "manifest.json").invented is declared


def test_policy_wins_over_shared_handling(tmp_path):
    text = EXPERIMENT + "[handling]\nrotation.interval_days = 30\n[[policy]]\nname = 'shared'\n"
    policies = {p.name: p.parameters for p in load(write(tmp_path, text)).policies}
    assert policies["shared"]["rotation.interval_days"] == 30
    assert policies["short"]["rotation.interval_days"] == 14


def test_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    path = tmp_path / "demo.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXPERIMENT.replace("\n", "\r\n").encode())
    assert load(path).name == "demo"


INTERVAL = "rotation.interval_days = 14"

BAD = {
    "unknown section": (("[start]", "[strat]"), ["strat", "did you mean start?"]),
    "misspelt key": (("replicates = 4", "replicate = 4"), ["experiment.replicate", "replicates"]),
    "misspelt handling": (
        (INTERVAL, "rotation.intervall_days = 14"),
        ['policy "short"', "rotation.intervall_days", "rotation.interval_days"],
    ),
    "unit in a number": (
        (INTERVAL, 'rotation.interval_days = "14 g"'),
        ["rotation.interval_days = '14 g'", "number", "(d)"],
    ),
    "truth for a number": ((INTERVAL, "rotation.interval_days = true"), ["True", "number"]),
    "number for a truth": ((INTERVAL, "pupae.isolate = 1"), ["pupae.isolate", "true or false"]),
    "interval of 0": ((INTERVAL, "rotation.interval_days = 0"), ["= 0", "from 1"]),
    "half an interval": ((INTERVAL, "rotation.interval_days = 14.5"), ["14.5", "whole number"]),
    "fraction over 1": ((INTERVAL, "harvest.fraction = 1.2"), ["harvest.fraction = 1.2", "to 1"]),
    "not a number": ((INTERVAL, "harvest.fraction = nan"), ["fraction = nan", "finite"]),
    "infinite": (("temperature_c = 27.0", "temperature_c = inf"), ["temperature_c = inf"]),
    "scalar for a table": (
        (INTERVAL, "rotation = 14"),
        ["rotation = 14", "rotation.interval_days"],
    ),
    "biology in a policy": (
        (INTERVAL, "egg.mass_mg = 1.0"),
        ["egg.mass_mg", "[[policy]]", "[biology]"],
    ),
    "temperature of 90": (("27.0", "90.0"), ["temperature_c = 90.0", "50"]),
    "temperature in words": (("27.0", '"warm"'), ["temperature_c = 'warm'", "number"]),
    "unknown climate": (('"constant"', '"tropical"'), ["climate.kind", "yearly_wave"]),
    "same policy twice": (('"long"', '"short"'), ["policy.name = 'short'", "differ"]),
    "policy without name": (('name = "long"\n', ""), ["policy[2].name = nothing"]),
    "policy with line break": (('"long"', '"lo\\nng"'), ["policy[2].name", "name of 1 to 60"]),
    "unknown baseline": (
        ("seed = 5", 'baseline = "weekly"'),
        ["experiment.baseline = 'weekly'", '"short", "long"'],
    ),
    "days missing": (("days = 700\n", ""), ["experiment.days = nothing", "whole number"]),
    "days of 0": (("days = 700", "days = 0"), ["experiment.days = 0", "from 1"]),
    "invented in words": (
        ("seed = 5", 'seed = 5\ninvented = "yes"'),
        ["experiment.invented = 'yes'", "true or false"],
    ),
    "days in words": (("days = 700", 'days = "700"'), ["experiment.days = '700'"]),
    "days as a truth": (("days = 700", "days = true"), ["experiment.days = True"]),
    "days with a point": (("days = 700", "days = 700.0"), ["experiment.days = 700.0", "whole"]),
    "one replicate": (("replicates = 4", "replicates = 1"), ["replicates = 1", "from 2"]),
    "larvae in grams": (
        ("breeders = 300", 'breeders = 300\nlarvae = "5 g"'),
        ["start.larvae = '5 g'", "from 0"],
    ),
    "negative seed": (("seed = 5", "seed = -5"), ["experiment.seed = -5", "from 0"]),
    "no breeders": (("breeders = 300", "breeders = 0"), ["start.breeders = 0", "from 1"]),
    "name with a slash": (('"demo"', '"../demo"'), ["experiment.name = '../demo'", "a-z 0-9"]),
    "capital letters": (('"demo"', '"Demo"'), ["experiment.name = 'Demo'"]),
    "name with line end": (('"demo"', '"demo\\n"'), ["experiment.name"]),
    "name of a number": (('"demo"', "7"), ["experiment.name = 7"]),
    "torn table": (("[start]", "[start"), ["line 12", "[start", "TOML"]),
    "torn text": (('"long"\n', '"long\n'), ["line 20", "TOML"]),
    "key twice": (("seed = 5", "seed = 5\nseed = 6"), ["TOML"]),
}


@pytest.mark.parametrize("case", BAD)
def test_one_line_names_key_value_and_what_is_allowed(tmp_path, case):
    (old, new), expected = BAD[case]
    assert old in EXPERIMENT
    line = fault(tmp_path, EXPERIMENT.replace(old, new, 1))
    for part in expected:
        assert part in line


@pytest.mark.parametrize("missing", ["experiment", "climate", "start"])
def test_missing_section(tmp_path, missing):
    sections = EXPERIMENT.split("\n\n")
    text = "\n\n".join(s for s in sections if not s.startswith(f"[{missing}]"))
    assert f"{missing} = nothing; allowed: a [{missing}] table" in fault(tmp_path, text)


def test_no_policy(tmp_path):
    text = EXPERIMENT.split("[[policy]]")[0]
    assert "[[policy]]" in fault(tmp_path, text)
    assert "[[policy]]" in fault(tmp_path, "policy = []\n" + text)


def test_same_key_nested_and_dotted(tmp_path):
    line = fault(tmp_path, EXPERIMENT + '"rotation.interval_days" = 22\n')
    assert "rotation.interval_days" in line and "21" in line and "22" in line


@pytest.mark.parametrize("text", ["", " \n\n"])
def test_empty_file(tmp_path, text):
    assert "empty" in fault(tmp_path, text)


def test_file_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="No such file"):
        load(tmp_path / "demo.toml")
    with pytest.raises(InputError, match="directory"):
        load(tmp_path)
    (tmp_path / "latin.toml").write_bytes("name = 'Mehlkäfer'".encode("latin-1"))
    with pytest.raises(InputError, match="UTF-8"):
        load(tmp_path / "latin.toml")


SERIES = EXPERIMENT.replace(
    'kind = "constant"\ntemperature_c = 27.0', 'kind = "series"\ncsv = "room.csv"'
)


def test_series_is_read_next_to_the_experiment_file(tmp_path):
    (tmp_path / "room.csv").write_text("day,temperature_c\n1,20\n2,21.5\n")
    assert list(load(write(tmp_path, SERIES)).climate.daily(3)) == [20.0, 21.5, 20.0]


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (None, "room.csv"),
        ("", "empty"),
        ("day,temp\n1,20\n", "header"),
        ("day,temperature_c\n", "at least one day"),
        ("day,temperature_c\n1,20\n2\n", "row 3"),
        ("day,temperature_c\n1,20\n3,20\n", "row 3"),
        ("day,temperature_c\n1,warm\n", "row 2"),
        ("day,temperature_c\n1,90\n", "row 2"),
        ('day,temperature_c\n1,"20\n', "room.csv"),
    ],
)
def test_bad_series(tmp_path, content, expected):
    if content is not None:
        (tmp_path / "room.csv").write_text(content)
    assert expected in fault(tmp_path, SERIES)


@pytest.mark.parametrize(
    ("name", "key", "values"),
    [
        ("rotation", "rotation.interval_days", [14, 21]),
        ("isolation", "pupae.isolate", [False, True]),
        ("harvest", "harvest.fraction", [0.5, 0.8, 0.95, 0.99, 0.997]),
    ],
)
def test_shipped_experiments_differ_in_one_thing(name, key, values):
    experiment = load(SHIPPED / f"{name}.toml")
    assert experiment.name == name
    assert sorted(p.parameters[key] for p in experiment.policies) == values
    rest = [{**p.parameters.as_dict(), key: None} for p in experiment.policies]
    assert all(other == rest[0] for other in rest)
    assert experiment.invented


@pytest.mark.parametrize(
    ("command", "old", "new"),
    [
        ("compare", "harvest", "harvest"),
        ("compare", INTERVAL, 'rotation.interval_days = "14 g"'),
        ("run", "[start]", "[start"),
    ],
)
def test_command_line_ends_with_2_and_writes_nothing(tmp_path, command, old, new):
    path = write(tmp_path, EXPERIMENT.replace(old, new))
    name = path.name if old != "harvest" else "nowhere.toml"
    code, out, err = cli(command, name, cwd=tmp_path)
    assert code == 2
    assert out == ""
    assert len(err) == 1 and name in err[0]
    assert [p.name for p in tmp_path.iterdir()] == ["demo.toml"]
