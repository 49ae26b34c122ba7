"""Table, aims and figure of the engine benchmark."""

from __future__ import annotations

import csv
import math
import platform
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from colony_sim.population.insects import BYTES_PER_INSECT

GIB = 2**30
RUNGS = {"twin": "one agent per insect", "numpy": "plain numpy", "engine": "engine",
         "copy": "copy of the state"}  # fmt: skip


@dataclass
class Found:
    """What was measured; times in seconds."""

    quick: bool
    load: list = field(default_factory=list)
    ladder: list = field(default_factory=list)
    kernels: dict = field(default_factory=dict)
    memory: list = field(default_factory=list)
    threads: dict = field(default_factory=dict)
    bins: dict = field(default_factory=dict)
    lines: list = field(default_factory=list)
    help: list = field(default_factory=list)
    bare: list = field(default_factory=list)
    imports: list = field(default_factory=list)
    cold: dict = field(default_factory=dict)
    warm: list = field(default_factory=list)
    workers: dict = field(default_factory=dict)

    def at(self, insects: int) -> dict:
        """The ladder at the size nearest to a number of insects."""
        return min(self.ladder, key=lambda row: abs(math.log(row["insects"] / insects)))

    def slope_per_bin(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Seconds a day per bin (least squares), racks, and the medians it rests on."""
        racks = np.array([int(k) for k in self.bins])
        days = np.array([np.median(v) for v in self.bins.values()])
        return float(np.polyfit(racks, days, 1)[0]), racks, days

    def gain_of_threads(self, what: str) -> float:
        """How many times as fast two threads are as one at a day or at a copy."""
        one, two = self.threads[what]["1"], self.threads[what]["2"]
        return float(np.median(np.divide(one, two)))

    def growth(self) -> float:
        """Exponent of cost over insects from 100,000 to the most measured (1 is linear)."""
        sizes = np.log([m["insects"] for m in self.memory])
        costs = np.log([np.median(m["engine"]) for m in self.memory])
        return float(np.polyfit(sizes, costs, 1)[0])

    def per_insect(self, part: str) -> float:
        """Nanoseconds per insect of a kernel."""
        return 1e9 * float(np.median(self.kernels["parts"][part])) / self.kernels["insects"]


def ratio(row: dict, above: str, below: str = "engine") -> float:
    """Median over median."""
    return float(np.median(row[above]) / np.median(row[below]))


def rows(found: Found):
    """(quantity, insects, unit, values) of everything measured."""
    for row in found.ladder:
        n = row["insects"]
        for rung in (*RUNGS, "census"):
            if rung in row:
                yield f"day: {rung}", n, "ns/insect", [1e9 * t / n for t in row[rung]]
        yield "speed: engine", n, "insect-days/s/core", [n / t for t in row["engine"]]
        for above, below in (("twin", "engine"), ("numpy", "engine"), ("engine", "copy")):
            if above in row and below in row:
                yield f"ratio: {above} to {below}", n, "times", [ratio(row, above, below)]
        for rung in ("numpy", "twin"):
            if f"{rung}_differs" in row:
                yield f"results that differ: {rung}", n, "count", [row[f"{rung}_differs"]]
    for part in sorted(found.kernels["parts"], key=lambda p: -found.per_insect(p)):
        n = found.kernels["insects"]
        values = [1e9 * t / n for t in found.kernels["parts"][part]]
        yield f"kernel: {part}", n, "ns/insect", values
    for m in found.memory:
        n = m["insects"]
        yield "consecutive days: engine", n, "ns/insect", [1e9 * t / n for t in m["engine"]]
        yield "peak memory beyond an idle process", n, "bytes/insect", [(m["peak"] - m["idle"]) / n]
        yield "peak memory of the process", n, "GiB", [m["peak"] / GIB]
        yield "state, measured", n, "bytes/insect", [m["state"]]
    for what in ("day", "copy"):
        for count, values in found.threads[what].items():
            name = f"{what} by {count} thread{'s' * (count != '1')}, by the clock"
            n = found.threads["insects"]
            yield name, n, "ns/insect", [1e9 * t / n for t in values]
    yield "state, by the types of the columns", None, "bytes/insect", [BYTES_PER_INSECT]
    for rack, values in found.bins.items():
        yield (
            f"day of the whole model, few insects, {rack} bins",
            None,
            "us",
            [1e6 * v for v in values],
        )
    yield "overhead per bin and day", None, "us", [1e6 * found.slope_per_bin()[0]]
    for row in found.lines:
        yield "lines of Python in a day", row["insects"], "count", [row["lines"]]
    yield "colony-sim --help", None, "s", found.help
    yield "python -c pass", None, "s", found.bare
    yield "python -c 'import colony_sim'", None, "s", found.imports
    if found.cold:
        yield "first day, empty cache (compiles)", None, "s", [found.cold["first_day"]]
    yield "first day, warm cache", None, "s", [w["first_day"] for w in found.warm]
    yield "import of the model", None, "s", [w["import"] for w in found.warm]
    for workers, values in found.workers.items():
        name = f"speed of {workers} worker{'s' * (workers > 1)}, by the clock"
        yield name, 100_000, "insect-days/s", values


def aims(found: Found) -> list[tuple[str, str, bool | None]]:
    """Each aim, what was found, and whether it is met (None: not measured in this version)."""
    row = found.at(100_000)
    twin = ratio(row, "twin")
    copies = {limit: found.at(n) for limit, n in ((4, 10**6), (8, 10**5))}
    state = max(BYTES_PER_INSECT, *(m["state"] for m in found.memory))
    last = found.memory[-1]
    exponent, peak = found.growth(), last["peak"] / GIB
    linear = None if last["insects"] < 9_000_000 else 0.9 <= exponent <= 1.1 and peak <= 1.2
    lines = [r["lines"] for r in found.lines]
    slope = 1e6 * found.slope_per_bin()[0]
    start = float(np.median(found.help))
    return [
        (f"at least 100 times the twin at {row['insects']:,} insects", f"{twin:.0f} times",
         twin >= 100),
        *((f"within {limit} times a copy of the state at {r['insects']:,} insects",
           f"{ratio(r, 'engine', 'copy'):.1f} times", ratio(r, "engine", "copy") <= limit)
          for limit, r in copies.items()),
        ("at most 36 bytes of state per individual", f"{state:.1f} bytes", state <= 36),
        ("linear up to 10^7 insects within 1.2 GiB",
         f"cost grows with the power {exponent:.2f} of insects up to {last['insects']:,}; "
         f"peak {peak:.2f} GiB", linear),
        (f"two threads at least 1.7 times one, or 0.9 of a copy's gain, at "
         f"{found.threads['insects']:,} insects",
         f"{found.gain_of_threads('day'):.2f} times; a copy {found.gain_of_threads('copy'):.2f}",
         found.gain_of_threads("day") >= min(1.7, 0.9 * found.gain_of_threads("copy"))),
        ("no Python loop over insects or eggs",
         f"{lines[0]} lines of Python a day at {found.lines[0]['insects']:,} insects, "
         f"{lines[1]} at {found.lines[1]['insects']:,}", lines[0] == lines[1]),
        ("less than 50 us per bin and day", f"{slope:.1f} us", slope < 50),
        ("--help in less than 0.5 s", f"{start:.2f} s", start < 0.5),
    ]  # fmt: skip


def write(found: Found, out: Path) -> list[str]:
    """Write table.csv, table.md and scaling.png/.svg; return the lines to print."""
    from .engine_figure import draw

    out.mkdir(parents=True, exist_ok=True)
    lines = _head(found)
    said = [
        f"{'not measured' if met is None else 'met' if met else 'MISSED':12s} {aim}: {what}"
        for aim, what, met in aims(found)
    ]
    table = ["| quantity | insects | median | quartiles | unit | n |", "|---|--:|--:|--:|---|--:|"]
    with open(out / "table.csv", "w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(("quantity", "insects", "unit", "median", "q1", "q3", "least", "n"))
        for name, n, unit, values in rows(found):
            low, mid, high = np.percentile(values, [25, 50, 75])
            writer.writerow((name, n or "", unit, mid, low, high, min(values), len(values)))
            spread = f"{_short(low)} to {_short(high)}" if len(values) > 1 else ""
            count = f"{n:,}" if n else ""
            table.append(
                f"| {name} | {count} | {_short(mid)} | {spread} | {unit} | {len(values)} |"
            )
    text = ["# Engine benchmark", "", *lines, "", "![](scaling.png)", "", "## Aims", ""]
    text += [f"- {line}" for line in (" ".join(s.split()) for s in said)]
    text += ["", "## What was measured", "", *table, ""]
    (out / "table.md").write_text("\n".join(text))
    draw(found, out)
    return [*lines, *said]


def _head(found: Found) -> list[str]:
    loads = " and ".join(f"{load[0]:.1f}" for load in found.load)
    kind = "Quick version. " if found.quick else ""
    return [
        f"{kind}{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}; "
        f"load of the machine at start and end: {loads}.",
        "Times are processor times but for start-up, compilation and workers (by the clock).",
    ]


def _short(value: float) -> str:
    if value == 0:
        return "0"
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
