"""Command line: python -m tests.benchmarks [NAME ...], or against COMMIT, or pairs COMMIT"""

from __future__ import annotations

import argparse
import os
from importlib import import_module
from pathlib import Path

#: Modules of this package with a function ``main(repeats)`` that prints what it measured.
NAMES = ("sweep",)
#: Modules with a function ``main(quick, out)`` that writes a table and a figure besides.
WRITING = ("engine",)
#: Modules with a function ``main(commit, repeats)`` that measures a commit beside this one.
BESIDE = {"against": 9, "first": 3, "pairs": 60}


def main() -> None:
    every = NAMES + WRITING
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    about = (
        f"of {', '.join(every)}; or {' or '.join(BESIDE)} and a commit to measure beside this one"
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=about)
    parser.add_argument(
        "--repeats", type=int, help="of each pair (default 3, against: 9, pairs: 60)"
    )
    parser.add_argument("--quick", action="store_true", help="engine: in less than a minute")
    parser.add_argument("--out", type=Path, metavar="DIR", help="engine: folder of the table")
    chosen = parser.parse_args()
    beside = next(iter(chosen.names), "") in BESIDE
    if beside and len(chosen.names) != 2:
        parser.error(f"{chosen.names[0]} wants one commit")
    for name in () if beside else chosen.names or every:
        if name not in every:
            parser.error(f"{name}: not one of {', '.join(every)}")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = " ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "?"
    print(f"{cores} cores; load of the machine over 1, 5 and 15 minutes: {load}")
    if beside:
        name, commit = chosen.names
        import_module(f"{__package__}.{name}").main(commit, chosen.repeats or BESIDE[name])
        return
    for name in chosen.names or every:
        module = import_module(f"{__package__}.{name}")
        if name in WRITING:
            module.main(chosen.quick, chosen.out)
        else:
            module.main(chosen.repeats or 3)


if __name__ == "__main__":
    main()
