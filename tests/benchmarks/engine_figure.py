"""Figure of the engine benchmark: cost over insects, over bins, and by kernel."""

from __future__ import annotations

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402
import numpy as np  # noqa: E402
import seaborn as sns  # noqa: E402

from .engine_report import RUNGS, Found  # noqa: E402


def draw(found: Found, out: Path) -> None:
    """Write scaling.png and scaling.svg."""
    sns.set_theme(context="paper", style="whitegrid", palette="colorblind")
    figure, axes = plt.subplots(1, 3, figsize=(12.5, 4.0), width_ratios=(1.35, 1, 1))
    _scaling(found, axes[0])
    _racks(found, axes[1])
    _kernels(found, axes[2])
    for ax in axes:
        sns.despine(ax=ax)
    figure.tight_layout(w_pad=2.5)
    for kind in ("png", "svg"):
        figure.savefig(out / f"scaling.{kind}", dpi=160)
    plt.close(figure)


def _scaling(found: Found, ax) -> None:
    for rung, label in RUNGS.items():
        have = [row for row in found.ladder if rung in row]
        sizes = [row["insects"] for row in have]
        costs = [[1e9 * t / row["insects"] for t in row[rung]] for row in have]
        if rung == "engine":
            more = [m for m in found.memory if m["insects"] > 1.2 * max(sizes)]
            sizes += [m["insects"] for m in more]
            costs += [[1e9 * t / m["insects"] for t in m["engine"]] for m in more]
        low, mid, high = np.array([np.percentile(c, [25, 50, 75]) for c in costs]).T
        line = ax.errorbar(sizes, mid, [mid - low, high - mid], marker="o", ms=4, capsize=2)
        colour = line[0].get_color()
        _label(ax, label, sizes[-1], mid[-1], colour)
        if rung == "copy":
            ax.plot(sizes, 4 * mid, ":", color=colour)
            _label(ax, "4 times the copy", sizes[-1], 4 * mid[-1], colour, "top")
    ax.set(xscale="log", yscale="log", xlabel="insects", ylabel="ns per insect and day",
           title="One day of the same insects")  # fmt: skip
    ax.set_xlim(right=8 * ax.get_xlim()[1])


def _label(ax, text: str, x: float, y: float, colour, va: str = "center") -> None:
    """Beside the end of a line."""
    ax.annotate(text, (x, y), (7, 0), textcoords="offset points", color=colour, va=va)


def _racks(found: Found, ax) -> None:
    slope, racks, days = found.slope_per_bin()
    boxes = [np.percentile(v, [25, 75]) for v in found.bins.values()]
    low, high = np.array(boxes).T
    ax.errorbar(racks, 1e6 * days, [1e6 * (days - low), 1e6 * (high - days)], fmt="o", ms=4,
                capsize=2)  # fmt: skip
    fit = np.polyfit(racks, 1e6 * days, 1)
    ax.plot(racks, np.polyval(fit, racks), label=f"{1e6 * slope:.1f} µs per bin")
    ax.set(xlabel="bins in the rack", ylabel="µs per day of the whole model", ylim=(0, None),
           title="Few insects, many bins")  # fmt: skip
    ax.legend(frameon=False, loc="upper left")


def _kernels(found: Found, ax) -> None:
    costs = {part: found.per_insect(part) for part in found.kernels["parts"]}
    large = sorted((p for p in costs if costs[p] >= 0.3), key=costs.get)
    rest = sum(c for c in costs.values() if c < 0.3)
    names = ["all others", *large]
    values = [rest, *(costs[p] for p in large)]
    ax.barh(names, values)
    for k, value in enumerate(values):
        ax.annotate(f"{value:.1f}", (value, k), (3, 0), textcoords="offset points", va="center")
    ax.set(xlabel="ns per insect of the colony and day",
           title=f"Kernels at {found.kernels['insects']:,} insects")  # fmt: skip
    ax.set_xlim(right=1.15 * max(values))
    ax.grid(axis="y", visible=False)
