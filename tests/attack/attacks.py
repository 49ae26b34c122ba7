"""Which command is given what unsound input: the strategies that hypothesis draws from."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from hypothesis import strategies as st

from . import inputs, mutate

READERS = {
    "comparison": ("figures", "report", "repeat", "check", "film", "trial"),
    "worlds": ("report", "figures", "trial", "check"),
    "run": ("calendar", "report", "check"),
    "plan": ("calendar", "report", "check"),
}
FOLDER = "folder"
BRIEF = ("--one-world", "--no-assumptions", "--quick")
USES = {
    "rack.toml": (
        ("compare", "rack.toml", *BRIEF),
        ("run", "rack.toml", "--days", "20"),
        ("sweep", "rack.toml", "--one-world", "--dry-run"),
        ("breakeven", "rack.toml", "--x", "harvest.fraction=0.4,0.6", "--y", "rack.bins=6,7",
         "--one-world", "--replicates", "2"),
        ("search", "rack.toml", "--keys", "harvest.fraction", "--candidates", "2", "--one-world"),
        ("sensitivity", "rack.toml", "--method", "oneway", "--one-world", "--keys",
         "egg.duration_days"),
        ("fit", "shed.csv", "--experiment", "rack.toml"),
    ),
    "flock.toml": (("plan", "flock.toml", "--quick", "--one-world"),),
    "profile.csv": (
        ("run", "rack.toml", "--days", "20", "--profile", "profile.csv"),
        ("compare", "rack.toml", "--quick", "--profile", "profile.csv"),
        ("sweep", "rack.toml", "--dry-run", "--profile", "profile.csv"),
    ),
    "shed.csv": (
        ("fit", "shed.csv", "--check"),
        ("fit", "shed.csv", "--experiment", "rack.toml", "--members", "100"),
        ("today", "shed.csv", "--experiment", "rack.toml", "--members", "40"),
    ),
    "logger.csv": (
        ("run", "logged.toml", "--days", "20"),
        ("plan", "--birds", "1", "--bins", "6", "--start", "2030-03-01", "--logger", "logger.csv"),
    ),
    "logged.toml": (("run", "logged.toml", "--days", "20"),),
}  # fmt: skip
"""Commands that read a file, by its name."""


@dataclass(frozen=True)
class Attack:
    """One unsound input.

    Attributes
    ----------
    words : tuple of str
        Command line.
    odd : tuple of str
        What is unsound; a refusal names one of them.
    files : mapping of str to bytes
        Written over the sound ones.
    kind : str
        Results folder that is laid beside them as `FOLDER`.
    unsealed : bool
        Whether its manifest is one of an older version, without checksums.
    variables : mapping of str to str
        Of the environment.
    """

    words: tuple[str, ...]
    odd: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    kind: str = ""
    variables: Mapping[str, str] = field(default_factory=dict)

    @property
    def reads(self) -> str:
        """What was attacked, in a word."""
        if self.kind:
            return next(iter(self.files), self.kind).rsplit(".", 1)[-1]
        return next(iter(self.files), "options")


@st.composite
def of_file(draw: st.DrawFn, name: str) -> Attack:
    """A command that reads an unsound file."""
    text = inputs.profile() if name == "profile.csv" else inputs.FILES[name]
    data = draw(mutate.text_of(text, "=" if name.endswith(".toml") else ","))
    return Attack(draw(st.sampled_from(USES[name])), (name, *_beside(name)), {name: data})


def _beside(name: str) -> tuple[str, ...]:
    # The start of a logged room can be outside of the log: either is at fault.
    return ("logger.csv",) if name == "logged.toml" else ()


@st.composite
def of_folder(draw: st.DrawFn, made: Mapping[str, Path]) -> Attack:
    """A command that reads or writes a results folder in which one file is unsound."""
    kind = draw(st.sampled_from(sorted(made)))
    folder = made[kind]
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    if draw(st.integers(0, 2)):
        manifest.pop("sha256", None)  # As an older version wrote it: nothing is known of the files.
        manifest.pop("seal", None)
    files = {"manifest.json": json.dumps(manifest).encode()}
    names = sorted(p.name for p in folder.iterdir() if p.suffix in (".parquet", ".txt", ".sqlite"))
    name = draw(st.sampled_from(("manifest.json", "answer.json", ".ready/manifest.json", *names)))
    if name.endswith(".json"):
        changed = json.dumps(draw(mutate.json_of(manifest))).encode()
        files[name] = draw(mutate.bytes_of(changed)) if draw(st.integers(0, 5)) == 0 else changed
    else:
        make = mutate.table_of if name.endswith(".parquet") else mutate.bytes_of
        files[name] = draw(make((folder / name).read_bytes()))
    again = (*inputs.MADE[kind], "--out", FOLDER)
    readers = [(word, FOLDER) for word in READERS.get(kind, ("report", "figures", "check"))]
    words = draw(st.sampled_from([*readers, again]))
    if words[0] == "calendar":
        words = (*words, "--start", "2030-03-01")
    return Attack(words, (FOLDER,), files, kind)


@cache
def commands() -> dict[str, list]:
    """Options of every command, from its declaration."""
    import typer.main

    from colony_sim.commands import main

    group = typer.main.get_command(main.app)
    return {name: command.params for name, command in group.commands.items()}


SOUND = {
    **{name: ("rack.toml",) for name in ("compare", "run", "sweep", "search", "sensitivity")},
    "breakeven": ("rack.toml", "--x", "harvest.fraction=0.4,0.6", "--y", "rack.bins=6,7"),
    "plan": ("flock.toml", "--quick", "--one-world"),
    "fit": ("shed.csv", "--experiment", "rack.toml"),
    "today": ("shed.csv", "--experiment", "rack.toml"),
    "calendar": (FOLDER, "--start", "2030-03-01"),
    **{name: (FOLDER,) for name in ("figures", "report", "film", "trial", "repeat", "check")},
    "evidence": (),
    "copy": ("rotation",),
}
"""What each command is given beside the unsound option."""
USED_ON = {"calendar": "run", "trial": "worlds"}
"""Results folder that a command is given; the others one of a comparison."""
SERVES = ("--serve", "--home", "--present", "--ship", "--remake", "--teeth", "--cluster", "--help")
"""Options that serve, open a browser, wait for a cluster or work for an hour."""


@st.composite
def of_options(draw: st.DrawFn, made: Mapping[str, Path]) -> Attack:
    """A sound command line with one or two options of any value, known or not."""
    name = draw(st.sampled_from([n for n in sorted(SOUND) if USED_ON.get(n, "run") in made]))
    words, odd = [name, *SOUND[name]], []
    for _ in range(draw(st.integers(1, 2))):
        known = [o for o in commands()[name] if not {*o.opts} & {*SERVES}]
        option = draw(st.sampled_from(known))
        if option.param_type_name == "argument":
            value = draw(st.sampled_from([w for w in mutate.WORDS if "\x00" not in w]))
            words[1:2] = [value]
            # As an empty path is told, or a folder of that name without a manifest.
            odd += [value[:60], option.name] if value else ["colony-sim: .:", "manifest.json"]
            continue
        flag = draw(st.sampled_from([*option.opts, *option.secondary_opts]))
        words.append(flag)
        odd += [flag, flag.removeprefix("--"), option.name]
        if not getattr(option, "is_flag", False):
            value = draw(st.sampled_from([w for w in mutate.WORDS if "\x00" not in w]))
            words.append(value)
            odd += [value[:60]] if value else []
    if draw(st.integers(0, 19)) == 0:
        words.append("--unknown")
        odd.append("--unknown")
    if "--template" in words:  # Which makes a new file only.
        odd.append(words[1])
    kind = USED_ON.get(name, "comparison") if FOLDER in words else ""
    return Attack(tuple(words), tuple(odd), {}, kind)


def any_attack(made: Mapping[str, Path]) -> st.SearchStrategy[Attack]:
    """Any of them; what reads most is drawn most."""
    return st.one_of(
        of_file("rack.toml"), of_file("rack.toml"), of_file("flock.toml"), of_file("profile.csv"),
        of_file("shed.csv"), of_file("logger.csv"), of_file("logged.toml"),
        of_folder(made), of_folder(made), of_folder(made), of_options(made), of_options(made),
        of_options(made),
    )  # fmt: skip
