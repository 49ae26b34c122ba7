"""The shipped experiments: found by name from anywhere, told with their questions, copied out."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pytest
import typer
from commandline import CHECKOUT, cli, tree

from colony_sim.commands.main import app
from colony_sim.errors import InputError
from colony_sim.experiment import shipped

HERE = CHECKOUT / "experiments"


def test_an_installed_package_finds_what_the_wheel_carries(tmp_path, monkeypatch):
    settings = tomllib.loads((CHECKOUT / "pyproject.toml").read_text("utf-8"))
    for place, patterns in settings["tool"]["setuptools"]["data-files"].items():
        (tmp_path / place / "__pycache__").mkdir(parents=True)
        for path in (path for pattern in patterns for path in CHECKOUT.glob(pattern)):
            shutil.copy(path, tmp_path / place)
    expected = {path.stem for path in HERE.iterdir() if path.is_file()}
    package = tmp_path / "lib" / "python3.11" / "site-packages" / "colony_sim"
    monkeypatch.setattr(shipped, "_PACKAGE", package)
    assert set(shipped.names()) == expected
    assert shipped.find(Path("rotation")).is_relative_to(tmp_path)
    assert all(shipped.question(name) for name in shipped.names())
    assert shipped.question("flock") == "Can this rack feed this flock all year?"


def test_a_file_that_exists_goes_first_and_paths_are_left_alone(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert shipped.find(Path("rotation")) == HERE / "rotation.toml"
    Path("rotation").write_text("own", encoding="utf-8")
    assert shipped.find(Path("rotation")) == Path("rotation")
    for path in ("harvest.toml", "folder/harvest"):
        assert shipped.find(Path(path)) == Path(path)
    with pytest.raises(
        InputError, match="'rotaton'; allowed: .* flock, flock_now, harvest, isolation"
    ):
        shipped.find(Path("rotaton"))


def test_commands_take_names_and_copy_never_replaces_untold(tmp_path):
    code, _, err = cli("fit", "demo_log", "--check", cwd=tmp_path)
    assert code == 0 and err == []
    code, out, err = cli("copy", "demo_log", "--to", "mine", cwd=tmp_path)
    assert (code, err) == (0, []) and "demo_log.csv, demo_log.toml" in out
    assert tree(tmp_path / "mine") == {
        name: (HERE / name).read_bytes() for name in ("demo_log.csv", "demo_log.toml")
    }
    (tmp_path / "mine" / "demo_log.csv").unlink()
    (tmp_path / "mine" / "demo_log.toml").write_text("changed", encoding="utf-8")
    code, _, err = cli("copy", "demo_log", "--to", "mine", cwd=tmp_path)
    assert code == 2 and len(err) == 1 and "--over" in err[0]
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["demo_log.toml"]
    assert cli("copy", "demo_log", "--to", "mine", "--over", cwd=tmp_path)[0] == 0


def test_help_keeps_words_in_square_brackets(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "300")
    seen = set()
    for name, command in typer.main.get_command(app).commands.items():
        app([name, "--help"], standalone_mode=False)
        shown = capsys.readouterr().out
        for text in [command.help, *(getattr(each, "help", None) for each in command.params)]:
            for word in re.findall(r"\[[^\[\]]*\]", text or ""):
                assert word in shown, (name, word)
                seen.add(word)
    assert {"[sweep]", "[climate]"} <= seen
