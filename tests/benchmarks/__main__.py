"""Command line: python -m tests.benchmarks [NAME ...]"""

from __future__ import annotations

import argparse
import os
from importlib import import_module
from pathlib import Path

#: Modules of this package with a function ``main(repeats)`` that prints what it measured.
NAMES = ("sweep",)
#: Modules with a function ``main(quick, out)`` that writes a table and a figure besides.
WRITING = ("engine",)


def main() -> None:
    every = NAMES + WRITING
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(every)}")
    parser.add_argument("--repeats", type=int, default=3, help="of each pair (default 3)")
    parser.add_argument("--quick", action="store_true", help="engine: in less than a minute")
    parser.add_argument("--out", type=Path, metavar="DIR", help="engine: folder of the table")
    chosen = parser.parse_args()
    for name in chosen.names or every:
        if name not in every:
            parser.error(f"{name}: not one of {', '.join(every)}")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = " ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "?"
    print(f"{cores} cores; load of the machine over 1, 5 and 15 minutes: {load}")
    for name in chosen.names or every:
        module = import_module(f"{__package__}.{name}")
        if name in WRITING:
            module.main(chosen.quick, chosen.out)
        else:
            module.main(chosen.repeats)


if __name__ == "__main__":
    main()
