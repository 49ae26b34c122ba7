"""Tables and figure of the scale benchmark."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

import matplotlib
import numpy as np

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402
import seaborn as sns  # noqa: E402

MIB = 2**20
MILLION = 1_000_000
CORES = (2, 16, 64, 256)


@dataclass
class Phase:
    """From one start of the one who asks to its end; times of the clock in s since the epoch."""

    lost: str
    begin: float
    lines: list = field(default_factory=list)
    killed: float | None = None
    ended: float = 0.0
    stored: int = 0
    exit_code: int = 0
    said: list = field(default_factory=list)

    @property
    def told(self) -> list[dict]:
        """What it told while the scheduler lived."""
        return [line for line in self.lines if "scheduler" in line]

    @property
    def runs(self) -> int:
        """Runs that ended in it."""
        return self.told[-1]["ended"]

    def spent(self, what: str) -> float:
        """Processor time (s) of the scheduler, the delay or the one who asks ("processor")."""
        return self.told[-1][what] - self.told[0][what]


@dataclass
class Found:
    """What was measured."""

    runs: int
    workers: int
    delay_ms: float
    load: list = field(default_factory=list)
    phases: list[Phase] = field(default_factory=list)
    lived: Phase | None = None
    lived_runs: int = 0
    full_seconds: list = field(default_factory=list)
    full_peak_mb: float | None = None
    store_bytes: int = 0
    stored: int = 0
    damaged: int = 0
    missing: int = 0
    checked: int = 0
    differ: int = 0

    def each(self, what: str) -> float:
        """Processor time (s) a run of the scheduler or of the one who asks."""
        return sum(p.spent(what) for p in self.phases) / sum(p.runs for p in self.phases)

    def workers_each(self) -> float:
        """Processor time (s) a run of the workers beside the run itself."""
        last = self.phases[-1].lines[-1]["workers"]
        return sum(w["process"] - w["in_runs"] - w["at_start"] for w in last) / sum(
            w["runs"] for w in last
        )

    def slope(self, what: str) -> float:
        """Bytes a run by which memory grows, in the longest stretch without a loss."""
        longest = max(self.phases, key=lambda p: p.runs).told
        half = [line for line in longest if line["ended"] >= longest[-1]["ended"] / 4]
        if len(half) < 3:
            return float("nan")
        return float(np.polyfit([x["ended"] for x in half], [x[what] for x in half], 1)[0])

    def most(self, what: str) -> float:
        """Most memory (MiB)."""
        return max(line[what] for p in self.phases for line in p.told) / MIB

    def passed_over(self) -> float:
        """Seconds of the clock a stored run before the first new one, after the last loss."""
        first = next(line for line in self.phases[-1].lines if line["first"])
        return (first["first"] - self.phases[-1].lines[0]["at"]) / first["reused"]


def write(found: Found, out: Path):
    """Write what was found and the figure; yields the tables."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "scale.json").write_text(json.dumps(asdict(found)))
    _draw(found, out)
    yield from _measured(found)
    yield ""
    yield from _million(found)


def _measured(found: Found):
    clock = sum(p.told[-1]["at"] - p.told[0]["at"] for p in found.phases)
    rate = sum(p.runs for p in found.phases) / clock
    yield (
        f"{found.runs:,} runs of 10 ms (waiting) on {found.workers} workers of one thread, "
        f"{found.delay_ms:g} ms each way; load of the machine {found.load[0]:.0f} to "
        f"{found.load[-1]:.0f}."
    )
    yield ""
    yield "| measured | |"
    yield "|---|--:|"
    yield f"| processor time a run: scheduler | {1e3 * found.each('scheduler'):.2f} ms |"
    yield f"| the one who asks, its store included | {1e3 * found.each('processor'):.2f} ms |"
    yield f"| workers, beside the run itself | {1e3 * found.workers_each():.2f} ms |"
    yield f"| runs a second by the clock here (load as above) | {rate:.0f} |"
    scheduler, driver = found.most("scheduler_rss"), found.most("rss")
    yield (
        f"| memory of the scheduler: most, and growth a run | {scheduler:.0f} MiB, "
        f"{found.slope('scheduler_rss'):.0f} bytes |"
    )
    yield (
        f"| memory of the one who asks: most, and growth a run | {driver:.0f} MiB, "
        f"{found.slope('rss'):.0f} bytes |"
    )
    yield f"| store on disk a run | {found.store_bytes / found.runs:,.0f} bytes |"
    for before, after in zip(found.phases, found.phases[1:], strict=False):
        again = next((x for x in after.lines if x["first"]), after.lines[-1])
        words = " ".join(before.said) or f"killed (exit code {before.exit_code})"
        yield (
            f"| {before.lost} lost with {before.stored:,} stored | {words}; asked again, "
            f"{again['reused']:,} were taken from the store |"
        )
    yield f"| stored runs passed over when asked again | {1e6 * found.passed_over():.0f} us each |"
    yield (
        f"| at the end | {found.stored:,} rows of {found.runs + found.lived_runs:,} runs, "
        f"{found.missing} missing, {found.damaged} damaged; {found.checked} made again here, "
        f"{found.differ} differ |"
    )
    lived, last = found.lived, found.lived.lines[-1]["workers"]
    inside = sum(w["in_runs"] for w in last) / max(1, sum(w["lived"] for w in last))
    yield (
        f"| {found.lived_runs:,} lived runs ({1e3 * inside:.0f} ms of processor time each) on the "
        f"same cluster | scheduler {1e3 * lived.spent('scheduler') / lived.runs:.2f} ms, who asks "
        f"{1e3 * lived.spent('processor') / lived.runs:.2f} ms a run |"
    )


def _million(found: Found):
    """What a million full runs would take."""
    full = float(np.median(found.full_seconds))
    worker = found.workers_each()
    narrow = max(found.each("scheduler"), found.each("processor"))
    beside = found.each("scheduler") + found.each("processor")
    hours = MILLION * (full + worker) / 3600
    yield "| a million full runs (rotation scenario) | | from |"
    yield "|---|--:|---|"
    yield f"| processor time of a run | {full:.2f} s | measured, {len(found.full_seconds)} runs |"
    yield f"| core-hours of workers | {hours:,.0f} | that times a million |"
    yield (
        f"| core-hours of scheduler and of the one who asks | {MILLION * beside / 3600:.1f} | "
        f"measured over {found.runs:,}, times a million |"
    )
    for cores in CORES:
        days = max(hours / cores, MILLION * narrow / 3600) / 24
        yield f"| days on {cores} cores | {days:.1f} | extrapolated: workers at full load |"
    yield (
        f"| cores that one scheduler and one store keep busy | {full / narrow:,.0f} | extrapolated:"
        " a run's time over that of the busier of the two |"
    )
    yield (
        f"| memory of the scheduler | {_at(found, 'scheduler_rss'):,.0f} MiB | extrapolated: most, "
        "and growth a run |"
    )
    yield (
        f"| memory of the one who asks | {_at(found, 'rss'):,.0f} MiB | extrapolated in the same "
        "way |"
    )
    yield f"| memory of a worker | {found.full_peak_mb:,.0f} MB | measured |"
    yield (
        f"| store | {found.store_bytes / found.runs * MILLION / 2**30:.1f} GiB | extrapolated: "
        "outcomes of the size of a full run's |"
    )
    yield (
        f"| to go on after a loss with all but the last stored | "
        f"{found.passed_over() * MILLION / 60:.0f} min | extrapolated |"
    )
    yield (
        f"Cost: {hours:,.0f} core-hours / cores of a machine x its price an hour, and "
        f"{hours:,.0f} / all cores hours of one more machine for scheduler and store."
    )


def _at(found: Found, what: str) -> float:
    """Memory (MiB) at a million runs."""
    more = max(0.0, found.slope(what)) * max(0, MILLION - found.runs)
    return found.most(what) + more / MIB


def _draw(found: Found, out: Path) -> None:
    sns.set_theme(context="paper", style="whitegrid", palette="colorblind")
    figure, axes = plt.subplots(1, 2, figsize=(9.0, 3.4))
    begin = found.phases[0].begin
    for phase in found.phases:
        at = [(x["at"] - begin) / 60 for x in phase.told]
        axes[0].plot(at, [x["reused"] + x["ended"] for x in phase.told], color="C0")
        axes[1].plot(at, [x["scheduler_rss"] / MIB for x in phase.told], color="C1")
        axes[1].plot(at, [x["rss"] / MIB for x in phase.told], color="C2")
        if phase.killed:
            for ax in axes:
                ax.axvline((phase.killed - begin) / 60, color="0.5", ls=":")
            y = 0.98 * axes[0].get_ylim()[1]
            axes[0].annotate(f" {phase.lost} killed", ((phase.killed - begin) / 60, y), va="top")
    axes[0].set(xlabel="minutes", ylabel="runs stored", ylim=(0, None))
    axes[1].set(xlabel="minutes", ylabel="memory, MiB", ylim=(0, None))
    for label, colour in (("scheduler", "C1"), ("who asks, with the store", "C2")):
        axes[1].plot([], [], color=colour, label=label)
    axes[1].legend(frameon=False)
    for ax in axes:
        sns.despine(ax=ax)
    figure.tight_layout(w_pad=2.5)
    for kind in ("png", "svg"):
        figure.savefig(out / f"scale.{kind}", dpi=160)
    plt.close(figure)
