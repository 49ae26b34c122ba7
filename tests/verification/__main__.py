"""Command line: python -m tests.verification [CLAIM ...] [--all] [--fast] ..."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from . import report
from .registry import discover
from .runner import Outcome, run_all

_ROOT = Path(__file__).resolve().parents[2]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.verification",
        description="Test the scientific claims of the model; ends with 1 if any fails.",
    )
    parser.add_argument("claims", nargs="*", metavar="CLAIM", help="claims to run, by name")
    parser.add_argument("--all", action="store_true", help="run every claim")
    parser.add_argument("--list", action="store_true", help="list the claims and end")
    parser.add_argument("--fast", action="store_true", help="the smaller version of each claim")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N")
    parser.add_argument("--seed", type=int, default=1, help="seed of everything random (default 1)")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder of the report")
    parser.add_argument(
        "--lpa",
        metavar="SET",
        help='parameters of the larva-pupa-adult model, such as "b=6.598,cel=0.01209,cea=0.01155,'
        'cpa=0.35,mul=0.2055,mua=0.96,L=250,P=5,A=100"; runs the claim lpa_set',
    )
    parser.add_argument(
        "--mutants", action="store_true", help="break the model on purpose: is it noticed?"
    )
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run what the command line asks for; return the exit code."""
    parser = _parser()
    args = parser.parse_args(argv)
    known = discover()
    if args.list:
        for name, claim in known.items():
            print(f"{name:24s} {claim.statement}")
        return 0
    names = list(known) if args.all else list(dict.fromkeys(args.claims))
    unknown = [name for name in names if name not in known]
    if unknown:
        parser.error(f"unknown claim {', '.join(unknown)}; known: {', '.join(known)}")
    options = {}
    if args.lpa:
        from .lpa_map import parse

        try:
            options["lpa_set"] = parse(args.lpa)
        except ValueError as error:
            parser.error(f"--lpa: {error}")
        if "lpa_set" not in names:
            names.append("lpa_set")
    if not names and not args.mutants:
        parser.error("name a claim, or give --all, --list, --lpa or --mutants")
    if args.workers < 1:
        parser.error("--workers must be at least 1")
    if not 0 <= args.seed < 2**32:
        parser.error("--seed must be from 0 to 2**32 - 1")
    folder = args.out or _ROOT / "results" / ("verification-fast" if args.fast else "verification")
    outcomes = run_all(
        names,
        fast=args.fast,
        seed=args.seed,
        workers=args.workers,
        options=options,
        done=_say,
    )
    extra, caught = "", True
    if args.mutants:
        from .mutants import run_mutants

        caught, extra = run_mutants(args.workers, print)
    path = report.write(folder, outcomes, len(known), args.fast, args.seed, extra)
    failed = [o.name for o in outcomes if not o.passed]
    print(f"{len(outcomes) - len(failed)} of {len(outcomes)} claims passed; report: {path}")
    return 1 if failed or not caught else 0


def _say(outcome: Outcome) -> None:
    word = "pass" if outcome.passed else "FAIL"
    print(f"{word}  {outcome.name}  ({outcome.seconds:.1f} s)", flush=True)
    for check in outcome.checks:
        if not check.passed:
            print(
                f"      {check.name}: {check.value:.6g}, expected {check.expected:.6g}"
                f" within {check.tolerance:.3g}"
            )
    if outcome.error:
        print("      " + outcome.error.strip().splitlines()[-1])


if __name__ == "__main__":
    sys.exit(main())
