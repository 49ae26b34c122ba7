"""Command line: python -m tests.benchmarks [NAME ...]"""

from __future__ import annotations

import argparse
import os
from importlib import import_module

#: Modules of this package with a function ``main(repeats)`` that prints what it measured.
NAMES = ("sweep",)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(NAMES)}")
    parser.add_argument("--repeats", type=int, default=3, help="of each pair (default 3)")
    chosen = parser.parse_args()
    for name in chosen.names or NAMES:
        if name not in NAMES:
            parser.error(f"{name}: not one of {', '.join(NAMES)}")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = " ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "?"
    print(f"{cores} cores; load of the machine over 1, 5 and 15 minutes: {load}")
    for name in chosen.names or NAMES:
        import_module(f"{__package__}.{name}").main(chosen.repeats)


if __name__ == "__main__":
    main()
