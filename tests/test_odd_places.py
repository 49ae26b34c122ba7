"""Folders, files, outputs and places as only a stranger would give them."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import asdict

import pytest
import small_log
from commandline import CHECKOUT, PROGRAM, cli, environment, tree
from test_hard import finished  # noqa: F401  # A fixture.

from colony_sim.biology import compiled
from colony_sim.colony import simulate
from colony_sim.colony.own_keeper import own_keeper
from colony_sim.commands.run import _slug
from colony_sim.errors import InputError, interrupted
from colony_sim.results import manifest
from colony_sim.running import runner, store
from colony_sim.studies.search.run import check_runs
from colony_sim.trial import back
from colony_sim.trial.boxes import TRIALS

ENDLESS = "import sys, zlib\nfrom colony_sim.commands import main, start\n"


@pytest.fixture
def folder(finished, tmp_path):  # noqa: F811
    """A copy of a finished comparison."""
    return shutil.copytree(finished, tmp_path / "demo")


def shell(line: str, cwd, **variables: str) -> subprocess.CompletedProcess:
    """A line of a shell in which $CS is the program."""
    words = 'CS() { "$PYTHON" -c "$RUN" "$@"; }\n'
    env = environment() | {"PYTHON": sys.executable, "RUN": PROGRAM[-1]} | variables
    return subprocess.run(["bash", "-c", words + line], cwd=cwd, env=env, capture_output=True,
                          text=True, timeout=120)  # fmt: skip


@pytest.mark.parametrize(
    "out", ["mine.toml", "demo/runs.sqlite", "demo/manifest.json", "pipe.html", "gone/x.html"]
)
def test_a_page_or_film_never_takes_the_place_of_another_file(folder, tmp_path, out):
    (tmp_path / "mine.toml").write_text("mine")
    os.mkfifo(tmp_path / "pipe.html")
    before = tree(folder)
    for word in ("report", "film"):
        code, _, err = cli(word, "demo", "--out", out, cwd=tmp_path)
        assert code == 2 and out in err[-1] and "allowed" in err[-1], err
    assert tree(folder) == before and (tmp_path / "mine.toml").read_text() == "mine"


def test_a_talk_wants_a_folder_with_a_name_before_anything_is_drawn(folder, tmp_path):
    (tmp_path / "empty").mkdir()
    for out in (".", "new/.."):
        code, _, err = cli("figures", "../demo", "--out", out, cwd=tmp_path / "empty")
        assert code == 2 and "has no name" in err[-1], err
        assert len([line for line in err if "Getting ready" not in line]) == 1, err
    assert not list((tmp_path / "empty").iterdir())


def test_what_cannot_be_written_is_told_before_the_model_is_prepared(folder, tmp_path):
    place = tmp_path / "kernels"
    for word, *more in (("report", "--out", "gone/x.html"), ("report", "--days", "0"),
                        ("report", "--policies", "a,b"), ("figures", "--out", ".")):  # fmt: skip
        done = shell(f"CS {word} demo {' '.join(more)}", tmp_path, NUMBA_CACHE_DIR=str(place))
        assert done.returncode == 2 and "Preparing" not in done.stderr, done.stderr


def test_links_that_go_in_circles_are_refused(folder, tmp_path):
    os.symlink("loop", tmp_path / "loop")
    os.symlink("loop", folder / "loop")
    for words in (("check", "demo"), ("report", "demo"), ("check", "loop"), ("report", "loop"),
                  ("run", "rotation", "--days", "5", "--out", "loop")):  # fmt: skip
        code, _, err = cli(*words, cwd=tmp_path)
        assert code == 2 and "loop" in err[-1] and err[-1].startswith("colony-sim: "), err


def test_a_folder_whose_name_is_no_text_is_refused_and_nothing_made(folder, tmp_path):
    os.rename(folder, os.fsencode(tmp_path / "x") + b"\xff")
    done = shell("CS report $'x\\xff'; CS run rotation --days 5 --out $'y\\xff'", tmp_path)
    told = [line for line in done.stderr.splitlines() if "Getting" not in line]
    assert done.returncode == 2 and len(told) == 2, done.stderr
    assert all("UTF-8" in line for line in told) and b"y\xff" not in os.listdir(
        os.fsencode(tmp_path)
    )


def test_columns_that_are_no_number_and_outputs_that_are_closed_or_full(folder, tmp_path):
    for columns in ("abc", "-5", "3", "²", "9" * 5000):
        done = shell("CS check demo", tmp_path, COLUMNS=columns)
        assert done.returncode == 0 and "Whole" in done.stdout, done.stderr
    for line, code in (("CS check demo >&-", 0), ("CS check demo >&- 2>&-", 0),
                       ("CS check nix 2>&-", 2), ("CS check nix 2>/dev/full", 2),
                       ("CS run rotation --days 5 --json >&-", 0)):  # fmt: skip
        done = shell(line, tmp_path)
        assert done.returncode == code and "Traceback" not in done.stderr, (line, done)
        assert "Getting ready" not in done.stdout


def test_a_home_that_cannot_be_used_is_no_second_line(folder, tmp_path):
    done = shell("CS figures demo --out mine.toml", tmp_path, HOME="/proc", MPLCONFIGDIR="")
    (tmp_path / "mine.toml").write_text("mine")
    done = shell("CS figures demo --out mine.toml", tmp_path, HOME="/proc")
    told = [line for line in done.stderr.splitlines() if "Getting" not in line]
    assert done.returncode == 2 and len(told) == 1, done.stderr


def test_a_working_folder_that_is_gone_is_told(tmp_path):
    done = shell("mkdir gone && cd gone && rmdir ../gone && CS check .", tmp_path)
    assert done.returncode == 2 and "you are in is gone" in done.stderr, done.stderr


def test_all_files_of_a_command_can_be_written_or_none_is(folder, tmp_path):
    (tmp_path / "to" / "demo_log.toml").mkdir(parents=True)
    code, _, err = cli("copy", "demo_log", "--to", "to", "--over", cwd=tmp_path)
    assert code == 2 and "demo_log.toml" in err[-1]
    assert [path.name for path in (tmp_path / "to").iterdir()] == ["demo_log.toml"]
    assert cli("run", "rotation", "--days", "30", "--out", "run", cwd=tmp_path, faults=None)[0] == 0
    (tmp_path / "cal" / "labels.pdf").mkdir(parents=True)
    words = ("calendar", "run", "--start", "2031-03-01", "--weeks", "2", "--out", "cal")
    code, _, err = cli(*words, cwd=tmp_path)
    assert code == 2 and "labels.pdf" in err[-1]
    assert [path.name for path in (tmp_path / "cal").iterdir()] == ["labels.pdf"]


def test_a_manifest_that_is_a_pipe_or_without_end_is_refused(folder, tmp_path):
    (folder / "manifest.json").unlink()
    os.mkfifo(folder / "manifest.json")
    code, _, err = cli("check", "demo", cwd=tmp_path)
    assert code == 2 and "no plain file" in err[-1]
    (folder / "manifest.json").unlink()
    with open(folder / "manifest.json", "wb") as file:
        file.truncate(5 << 30)
    code, _, err = cli("check", "demo", cwd=tmp_path)
    assert code == 2 and "size = '5,368.7 MB'" in err[-1]


def test_runs_that_are_gone_are_missed(folder, tmp_path):
    with closing(sqlite3.connect(folder / store.NAME)) as kept, kept:
        kept.execute("DELETE FROM runs WHERE key IN (SELECT key FROM runs LIMIT 1)")
    code, _, err = cli("check", "demo", cwd=tmp_path)
    assert code == 1 and "1 runs are gone" in err[-1]
    (folder / store.NAME).unlink()
    code, out, _ = cli("check", "demo", cwd=tmp_path)
    assert code == 0 and "None of its 4 runs is kept with it" in out


def test_a_look_changes_no_journal_that_a_killed_process_left(folder, tmp_path):
    """SQLite would write its index of a journal beside the file, or make one."""
    kept = sqlite3.connect(folder / store.NAME)
    kept.execute("PRAGMA journal_mode = WAL")
    with kept:
        kept.execute("UPDATE runs SET seconds = 1.0")
    left = tmp_path / "left"
    shutil.copytree(folder, left)  # As it lies there when its process is killed.
    kept.close()
    (left / f"{store.NAME}-shm").unlink()
    before = tree(left)
    code, out, _ = cli("check", left, cwd=tmp_path)
    assert code == 0 and "4 stored runs" in out
    assert tree(left) == before


def test_ctrl_c_that_another_error_covers_is_still_a_stop(tmp_path):
    """Closing a half-written PDF fails in its own way."""
    found = InputError("a", "b", 1, "c")
    found.__context__ = KeyboardInterrupt()
    assert interrupted(found) and not interrupted(InputError("a", "b", 1, "c"))
    text = ENDLESS + (
        "def run():\n    try:\n        raise KeyboardInterrupt\n"
        "    finally:\n        raise zlib.error('inconsistent stream state')\n"
        "main.run = run\nstart.run()"
    )
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True,
                          env=environment(), cwd=tmp_path)  # fmt: skip
    assert (done.returncode, done.stderr) == (130, "colony-sim: Stopped.\n")


def test_a_search_has_an_end():
    check_runs(1_000_000, 10)
    with pytest.raises(InputError, match="candidates = 100000.*1,000,070,000 runs"):
        check_runs(1_000_070_000, 100_000)


# ---- What somebody else put there


def test_code_that_only_a_folder_names_is_not_run(folder, tmp_path):
    path = folder / "notes.py"
    path.write_text(f"open({str(tmp_path / 'ran')!r}, 'w')\nclass K:\n    def work(self): ...\n")
    facts = json.loads((folder / "manifest.json").read_text())
    facts["keeper"] = {"source": str(path), "name": "K", "digest": "0"}
    with pytest.raises(InputError, match="code that a folder names is not run"):
        manifest.plan_from(facts, "manifest.json")
    assert not (tmp_path / "ran").exists()
    facts["keeper"] = asdict(own_keeper(f"{path}:K"))
    assert manifest.plan_from(facts, "manifest.json").keeper == own_keeper(f"{path}:K")


def test_kernels_that_another_could_have_put_there_are_not_loaded(tmp_path, monkeypatch):
    (tmp_path / "it.nbi").write_bytes(b"")
    (tmp_path / "it.nbi").chmod(0o644)
    tmp_path.chmod(0o755)
    assert compiled._is_ours(tmp_path) and not compiled._is_ours(tmp_path.relative_to("/"))
    (tmp_path / "it.nbi").chmod(0o646)
    assert not compiled._is_ours(tmp_path)
    (tmp_path / "it.nbi").chmod(0o644)
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    assert not compiled._is_ours(tmp_path)


def test_kernels_that_were_cut_short_are_compiled_anew(tmp_path, monkeypatch):
    files = [tmp_path / name for name in ("a.nbi", "a.1.nbc", "all-compiled")]
    for file in files:
        file.write_bytes(b"")
    calls = []

    def simulated(scenario):
        calls.append([file.exists() for file in files])
        if len(calls) == 1:
            raise EOFError

    monkeypatch.setattr(compiled, "CACHE_FOLDER", tmp_path)
    monkeypatch.setattr(simulate, "simulate", simulated)
    runner.use_kernels()
    assert calls == [[True, True, True], [False, False, True]]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("run", "dots.toml"), "a key of at most 50 parts"),
        (("plan", "dots.toml"), "a key of at most 50 parts"),
        (("run", "rotation", "--profile", "dots.csv"), "a key of at most 50 parts"),
        (("fit", "wide.csv", "--check"), "at most 50 columns"),
        (("plan", "--animals", "9" * 5000 + " hens", "--bins", "9", "--temperature", "27",
          "--start", "2031-03-01"), "numbers with names"),
        (("plan", "zero.toml"), "zero.toml"),
        (("worlds", "--seed", "0"), "only with --remake"),
        (("plan", "--log", "demo_log.csv", "--animals", "2 hens", "--temperature", "27",
          "--start", "8990-01-01"), "within 3650 days"),
    ],
)  # fmt: skip
def test_what_would_take_for_ever_is_refused(tmp_path, words, told):
    dots = "a." * 50_000 + "a = 1"
    (tmp_path / "dots.toml").write_text(f"{dots}\n")
    (tmp_path / "dots.csv").write_text(f"# {dots}\nworld\n")
    (tmp_path / "wide.csv").write_text(",".join(["date"] * 60_000) + "\n")
    (tmp_path / "zero.toml").write_text(
        '[want]\ngrams_per_day = 1\n[have]\nbins = 4\nlog = "a\\u0000b.csv"\n'
    )
    shutil.copy(CHECKOUT / "experiments" / "demo_log.csv", tmp_path)
    code, out, err = cli(*words, cwd=tmp_path)
    assert code == 2 and told in err[-1] + out, (err, out)


def test_a_word_that_is_no_text_is_refused(tmp_path):
    done = shell("CS run $'ti\\xff.toml'", tmp_path)
    assert done.returncode == 2 and "text in UTF-8" in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", [".a.tmp", "runs.sqlite", "tables/x", ".lock"])
def test_a_pipe_in_a_folder_is_not_waited_for(folder, tmp_path, name):
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    for words in (("check", "demo"), ("run", "rotation", "--days", "5", "--out", "demo")):
        code, _, err = cli(*words, cwd=tmp_path)
        assert code == 2 and "no plain file" in err[-1], err


def test_what_lies_where_tables_are_made_is_in_nobodys_way(finished, tmp_path):  # noqa: F811
    place = shutil.copytree(finished.parents[1], tmp_path / "again")
    folder = place / "results/demo"
    (folder / ".staged").write_text("")
    facts = json.loads((folder / "manifest.json").read_text())
    (folder / "manifest.json").write_text(json.dumps(facts | {"files": ["..", *facts["files"]]}))
    words = ("compare", "small.toml", "--replicates", 2)
    code, _, err = cli(*words, cwd=place, faults="eggs=eaten")
    assert code == 0, err
    assert cli("check", folder, cwd=place)[0] == 0


def test_two_ways_whose_letters_a_folder_cannot_have_stay_apart():
    assert _slug("every 14 days") == "every-14-days" and _slug("-") == "policy"
    assert _slug("Альфа") != _slug("Бета") and _slug("café") != _slug("caf")


@pytest.mark.parametrize(
    ("numbers", "told"),
    [
        ("fifty,box,,400", "0 to 50"), ("laying,box,,\"1,250\"", "digits alone"),
        ("laying,box,,17.6", "digits alone"), ("laying,box,,1_0", "digits alone"),
        ("laying,box,,5\nlaying,box,,6", "each box once"), ("laying,box,,5", ""),
        ("sample,bin,,\"5,6\"", ""), ("sample,bin,,x", "a number"),
    ],
)  # fmt: skip
def test_a_result_from_home_is_one_that_can_be(tmp_path, numbers, told):
    path = tmp_path / "result.csv"
    path.write_text(f"trial,box,what,number\n{numbers}\n")
    if not told:
        assert back.read(path, TRIALS)[1][0] in (5.0, 5.6)
        return
    with pytest.raises(InputError, match=told):
        back.read(path, TRIALS)


def test_what_is_kept_for_a_further_row_has_sums(tmp_path):
    (tmp_path / "shed.csv").write_text(small_log.LOG)
    (tmp_path / "shed.toml").write_text(small_log.FILE)
    words = ("today", "shed.csv", "--experiment", "shed.toml", "--on", "2031-03-28", "--members",
             "40", "--workers", "1", "--out", "td")  # fmt: skip
    code, _, err = cli(*words, cwd=tmp_path, faults=None)
    assert code == 0, err
    assert cli("check", "td", cwd=tmp_path)[0] == 0
    home = tmp_path / "td" / "colonies"
    one, other = sorted(home.glob("*/*.colony"))[:2]
    changes = {
        home / "index.json": lambda data: data.replace(b'"lived"', b'"Lived"'),
        home / "tried.json": lambda data: data.replace(b"1", b"2"),
        one: lambda data: other.read_bytes(),
    }
    (one.with_name("5 (copy).colony")).write_bytes(one.read_bytes())
    for path, change in changes.items():
        before = path.read_bytes()
        path.write_bytes(change(before))
        code, _, err = cli("check", "td", cwd=tmp_path)
        assert code == 1 and path.name in err[-1], (path, err)
        path.write_bytes(before)
    for text in ("[" * 100_000, '{"day": 1e999, "sha256": ""}', "[]", "7"):
        for name in ("index.json", "tried.json"):
            (home / name).write_text(text)
            code, _, err = cli(*words, "--anew", cwd=tmp_path, faults=None)
            assert code == 0, err
