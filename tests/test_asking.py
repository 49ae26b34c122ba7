"""``colony-sim`` alone asks at a terminal, and never waits anywhere else."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import time

import pytest
from commandline import PROGRAM, environment

CTRL_C, CTRL_D = "\x03", "\x04"


def talk(tmp_path, *answers: str) -> tuple[int, str]:
    """Type answers, each once a question stands; exit code and what was on the terminal."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        PROGRAM, cwd=tmp_path, stdin=theirs, stdout=theirs, stderr=theirs,
        env=environment(), start_new_session=True,
        preexec_fn=lambda: __import__("fcntl").ioctl(0, __import__("termios").TIOCSCTTY, 0),
    )  # fmt: skip
    os.close(theirs)
    left, text, end = list(answers), "", time.monotonic() + 60
    asked = 0
    while time.monotonic() < end:
        if not select.select([ours], [], [], 0.2)[0]:
            if left and len(text) > asked:  # A question stands.
                asked = len(text)
                answer = left.pop(0)
                os.write(ours, answer.encode() if answer < " " else f"{answer}\n".encode())
                asked += len(answer) + 2
            continue
        try:
            part = os.read(ours, 4096)
        except OSError:  # The other end is closed.
            break
        if not part:
            break
        text += part.decode()
    os.close(ours)
    return process.wait(60), text


def test_three_questions_start_the_command_and_show_it(tmp_path):
    (tmp_path / "there.csv").write_text("old", encoding="utf-8")
    code, text = talk(tmp_path, "7", "3", "2", "there.csv", "my log.csv")
    assert code == 0, text
    assert "a number from 1 to 3" in text and "a name that no file has yet" in text
    assert "  colony-sim fit 'my log.csv' --template" in text
    assert (tmp_path / "my log.csv").read_text(encoding="utf-8").startswith("#")
    # Nothing of the kernels in the middle of a question.
    assert "Preparing" not in text[: text.index("This is the command")]


@pytest.mark.parametrize("key", [CTRL_C, CTRL_D])
def test_ctrl_c_and_ctrl_d_at_a_question_end_cleanly(tmp_path, key):
    code, text = talk(tmp_path, "1", key)
    assert code == 130 and "Traceback" not in text
    assert text.rstrip().endswith("colony-sim: Stopped.")


def test_elsewhere_it_prints_help_and_does_not_wait(tmp_path):
    with open(os.devnull) as nothing:  # Were it to ask, this would be Ctrl-D.
        done = subprocess.run(
            PROGRAM, cwd=tmp_path, stdin=nothing, capture_output=True, text=True, timeout=60
        )
    assert (done.returncode, done.stderr) == (0, "")
    assert "Usage:" in done.stdout and "What do you want" not in done.stdout


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["1", "1", "1"], "compare rotation --quick"),
        (["1", "3", "2"], "compare harvest"),
        (["2", "4 14", "17 27"], "plan --birds 4 --bins 14 --coldest 17 --warmest 27 --start"),
        (["3", "3", "1"], "today demo_log --experiment demo_log"),
    ],
)
def test_what_each_answer_comes_to(monkeypatch, capsys, typed, words):
    from colony_sim.commands import asking

    monkeypatch.setattr(asking, "_COMPILE", "pass")
    given = iter(typed)
    monkeypatch.setattr("builtins.input", lambda asked: next(given))
    assert " ".join(asking.ask()).startswith(words)
    assert f"colony-sim {words}" in capsys.readouterr().out and not list(given)
