"""Command line: python -m tests.benchmarks [NAME ...], or against COMMIT, or pairs COMMIT"""

from __future__ import annotations

import argparse
import os
from importlib import import_module
from pathlib import Path

#: Modules of this package and how their ``main`` is called.
NAMES = {
    "sweep": lambda main, asked: main(asked.repeats or 3),
    "engine": lambda main, asked: main(asked.quick, asked.out),
    "peers": lambda main, asked: main(asked.quick, asked.out, asked.peers),
    "scale": lambda main, asked: main(asked.runs, asked.out),
    "starts": lambda main, asked: main(),
}
#: Those of them that are run when none is named.
USUAL = ("sweep", "engine")
#: Modules with a function ``main(commit, repeats)`` that measures a commit beside this one.
BESIDE = {"against": 9, "first": 3, "pairs": 60}


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    about = (
        f"of {', '.join(NAMES)} (default {' and '.join(USUAL)}); or {' or '.join(BESIDE)} and a "
        "commit to measure beside this one"
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=about)
    parser.add_argument(
        "--repeats", type=int, help="of each pair (default 3, against: 9, pairs: 60)"
    )
    parser.add_argument("--quick", action="store_true", help="engine, peers: fewer and smaller")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder of tables and figure")
    parser.add_argument("--peers", metavar="PYTHON", help="peers: the Python that has them")
    parser.add_argument("--runs", type=int, default=1_000, help="scale: how many (default 1,000)")
    chosen = parser.parse_args()
    beside = next(iter(chosen.names), "") in BESIDE
    if beside and len(chosen.names) != 2:
        parser.error(f"{chosen.names[0]} wants one commit")
    for name in () if beside else chosen.names:
        if name not in NAMES:
            parser.error(f"{name}: not one of {', '.join(NAMES)}")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = " ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "?"
    print(f"{cores} cores; load of the machine over 1, 5 and 15 minutes: {load}")
    if beside:
        name, commit = chosen.names
        import_module(f"{__package__}.{name}").main(commit, chosen.repeats or BESIDE[name])
        return
    for name in chosen.names or USUAL:
        NAMES[name](import_module(f"{__package__}.{name}").main, chosen)


if __name__ == "__main__":
    main()
