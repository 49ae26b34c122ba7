"""Tables and figure of the benchmark of peers."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

import matplotlib
import numpy as np
from scipy import stats

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402
import seaborn as sns  # noqa: E402

QUANTITIES = ("eggs", "larvae", "pupae", "adults", "births", "deaths")
ALPHA = 0.01
"""False alarms of all tests of equality together (Holm)."""


@dataclass
class Found:
    """What was measured: ends by module, seeds by quantities; speeds by module and size."""

    peers: list
    days: int
    wrong_times: float
    load: list = field(default_factory=list)
    ends: dict = field(default_factory=dict)
    wrong: list = field(default_factory=list)
    speeds: dict = field(default_factory=dict)

    def costs(self, module: str, size: int) -> np.ndarray:
        """Nanoseconds an insect and day, day by day."""
        rounds = self.speeds.get((module, size), [])
        return np.array([1e9 * t / n for one in rounds for n, t in one["days"]])

    def memory(self, module: str, size: int) -> tuple[float, float]:
        """Most bytes an insect beyond those of the program, and most memory (MiB)."""
        first = self.speeds[module, size][0]
        return (first["peak"] - first["before"]) / size, first["peak"] / 2**20


def equality(one: list, other: list) -> list[float]:
    """P values of equal means (Welch) and equal spreads (Brown and Forsythe) by quantity."""
    found = []
    for a, b in zip(np.array(one, float).T, np.array(other, float).T, strict=True):
        found.append(float(stats.ttest_ind(a, b, equal_var=False).pvalue))
        found.append(float(stats.levene(a, b, center="median").pvalue))
    return found


def holm(values: list[float]) -> list[float]:
    """P values adjusted for their number (Holm 1979)."""
    order = np.argsort(values)
    raised = np.maximum.accumulate((len(values) - np.arange(len(values))) * np.array(values)[order])
    found = np.empty(len(values))
    found[order] = np.minimum(1.0, raised)
    return found.tolist()


def write(found: Found, out: Path):
    """Write tables and figure; yields lines to print."""
    out.mkdir(parents=True, exist_ok=True)
    yield from _equal(found, out)
    yield ""
    sizes = sorted({size for _, size in found.speeds})
    yield (
        "| framework | version | "
        + " | ".join(f"ns at {n:,}" for n in sizes)
        + (" | times this engine | bytes an insect, most | memory, MiB |")
    )
    yield "|---|---|" + "--:|" * (len(sizes) + 3)
    with open(out / "peers.csv", "w", newline="") as handle:
        table = csv.writer(handle)
        table.writerow(("framework", "version", "insects", "ns_low", "ns", "ns_high", "peak_mib"))
        for peer, version in found.peers:
            cells = []
            for size in sizes:
                costs = found.costs(peer.module, size)
                if not costs.size:
                    cells.append("")
                    continue
                low, middle, high = np.percentile(costs, (25, 50, 75))
                cells.append(f"{middle:,.0f}")
                table.writerow((peer.label, version, size, low, middle, high,
                                found.memory(peer.module, size)[1]))  # fmt: skip
            most = max(size for module, size in found.speeds if module == peer.module)
            ratio = np.median(found.costs(peer.module, most)) / np.median(found.costs("here", most))
            each, peak = found.memory(peer.module, most)
            yield (
                f"| {peer.label} | {version} | {' | '.join(cells)} | {ratio:.1f} at {most:,} | "
                f"{each:,.0f} | {peak:,.0f} |"
            )
    yield (
        f"Load of the machine {found.load[0]:.0f} and {found.load[1]:.0f}; median processor times "
        "of days by turns; times and memory at the most insects asked for."
    )
    _draw(found, sizes, out)


def _equal(found: Found, out: Path):
    """The test of equality, and whether it finds a colony that differs."""
    modules = [peer.module for peer, _ in found.peers]
    raw = [p for m in modules[1:] for p in equality(found.ends["here"], found.ends[m])]
    adjusted = holm(raw)
    each = 2 * len(QUANTITIES)
    with open(out / "equal.csv", "w", newline="") as handle:
        table = csv.writer(handle)
        table.writerow(("framework", *(f"{q} {w}" for q in QUANTITIES for w in ("mean", "sd"))))
        rows = [*((m, found.ends[m]) for m in modules), ("wrong on purpose", found.wrong)]
        for label, ends in rows:
            values = np.array(ends, float)
            pairs = zip(values.mean(0), values.std(0, ddof=1), strict=True)
            table.writerow((label, *(f"{x:.1f}" for pair in pairs for x in pair)))
    seeds = len(found.ends["here"])
    yield (
        f"Numbers after {found.days} days, {seeds} seeds each: means and spreads of "
        f"{', '.join(QUANTITIES)} against this engine's, {len(raw)} tests, {100 * ALPHA:g} % of "
        "false alarms over all (Welch, Brown and Forsythe, Holm)."
    )
    for k, (peer, _) in enumerate(found.peers[1:]):
        worst = min(adjusted[k * each : (k + 1) * each], default=1.0)
        verdict = "equal" if worst > ALPHA else "DIFFERENT"
        here, there = (np.array(found.ends[m], float)[:, :4].sum(1) for m in ("here", peer.module))
        gap = stats.ttest_ind(there, here, equal_var=False)
        low, high = gap.confidence_interval(0.95)
        yield (
            f"  {peer.label}: {verdict} (smallest adjusted p {worst:.2g}); insects "
            f"{there.mean():.0f} against {here.mean():.0f}, difference {low:.0f} to {high:.0f}"
        )
    worst = min(holm(equality(found.ends["here"], found.wrong)))
    yield (
        f"  this engine with {found.wrong_times:g} times the hazard of eggs: "
        f"{'equal, so the test sees nothing' if worst > ALPHA else 'found out'} (p {worst:.2g})"
    )


def _draw(found: Found, sizes: list[int], out: Path) -> None:
    sns.set_theme(context="paper", style="whitegrid", palette="colorblind")
    figure, ax = plt.subplots(figsize=(6.4, 4.0))
    ends = []
    for peer, _ in found.peers:
        have = [n for n in sizes if found.costs(peer.module, n).size]
        boxes = [np.percentile(found.costs(peer.module, n), (25, 50, 75)) for n in have]
        low, middle, high = np.array(boxes).T
        line = ax.errorbar(have, middle, [middle - low, high - middle], marker="o", ms=4, capsize=2)
        ends.append((have[-1], middle[-1], peer.label, line[0].get_color()))
    ax.set(xscale="log", yscale="log", xlabel="insects", ylabel="ns an insect and day",
           title="The same simple colony")  # fmt: skip
    ax.set_xlim(right=20 * ax.get_xlim()[1])
    sns.despine(ax=ax)
    figure.tight_layout()
    lowest = -np.inf
    for x, y, label, color in sorted(ends, key=lambda end: end[1]):
        # Points above the axis; lines may end closer to each other than letters are high.
        at = ax.transData.transform((x, y))[1] * 72 / figure.dpi
        lowest = max(at, lowest + 11)
        ax.annotate(label, (x, y), (7, lowest - at), textcoords="offset points", color=color,
                    va="center")  # fmt: skip
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "peers"}):
        for kind in ("png", "svg"):
            figure.savefig(out / f"peers.{kind}", dpi=160)
    plt.close(figure)
