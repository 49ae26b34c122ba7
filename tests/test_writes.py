"""Every write goes through one module, and no folder leads out of itself or brings code along."""

from __future__ import annotations

import ast
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from commandline import CHECKOUT, EXPERIMENT, PROGRAM, cli, environment, told, tree

from colony_sim.atomic import whole_file, whole_folder
from colony_sim.errors import InputError
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST, claim, steadily
from colony_sim.running.store import NAME, open_store, read_store, refuse_code

PACKAGE = CHECKOUT / "colony_sim"
SHORT = EXPERIMENT.replace("days = 700", "days = 60")
MAY = {"atomic.py"}
SPECIAL = {
    # Numba keeps kernels there, and takes a folder that can be written.
    "biology/compiled.py": {"folder.mkdir", "tempfile.TemporaryFile"},
    # SQLite writes its own files, and makes them whole itself.
    "running/store.py": {"sqlite3.connect"},
    # Folders of the system for what is thrown away.
    "studies/repeat.py": {"tempfile.TemporaryDirectory"},
    "assimilation/today.py": {"tempfile.TemporaryDirectory"},
    # Methods of our own, which end in those of the two modules.
    "running/jobs.py": {"?.save"},
    "assimilation/ensemble.py": {"save.save"},
}
ALWAYS = {
    "write_text", "write_bytes", "unlink", "rmdir", "mkdir", "makedirs", "touch", "rename",
    "renames", "replace", "symlink_to", "hardlink_to", "rmtree", "move", "copy", "copy2",
    "copyfile", "copytree", "mkdtemp", "mkstemp", "NamedTemporaryFile", "TemporaryDirectory",
    "TemporaryFile", "connect", "truncate", "remove", "removedirs",
}  # fmt: skip
MODULES = {"os", "shutil", "tempfile", "sqlite3"}
PATHS = {
    "write_text", "write_bytes", "unlink", "rmdir", "mkdir", "touch", "symlink_to", "hardlink_to",
}  # fmt: skip
"""Methods that only paths have; the others of `ALWAYS` count as functions of `MODULES`."""
FILLED = {"to_csv", "to_parquet", "to_json", "to_excel", "to_feather", "to_pickle", "to_html",
          "savefig", "save", "savez", "savetxt", "tofile", "dump", "write_table", "ParquetWriter",
          "PdfPages", "ZipFile"}  # fmt: skip
"""What a library writes to, given as the first argument; `write_table` of pyarrow as the second."""


def name_of(call: ast.Call) -> tuple[str, str]:
    """What a call is called on, and its name."""
    if isinstance(call.func, ast.Attribute):
        on = call.func.value
        return (on.id if isinstance(on, ast.Name) else "?"), call.func.attr
    return "", getattr(call.func, "id", "")


def opened(tree: ast.AST) -> set[str]:
    """Names that hold an open file of the one module, or memory."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.withitem) and isinstance(node.context_expr, ast.Call):
            if name_of(node.context_expr)[1] in ("new_file", "whole_file", "PdfPages"):
                found.add(getattr(node.optional_vars, "id", ""))
        elif isinstance(node, ast.Assign):
            inner = [
                name_of(call)[1] for call in ast.walk(node.value) if isinstance(call, ast.Call)
            ]
            if {"BytesIO", "StringIO", "BufferOutputStream", "new_file"} & {*inner}:
                for target in node.targets:
                    names = target.elts if isinstance(target, ast.Tuple) else [target]
                    found |= {getattr(name, "id", "") for name in names}
        elif isinstance(node, ast.arg) and ast.unparse(node.annotation or node) == "IO[bytes]":
            found.add(node.arg)
    return found - {""}


def writes(path: Path) -> list[str]:
    """Calls of a module that write past the one that may."""
    text = path.read_text(encoding="utf-8")
    module = ast.parse(text)
    where = path.relative_to(PACKAGE).as_posix()
    held, found = opened(module), []
    loose = {
        alias.asname or alias.name
        for node in ast.walk(module)
        if isinstance(node, ast.ImportFrom) and node.module in MODULES
        for alias in node.names
    }
    own = {
        alias.asname or alias.name
        for node in ast.walk(module)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("colony_sim")
        for alias in node.names
    } | {node.name for node in ast.walk(module) if isinstance(node, ast.FunctionDef)}
    for call in (node for node in ast.walk(module) if isinstance(node, ast.Call)):
        on, name = name_of(call)
        if not on and name in own or on in own or f"{on}.{name}" in SPECIAL.get(where, ()):
            continue
        wrong = False
        if name == "open":
            given = [*call.args[1 if not on else 0 :], *(k.value for k in call.keywords)]
            modes = [a.value for a in given if isinstance(a, ast.Constant)]
            wrong = any(isinstance(m, str) and {*m} & {*"wax+"} and len(m) < 4 for m in modes)
        elif name in PATHS or (name in ALWAYS and (on in MODULES or name in loose)):
            wrong = True
        elif name in FILLED and on not in held:
            place = 1 if name == "write_table" else 0
            at = call.args[place : place + 1] or [
                k.value for k in call.keywords if k.arg in ("path_or_buf", "path", "fname")
            ]
            wrong = any(getattr(a, "id", "") not in held for a in at)
        if wrong:
            found.append(f"{where}:{call.lineno} {ast.unparse(call)[:80]}")
    return found


def test_every_write_goes_through_one_module(tmp_path, monkeypatch):
    modules = [p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).as_posix() not in MAY]
    assert [line for path in sorted(modules) for line in writes(path)] == []
    # That the test sees what it looks for.
    for line in (
        'open(p, "w")', 'p.open("ab")', "open(p, mode='x')", "p.write_text(t)", "p.write_bytes(b)",
        "frame.to_csv(p)", "frame.to_parquet(folder / 'x')", "figure.savefig(p)", "image.save(p)",
        "pq.write_table(table, p)", "pq.ParquetWriter(p, schema)", "os.replace(a, b)", "p.unlink()",
        "shutil.rmtree(p)", "p.mkdir()", "tempfile.mkdtemp()", "np.save(p, a)", "json.dump(a, f)",
        "sqlite3.connect(p)", "os.makedirs(p)", "frame.to_csv(path_or_buf=p)", "PdfPages(p)",
    ):  # fmt: skip
        (tmp_path / "x.py").write_text(line)
        monkeypatch.setattr(sys.modules[__name__], "PACKAGE", tmp_path)
        assert writes(tmp_path / "x.py"), line
    for line in ('open(p)', 'open(p, "rb")', "frame.to_csv(index=False)", "text.replace('a', 'b')",
                 "with new_file(p) as file:\n    figure.savefig(file)"):  # fmt: skip
        (tmp_path / "x.py").write_text(line)
        assert not writes(tmp_path / "x.py"), line


def test_each_command_killed_and_given_again_leaves_the_same_bytes():
    """A few of the kills of ``python -m tests.kills``, in a process with the stand-in."""
    program = Path(__file__).with_name("kills.py")
    words = ("compare", "copy", "--most", "4")
    done = subprocess.run([sys.executable, program, *words], env=environment(faults="eggs=eaten"),
                          capture_output=True, text=True)  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert len(lines) == 2 and lines[0].startswith("compare: 4 kills at "), lines


def killed_while(block) -> None:
    """Let a process of its own enter a block, and kill it in there."""
    child = os.fork()
    if not child:
        with block as place:
            if isinstance(place, Path):
                (place / "half").write_text("half")
            else:
                place.write(b"half")
            os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(child, 0)


@pytest.mark.skipif(os.name == "nt", reason="no file that is open can be told there")
def test_what_a_killed_writer_left_goes_with_the_next_and_that_of_a_living_one_stays(tmp_path):
    killed_while(whole_folder(tmp_path / "slides"))
    killed_while(whole_file(tmp_path / "film.gif"))
    names = [path.name for path in tmp_path.iterdir()]
    assert len(names) == 2 and all(name.endswith(".tmp") for name in names)
    with whole_folder(tmp_path / "slides") as first:
        (first / "01.png").write_text("one")
        # Another process that writes the same, and one that holds the folder for a study.
        child = os.fork()
        if not child:
            with whole_folder(tmp_path / "slides") as second:
                (second / "01.png").write_text("two")
            with whole_file(tmp_path / "film.gif") as film, claim(tmp_path, "x", ()):
                film.write(b"film")
            os._exit(0)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
        assert (tmp_path / "slides" / "01.png").read_text() == "two"
        assert (first / "01.png").read_text() == "one"
    assert tree(tmp_path) == {"film.gif": b"film", "slides/01.png": b"one", ".lock": b""}


def test_refused_options_leave_nothing_behind(tmp_path):
    (tmp_path / "demo.toml").write_text(SHORT)
    before = tree(tmp_path)
    axes = ("--x", "harvest.fraction=0.5,0.6", "--y", "larva.duration_days=90,100")
    for words in (
        ("breakeven", "demo.toml", *axes, "--used", 0),
        ("sensitivity", "demo.toml", "--method", "oneway", "--warm-up", -1, "--one-world"),
        ("search", "demo.toml", "--keys", "harvest.fraction", "--candidates", 0),
    ):
        code, out, err = cli(*words, cwd=tmp_path)
        assert (code, out, len(err)) == (2, "", 1), (words, err)
        assert tree(tmp_path) == before and not (tmp_path / "results").exists(), words
    # What was there, and finished runs, stay.
    place = tmp_path / "there"
    place.mkdir()
    with pytest.raises(InputError), claim(place, "x", ()):
        with open_store(place) as store:
            store.save("key", {"a": 1})
        raise InputError("a", "b", "c", "d")
    with read_store(place) as store:
        assert store is not None and store.get("key") == {"a": 1}
    with pytest.raises(InputError), claim(tmp_path / "new" / "er", "x", ()):
        raise InputError("a", "b", "c", "d")
    assert place.is_dir() and not (tmp_path / "new").exists()


def test_links_that_lead_out_of_a_folder_are_refused_and_nothing_behind_them_changes(tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "kept.txt").write_text("kept")
    (outside / MANIFEST).write_text("{}")
    before = tree(outside)
    for name, target in (
        (NAME, "kept.txt"), (".lock", "new"), ("slides", "."), (".ready", "."), (".staged", "."),
        (MANIFEST, MANIFEST), ("verdict.txt", "kept.txt"), ("calendar", "."),
    ):  # fmt: skip
        folder = tmp_path / "shared"
        folder.mkdir()
        (folder / name).symlink_to(outside / target)
        with pytest.raises(InputError, match="links that lead out"), claim(folder, "x", ()):
            pass
        with pytest.raises(InputError, match="links that lead out"):
            manifest.read(folder, ())
        shutil.rmtree(folder)
        assert tree(outside) == before, name
    folder.mkdir()
    (folder / "here.txt").write_text("here")
    (folder / "too.txt").symlink_to("here.txt")
    with claim(folder, "x", ()):
        pass


HOSTILE = (
    "CREATE TRIGGER t AFTER INSERT ON runs BEGIN DELETE FROM runs; END",
    "CREATE VIEW more AS SELECT * FROM runs",
    "CREATE TABLE others (a)",
    "CREATE INDEX i ON runs (abs(seconds))",
    "ALTER TABLE runs ADD COLUMN more AS (length(payload))",
)


def test_a_store_with_triggers_or_another_schema_is_refused(tmp_path):
    for number, sql in enumerate(HOSTILE):
        folder = tmp_path / str(number)
        folder.mkdir()
        with open_store(folder) as store:
            store.save("key", {"a": 1})
        with closing(sqlite3.connect(folder / NAME)) as connection, connection:
            connection.execute(sql)
        data = (folder / NAME).read_bytes()
        for opened in (open_store, read_store):
            with pytest.raises(InputError, match="no colony-sim made"), opened(folder):
                pass
        assert (folder / NAME).read_bytes() == data, sql
        if number < 2:  # Optuna makes tables and indices of its own.
            with pytest.raises(InputError, match="has a (trigger|view)"):
                refuse_code(folder / NAME)
    # A runs that is no table: reading it would never end.
    folder = tmp_path / "view"
    folder.mkdir()
    with closing(sqlite3.connect(folder / NAME)) as connection, connection:
        connection.execute(
            "CREATE VIEW runs AS WITH RECURSIVE n(key) AS (SELECT 1 UNION ALL SELECT key + 1 FROM "
            "n) SELECT key, '' AS checksum, 0.0 AS seconds, 0.0 AS peak_mb, '' AS payload FROM n"
        )
        connection.execute("PRAGMA user_version = 2")
    for opened in (open_store, read_store):
        with pytest.raises(InputError, match="no colony-sim made"), opened(folder):
            pass


def test_what_reads_a_folder_begins_anew_if_its_tables_are_replaced(tmp_path):
    (tmp_path / MANIFEST).write_text("1")
    seen = []

    def read(times: int) -> str:
        seen.append((tmp_path / MANIFEST).read_text())
        if len(seen) <= times:
            with whole_file(tmp_path / MANIFEST) as file:
                file.write(b"2")
            if len(seen) % 2:
                raise InputError("runs.parquet", "table", "damaged", "as it was written")
        return seen[-1]

    assert steadily(tmp_path, lambda: read(2)) == "2" and len(seen) == 3
    seen.clear()
    with pytest.raises(InputError, match="replaced while they were read"):
        steadily(tmp_path, lambda: read(100))


ORDINARY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups",
            "--bounding-set=-all,+dac_read_search", "--inh-caps=-all,+dac_read_search",
            "--ambient-caps=-all,+dac_read_search", "env", "-i", "PATH=/usr/bin:/bin")  # fmt: skip
"""An ordinary user without a home, who may read what root's Python is made of."""


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0 or not shutil.which("setpriv"),
    reason="another user can be taken by root alone, with setpriv",
)
def test_an_ordinary_user_without_a_home_is_told_what_is_denied(tmp_path_factory):
    place = tmp_path_factory.mktemp("ordinary")
    for path in (place, *place.parents[:3]):
        path.chmod(0o755)
    (place / "demo.toml").write_text(SHORT)
    (place / "mine").mkdir()
    os.chown(place / "mine", 65534, 65534)

    def given(*words: str) -> tuple[int, list[str]]:
        kept = {"PYTHONPATH", "FAKE_MODEL", "COLUMNS"}
        env = [f"{k}={v}" for k, v in environment("eggs=eaten").items() if k in kept]
        done = subprocess.run([*ORDINARY, *env, *PROGRAM, *words], cwd=place, text=True,
                              capture_output=True)  # fmt: skip
        assert "Traceback" not in done.stderr, done.stderr
        return done.returncode, told(done.stderr)

    quick = ("compare", "demo.toml", "--replicates", "2", "--one-world", "--no-assumptions",
             "--workers", "1")  # fmt: skip
    before = tree(place)
    for words in (quick, ("copy", "rotation"), ("fit", "--template", "new.csv")):
        code, err = given(*words)
        assert code == 2 and len(err) == 1 and "Permission denied" in err[0], (words, code, err)
        assert tree(place) == before, words
    code, err = given(*quick, "--out", "mine/demo")
    assert (code, err) == (0, []), err
    # A finished folder that may be read alone is read, and not written.
    for path in (place / "mine", *(place / "mine").rglob("*")):
        os.chown(path, 0, 0)
    before = tree(place)
    assert given("check", "mine/demo")[0] == 0
    for words in ((*quick, "--out", "mine/demo"), ("copy", "rotation", "--to", "mine")):
        code, err = given(*words)
        assert code == 2 and len(err) == 1 and "Permission denied" in err[0], (words, code, err)
    assert tree(place) == before
