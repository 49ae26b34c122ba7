"""``colony-sim`` alone, at a terminal: three questions, and the command that answers them."""

from __future__ import annotations

import shlex
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path

_Check = Callable[[str], str]
"""Turns what was typed into a word of the command; ValueError says what is allowed."""

HELP = "colony-sim --help lists every command."
_COMPILE = "from colony_sim.running.runner import compile_kernels; compile_kernels()"


def at_a_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def ask() -> list[str]:
    """Words of the command that answers what is asked for.

    While the first question stands, another process compiles the kernels, so that the command
    begins at once.

    Raises
    ------
    KeyboardInterrupt, EOFError
        Ctrl-C and Ctrl-D at a question.
    """
    with subprocess.Popen(
        [sys.executable, "-c", _COMPILE],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    ) as compiling:  # fmt: skip
        try:
            words = _WANTED[_choose("What do you want to know?", list(_WANTED))]()
            print(f"\nThis is the command, to type yourself next time ({HELP}):")
            print(f"  {shlex.join(['colony-sim', *words])}\n", flush=True)
            _wait_for(compiling)
        except BaseException:
            compiling.terminate()
            raise
    return words


def _wait_for(compiling: subprocess.Popen[bytes]) -> None:
    """Let the compiling end, saying so if it takes long."""
    try:
        compiling.wait(1.0)
    except subprocess.TimeoutExpired:
        from colony_sim.running.runner import preparing

        if line := preparing():
            print(line, file=sys.stderr, flush=True)
        compiling.wait()


def _policies() -> list[str]:
    which = {
        "How often the beetles are moved to a fresh bin": "rotation",
        "Whether pupae are set apart": "isolation",
        "How much is harvested": "harvest",
    }
    name = which[_choose("Which way of handling?", list(which))]
    how = {"A coarse answer, soon": ["--quick"], "A surer one, which takes longer": []}
    return ["compare", name, *how[_choose("What kind of answer?", list(how))]]


def _rack() -> list[str]:
    birds, bins = _typed(
        "How many birds, and bins at most? (two numbers, such as 4 14)", _birds_and_bins
    ).split()
    room = _typed(
        "How warm is the room, coldest and warmest day? (degrees C, such as 17 27)", _degrees
    ).split()
    words = ["plan", "--birds", birds, "--bins", bins]
    return [*words, "--coldest", room[0], "--warmest", room[1], "--start", str(date.today())]


def _own_bins() -> list[str]:
    notes = {
        "Yes, in a log as colony-sim reads it (CSV)": _log,
        "Not yet: give me an empty one": _template,
        "Show me with an invented log": _shown,
    }
    return notes[_choose("Do you have notes of what you did and counted?", list(notes))]()


def _log() -> list[str]:
    return ["today", _typed("Which file?", _there)]


def _template() -> list[str]:
    return ["fit", _typed("Name of the new file, such as log.csv?", _new), "--template"]


def _shown() -> list[str]:
    how = {
        "What is in its bins today, and what to do this weekend": "today",
        "All that can be learnt from it, which takes some minutes": "fit",
    }
    command = how[_choose("What of it?", list(how))]
    return [command, "demo_log", "--experiment", "demo_log"]


_WANTED: Mapping[str, Callable[[], list[str]]] = {
    "Which way of handling gives more": _policies,
    "How many bins and beetles for my birds": _rack,
    "What is going on in my own bins": _own_bins,
}


def _choose(question: str, answers: Sequence[str]) -> str:
    print(f"\n{question}")
    for number, answer in enumerate(answers, start=1):
        print(f"  {number}  {answer}")
    allowed = f"a number from 1 to {len(answers)}"

    def check(text: str) -> str:
        if text not in map(str, range(1, len(answers) + 1)):
            raise ValueError(allowed)
        return text

    return answers[int(_typed("Number:", check, ahead="")) - 1]


def _typed(question: str, check: _Check, ahead: str = "\n") -> str:
    """What was typed once it is allowed."""
    asked = f"{ahead}{question} "
    while True:
        try:
            return check(input(asked).strip())
        except ValueError as error:
            asked = f"Please give {error}: "


def _birds_and_bins(text: str) -> str:
    words = text.split()
    if len(words) != 2 or not all(word.isdecimal() and int(word) > 0 for word in words):
        raise ValueError("two whole numbers, such as 4 14")
    return text


def _degrees(text: str) -> str:
    words = text.replace(",", " ").split()
    try:
        low, high = map(float, words)
    except ValueError:
        raise ValueError("two numbers, such as 17 27") from None
    if not low <= high:
        raise ValueError("the colder first, such as 17 27")
    return f"{low:g} {high:g}"


def _there(text: str) -> str:
    if not Path(text).is_file():
        raise ValueError("a file that is there")
    return text


def _new(text: str) -> str:
    if not text or Path(text).exists():
        raise ValueError("a name that no file has yet")
    return text
