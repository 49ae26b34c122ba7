"""Inputs that once ended a command badly, each with the end it has to have."""

from __future__ import annotations

import ctypes
import json
import os
import resource
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from . import inputs
from .attacks import BRIEF, FOLDER, Attack
from .oracle import DONE, FAILED, REFUSED

_FILE_BYTES = 20_000
_OVERRIDE_DENIAL = 1 << 1 | 1 << 2 | 1 << 3
"""CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH and CAP_FOWNER: what lets root write anywhere."""


@dataclass(frozen=True)
class Case:
    """An attack, the exit code it has to have, what the line has to say, and what goes before.

    `shown` has to be on standard output, where a case is no refusal.
    """

    attack: Attack
    code: int = REFUSED
    said: str = ""
    prepare: Callable[[], None] = field(default=lambda: None)
    shown: str = ""


def full_disk() -> None:
    """No file of this process grows beyond some kB, as on a disk that is full."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (_FILE_BYTES, _FILE_BYTES))


def denied() -> None:
    """Nothing below this folder can be written, not even by root."""
    for path in (Path.cwd(), *Path.cwd().rglob("*")):
        path.chmod(path.stat().st_mode & ~(stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))
    if os.geteuid() == 0:
        libc = ctypes.CDLL(None, use_errno=True)
        head, data = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
        if libc.capget(head, data):
            raise OSError(ctypes.get_errno(), "capget")
        data[0] &= ~_OVERRIDE_DENIAL
        if libc.capset(head, data):
            raise OSError(ctypes.get_errno(), "capset")


class OnFire(Exception):
    """What a run of `runs_fail` raises."""


def runs_fail() -> None:
    """Every run raises but that of two days by which kernels are loaded."""
    from colony_sim.colony import simulate
    from colony_sim.measuring import outcome, series

    live = simulate.simulate

    def fail(scenario, *given: object, **options: object) -> object:
        if scenario.days <= 2:
            return live(scenario, *given, **options)
        raise OnFire("bin 3")  # A name that no traceback is told by.

    for module in (simulate, outcome, series):
        if hasattr(module, "simulate"):
            module.simulate = fail


def _of(words: str, odd: str, said: str, **files: str) -> Case:
    data = {name.replace("__", "."): text.encode() for name, text in files.items()}
    return Case(Attack(tuple(words.split()), tuple(odd.split("|")), data), REFUSED, said)


def _rack(old: str, new: str) -> str:
    assert old in inputs.EXPERIMENT, old
    return inputs.EXPERIMENT.replace(old, new)


_COMPARE = " ".join(("compare rack.toml", *BRIEF))
_AGAIN = "compare rack.toml --one-world --no-assumptions"
_AXES = "--x harvest.fraction=0.5,0.6 --y larva.duration_days=90,100 --one-world"
_SEARCH = "search rack.toml --keys harvest.fraction --one-world"
_WITH_SERIES = _rack(
    'kind = "constant"\ntemperature_c = 27.0', 'kind = "logger"\ncsv = "logger.csv"'
)


def of_files() -> dict[str, Case]:
    """Files and options."""
    odd_profile = inputs.profile().replace("# name", "# biology = 3\n# name", 1)
    return {
        "an integer of 5,000 digits": _of(
            _COMPARE, "rack.toml", "thousands of digits",
            rack__toml=_rack("days = 400", f"days = {'9' * 5000}")),
        "a number of 400 digits": _of(
            _COMPARE, "rack.toml", "days", rack__toml=_rack("days = 400", f"days = {'9' * 400}")),
        "lists nested 3,000 deep": _of(
            _COMPARE, "rack.toml", "nested too deeply",
            rack__toml=f"{inputs.EXPERIMENT}\nx = {'[' * 3000}{']' * 3000}\n"),
        "lists nested 900 deep": _of(
            _COMPARE, "rack.toml", "",
            rack__toml=f"{inputs.EXPERIMENT}\nx = {'[' * 900}{']' * 900}\n"),
        "a plan's integer of 5,000 digits": _of(
            "plan flock.toml", "flock.toml", "a plan file in TOML",
            flock__toml=inputs.PLAN.replace("bins = 8", f"bins = {'9' * 5000}")),
        "a plan whose biology is a number": _of(
            "plan flock.toml", "flock.toml", "a table [biology]",
            flock__toml=f"biology = 3\n{inputs.PLAN}"),
        "an experiment whose biology is a number": _of(
            _COMPARE, "rack.toml", "biology = 3",
            rack__toml="biology = 3\n" + _rack("[biology]\negg.duration_days = 7.5\n", "")),
        "a profile whose biology is a number": Case(
            Attack(("run", "rack.toml", "--days", "9", "--profile", "profile.csv"),
                   ("profile.csv",), {"profile.csv": odd_profile.encode()}), DONE, shown="run"),
        "a profile of an older version": _of(
            "run rack.toml --profile profile.csv", "profile.csv", "older version",
            profile__csv="[profile]\nname = 'x'\nbiology = 3\n"),
        "a cell of 200,000 letters": _of(
            "fit shed.csv", "shed.csv", "field larger than field limit",
            shed__csv=f"{inputs.LOG}2031-04-01,1,beetles in,,5,,,,{'x' * 200_000}\n"),
        "a logger that starts at the end of time": _of(
            "run rack.toml --days 9", "rack.toml", "9000-01-01",
            rack__toml=_WITH_SERIES.replace('"logger.csv"', '"logger.csv"\nstart = 9999-12-31'),
            logger__csv=inputs.LOGGER),
        "a reading at the end of time": _of(
            "run rack.toml --days 9", "logger.csv", "9000-01-01", rack__toml=_WITH_SERIES,
            logger__csv="time,temperature_c\n9999-12-30 01:00,20\n9999-12-31 23:00,20\n"),
        "a plan that starts at the end of time": _of(
            "plan flock.toml --start 9999-12-31", "--start", "9999-12-31"),
        "a log of the end of time": _of(
            "fit shed.csv", "shed.csv", "9000-01-01",
            shed__csv=inputs.LOG.replace("2031-03-28", "9999-12-31")),
        "today at the end of time": _of("today shed.csv --on 9999-12-31", "--on", "9000-01-01"),
        "today in seven thousand years": _of(
            "today shed.csv --on 8999-01-01", "--on", "within 3650 days"),
        "a step too small to count": _of(
            "sweep rack.toml --vary harvest.fraction=0:1:1e-99999999", "--vary|harvest.fraction",
            "at most 100000 values"),
        "a number too large to write out": _of(
            "sweep rack.toml --vary rack.bins=1e99999999", "--vary|rack.bins", "rack.bins"),
        "a policy without a name": Case(
            Attack(("sweep", "rack.toml", "--policy", ""), ("policy",)), said="policy = ''"),
        "days before the first": _of(f"breakeven rack.toml {_AXES} --used -5", "--used", "1 to"),
        "no days": _of(f"breakeven rack.toml {_AXES} --used 0", "--used", "1 to"),
        "a warm-up below nothing": _of(
            f"breakeven rack.toml {_AXES} --warm-up -3", "--warm-up", "0 to"),
        "a billion candidates": _of(
            f"{_SEARCH} --candidates {10**9}", "--candidates", "1 to 100000"),
        "a billion fresh worlds": _of(
            f"{_SEARCH} --fresh-seeds {10**9}", "--fresh-seeds", "10000"),
        "a billion worlds": _of(
            f"{_SEARCH} --replicates {10**9}", "--replicates", "1 to 10000"),
        "a share next to 1": _of(
            f"{_SEARCH} --persist 0.99999999999", "--persist", "at most 0.999"),
        "a hundred million trajectories": _of(
            "sensitivity rack.toml --method morris --over ranges --one-world --keys "
            f"egg.duration_days,larva.duration_days --size {10**8}", "--size", "from 2 to"),
        "a hundred million worlds": _of(
            f"sensitivity rack.toml --size {10**8}", "--size", "size"),
        "a policy's name of 5 kB": _of(
            f"sweep rack.toml --policy {'x' * 5000}", "--policy|policy", "short"),
        "a path of 5 kB": _of(f"compare {'x' * 5000}", "xxx", "name too long"),
        "a thousand policies, none of which is meant": _of(
            "sweep rack.toml --policy none", "--policy|policy", "none",
            rack__toml=inputs.EXPERIMENT + "".join(
                f'[[policy]]\nname = "number {n} of very many"\n' for n in range(1000))),
        "help on a table of the file": Case(
            Attack(("sweep", "--help"), ()), DONE, shown="[sweep] of"),
        "help on a table of a plan": Case(Attack(("plan", "--help"), ()), DONE, shown="[climate]"),
        "several lines in a value": Case(
            Attack(("compare", "rack.toml", "--zone", "a\nb\rc\u2028d"), ("--zone",))),
    }  # fmt: skip


def of_folders(made: Mapping[str, Path]) -> dict[str, Case]:
    """Results folders, as they are found years later or are handed on."""
    comparison, run = made["comparison"], made["run"]
    cut = {
        name: (comparison / name).read_bytes()[:200]
        for name in ("runs.parquet", "policies.parquet", "daily.parquet")
    }

    def read(words: str, said: str, kind: str = "comparison", code: int = REFUSED, **files) -> Case:
        names = {name.replace("__", "."): data for name, data in files.items()}
        return Case(Attack(tuple(words.split()), (FOLDER,), names, kind), code, said)

    def manifest(folder: Path, **changes) -> bytes:
        facts = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
        if "seal" not in changes:  # As an older version wrote it.
            del facts["seal"], facts["sha256"]
        head = {k: v for k, v in changes.items() if k in facts["experiment"]}
        facts["experiment"] |= head
        return json.dumps(facts | {k: v for k, v in changes.items() if k not in head}).encode()

    calendar = f"calendar {FOLDER} --start 2030-03-01"
    bad_ready = json.dumps({"files": 3, "experiment": [1]}).encode()
    cases = {
        "compare beside a commit with a bad manifest": read(
            f"{_AGAIN} --out {FOLDER}", "", code=DONE, **{".ready/manifest.json": bad_ready}),
        "compare over a manifest that is a list": read(
            f"{_AGAIN} --out {FOLDER}", "", code=DONE, manifest__json=b"[1, 2]"),
        "plan over a store that is none": Case(
            Attack((*inputs.MADE["plan"], "--out", "new"), ("new",), {
                "new/runs.sqlite": b"no database"}), REFUSED, "runs.sqlite"),
        "compare over an experiment that is a list": read(
            f"{_AGAIN} --out {FOLDER}", "holds",
            manifest__json=b'{"experiment": [1], "files": 7}'),
        "report of a changed manifest": read(
            f"report {FOLDER}", "= 'changed'", manifest__json=manifest(
                comparison, question="Which?", seal="x")),
        "check of a changed manifest": read(
            f"check {FOLDER}", "manifest.json", code=FAILED,
            manifest__json=manifest(comparison, question="Which?", seal="x")),
        "a manifest nested 3,000 deep": read(
            f"report {FOLDER}", "damaged", manifest__json=b"[" * 3000),
        "repeat of a billion days": read(
            f"repeat {FOLDER}", "days", manifest__json=manifest(comparison, days=10**9)),
        "figures of a text that is not UTF-8": read(
            f"figures {FOLDER}", "", manifest__json=manifest(comparison),
            verdict__txt=b"\xff\xfe\x00", policies__parquet=cut["policies.parquet"]),
        "calendar of a log that is cut": read(
            calendar, "bin_log.parquet", kind="run", manifest__json=manifest(run),
            bin_log__parquet=(run / "bin_log.parquet").read_bytes()[:300]),
        "figures of a folder without a table": read(
            f"figures {FOLDER}", "policies.parquet", manifest__json=manifest(comparison),
            policies__parquet=b""),
        "repeat of a folder that is gone": Case(
            Attack(("repeat", "gone"), ("gone",)), REFUSED, "No such file"),
        "repeat whose runs fail": Case(
            Attack(("repeat", FOLDER), (FOLDER,), {}, "comparison"), FAILED, "4 of 4 runs failed",
            runs_fail),
        "repeat of another folder's tables": read(
            f"repeat {FOLDER}", "runs.parquet", code=FAILED,
            runs__parquet=(comparison / "policies.parquet").read_bytes()),
    }  # fmt: skip
    for reader in ("report", "figures", "repeat"):
        for key, value in (("policies", 3), ("climate", None), ("experiment", {}), ("biology", [])):
            if reader == "figures" and key in ("climate", "biology"):  # Of which it needs none.
                continue
            cases[f"{reader} of a manifest whose {key} are {value}"] = read(
                f"{reader} {FOLDER}", "", manifest__json=manifest(comparison, **{key: value})
            )
        for name, data in cut.items():
            code = FAILED if reader == "repeat" else REFUSED
            if not (reader == "report" and name == "daily.parquet"):  # Of which it needs none.
                cases[f"{reader} of {name}, cut"] = read(
                    f"{reader} {FOLDER}",
                    name if reader == "repeat" else "",
                    code=code,
                    **{"manifest.json": manifest(comparison), name: data},
                )
    for key, value in (("climate", 3), ("parameters", {"x": 1}), ("experiment", []), ("days", "x")):
        cases[f"calendar of a manifest whose {key} are {value}"] = read(
            calendar, "", kind="run", manifest__json=manifest(run, **{key: value})
        )
    return cases


def of_the_machine(made: Mapping[str, Path]) -> dict[str, Case]:
    """A disk that is full, folders that may not be written, outputs that know few letters."""
    del made
    writers = {
        "compare": (*f"{_COMPARE} --out new".split(),),
        "run": ("run", "rack.toml", "--days", "300", "--out", "new"),
        "sweep": ("sweep", "rack.toml", "--one-world", "--out", "new"),
        "breakeven": (*f"breakeven rack.toml {_AXES} --replicates 2 --out new".split(),),
        "sensitivity": (*inputs.MADE["sensitivity"], "--out", "new"),
        "search": (*inputs.MADE["search"], "--out", "new"),
    }
    readers = {
        "report": (("report", FOLDER), "comparison"),
        "figures": (("figures", FOLDER), "comparison"),
        "calendar": (("calendar", FOLDER, "--start", "2030-03-01"), "run"),
    }
    cases = {}
    for name, words in writers.items():
        cases[f"{name} on a full disk"] = Case(Attack(words, ("new",)), FAILED, "new", full_disk)
        cases[f"{name} where nothing may be written"] = Case(
            Attack(words, ("new",)), REFUSED, "new", denied
        )
    for name, (words, kind) in readers.items():
        attack = Attack(words, (FOLDER,), {}, kind)
        cases[f"{name} on a full disk"] = Case(attack, FAILED, FOLDER, full_disk)
        cases[f"{name} where nothing may be written"] = Case(attack, REFUSED, FOLDER, denied)
    template = Attack(("fit", "new/log.csv", "--template"), ("new",))
    cases["fit --template where nothing may be written"] = Case(
        Attack(("fit", "log.csv", "--template"), ("log.csv",)), REFUSED, "log.csv", denied
    )
    cases["fit --template into no folder"] = Case(template, REFUSED, "new")
    for coding in ("latin-1", "ascii"):
        odd = {"PYTHONIOENCODING": coding}
        words = ("compare", "é☃.toml", *BRIEF)
        cases[f"a name with odd letters in {coding}"] = Case(
            Attack(words, (".toml",), {}, "", odd), REFUSED, ".toml"
        )
        cases[f"a table in {coding}"] = Case(
            Attack(("check", FOLDER), (FOLDER,), {}, "comparison", odd), DONE, shown="Whole"
        )
        cases[f"an answer in {coding}"] = Case(
            Attack(("compare", "rack.toml", *BRIEF), (), {}, "", odd), DONE, shown="short"
        )
    return cases  # fmt: skip


def all_cases(made: Mapping[str, Path]) -> dict[str, Case]:
    """All of them by name."""
    return of_files() | of_folders(made) | of_the_machine(made)
