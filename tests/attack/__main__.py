"""Command line: python -m tests.attack [--inputs N] [--seed S] [--quick]"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from . import arena, attacks, inputs
from .cases import Case, all_cases, of_files
from .oracle import FAILED, Judged, attempt

LONG = 2000
BRIEF_S = 4
"""Seconds of the processor until a study that took its input is stopped."""
QUICK_KINDS = ("comparison", "run")


def main(argv: list[str] | None = None) -> int:
    """Attack, print what was found, return 1 if anything was."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.attack",
        description="Give unsound inputs to every command; ends with 1 if one ends badly.",
    )
    parser.add_argument(
        "--inputs", type=int, help=f"how many are drawn ({LONG}; none with --quick)"
    )
    parser.add_argument("--seed", type=int, default=1, help="of what is drawn (1)")
    parser.add_argument("--quick", action="store_true", help="only kept files and options")
    asked = parser.parse_args(argv)
    count = asked.inputs or (0 if asked.quick else LONG)
    arena.warm()
    with tempfile.TemporaryDirectory(prefix="attacked-") as place:
        kinds = QUICK_KINDS if asked.quick else tuple(inputs.MADE)
        made = inputs.make(Path(place), kinds)
        found = keep(made, of_files() if asked.quick else all_cases(made))
        bad = report("kept", found)
        if count:
            bad |= report("drawn", attack(made, count, asked.seed, asked.quick))
    return bad


def keep(made, cases: Mapping[str, Case]) -> list[Judged]:
    """Judge the cases that are kept."""
    found = []
    for name, case in cases.items():
        judged = attempt(case.attack, made, prepare=case.prepare, may_fail=case.code == FAILED)
        ending, wrong = judged.ending, list(judged.faults)
        if ending.code != case.code:
            wrong.append(f"{ending.code} in place of {case.code}")
        if case.said not in ending.line or case.shown not in ending.out:
            wrong.append(f"does not say {case.said or case.shown}")
        if "colony-sim-repeat-" in ending.line:
            wrong.append("points to a folder that is gone")
        found.append(replace(judged, faults=tuple(wrong)))
        if wrong:
            print(f"{name}: {wrong}: {ending.line[:300] or ending.out[:300]}", flush=True)
    return found


def attack(made, count: int, number: int, quick: bool = False) -> list[Judged]:
    """Judge so many drawn attacks; `quick`: what takes its input is stopped at once."""
    prepare = arena.stop_at_first_run if quick else lambda: None
    found: list[Judged] = []

    @seed(number)
    @settings(max_examples=count, database=None, deadline=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(attacks.any_attack(made))
    def one(each: attacks.Attack) -> None:
        judged = attempt(each, made, BRIEF_S, prepare)
        found.append(judged)
        if len(found) % 100 == 0:
            print(f"{len(found)} of {count} inputs", flush=True)
        if judged.faults:
            words = f"{' '.join(each.words)[:300]} [{' '.join(each.files)}]"
            print(f"{len(found)}: {words}: {judged.signature}", flush=True)

    one()
    return found


def report(what: str, found: list[Judged]) -> int:
    """Print the figures; 1 if there are faults."""
    codes = Counter(judged.ending.code for judged in found)
    kinds = Counter(judged.attack.reads for judged in found)
    bad = [judged for judged in found if judged.faults]
    causes = defaultdict(list)
    for judged in bad:
        causes[judged.signature].append(judged)
    slow = max(found, key=lambda judged: judged.ending.seconds)
    big = max(found, key=lambda judged: judged.ending.megabytes)
    of_kinds = ", ".join(f"{n} {kind}" for kind, n in kinds.most_common())
    print(f"{len(found)} inputs {what} ({of_kinds})")
    print("exit codes: " + ", ".join(f"{code}: {n}" for code, n in sorted(codes.items())))
    slowest, biggest = (" ".join(judged.attack.words)[:100] for judged in (slow, big))
    print(f"longest {slow.ending.seconds:.1f} s of the processor ({slowest})")
    print(f"most memory {big.ending.megabytes:.0f} MB ({biggest})")
    tracebacks = sum("traceback" in judged.faults for judged in bad)
    print(f"{len(bad)} ended badly, {tracebacks} with a traceback, of {len(causes)} causes")
    for signature, same in sorted(causes.items(), key=lambda item: -len(item[1])):
        print(f"  {len(same)} x {signature}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
