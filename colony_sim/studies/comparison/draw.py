"""The figure of a comparison: what was found, and the runs that show it, on one slide."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from colony_sim.figures import policy_rows, style
from colony_sim.figures.titles import fitting
from colony_sim.measuring.catalogue import YIELD
from colony_sim.measuring.outcome import handling_period
from colony_sim.statistics.core import mean_interval
from colony_sim.studies.comparison import gains
from colony_sim.studies.comparison.months import months
from colony_sim.studies.comparison.results import CAUSES, LOSS, Results, footer, read, span
from colony_sim.words.estimate import number
from colony_sim.words.finding import difference, finding, first_of_two
from colony_sim.words.units import symbol

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def draw(folder: Path) -> list[Path]:
    """Draw the comparison in a results folder into that folder.

    Parameters
    ----------
    folder : Path
        Holds ``manifest.json`` and the Parquet tables of a comparison.

    Returns
    -------
    list of Path
        ``comparison.png`` (2000 x 1125 pixels) and ``comparison.svg``, and before them, over
        worlds, ``gains``; the same tables always give the same bytes with the same versions of
        Matplotlib and seaborn.

    Raises
    ------
    InputError
        If the manifest is missing or not that of a comparison.
    """
    folder = Path(folder)
    results = read(folder)
    with style.theme():
        first = [
            path
            for slide in gains.slides(results, folder)
            for path in style.save(slide.paint(), folder, slide.name)
        ]
        return first + style.save(figure(results), folder, "comparison")


def title(results: Results, most: int = 60) -> str:
    """The finding as the figure's title, policy names cut to `most` characters."""
    found = finding(results.policies, results.summary, results.all_differences, most)
    if results.worlds:
        return f"Mean of {results.worlds} possible colonies: {found[0].lower()}{found[1:]}"
    return f"With profile “{results.profile}”: {found}" if results.profile else found


def slide_title(results: Results) -> str:
    """The finding with policy names cut so that it fits above the figure."""
    return fitting(lambda most: title(results, most), results.policies)


def figure(results: Results) -> Figure:
    """Four panels: yield, paired differences, adult losses by cause, yield over time."""
    slide = style.new_figure()
    top = style.headed(slide, slide_title(results))
    footer(slide, results)
    results = results.in_house()
    labels, widest = policy_rows.names(slide, results.policies)
    left, right, gap = 0.35 + widest + 0.45, style.WIDTH - 0.4, 0.5
    # The causes of losses need the most room.
    width = (right - left - 2 * gap) / 3.3
    low = 3.35
    panels = [
        style.axes(slide, left + i * (width + gap), low, wide * width, top - 0.68 - low)
        for i, wide in enumerate((1, 1, 1.3))
    ]
    policy_rows.lay(panels, labels)
    _yields(panels[0], results)
    _differences(panels[1], results)
    _losses(panels[2], results)
    _over_time(style.axes(slide, 1.15, 1.05, right - 1.15, 1.2), results)
    return slide


def _yields(axes: Axes, results: Results) -> None:
    rows = [results.of(policy) for policy in results.policies]
    counts = sorted({int(row["n_used"]) for row in rows})
    for i, (policy, row) in enumerate(zip(results.policies, rows, strict=True)):
        if row["n_died_out"] == row["n_runs"]:
            style.note(axes, 0.02, i, f"died out in all {row['n_runs']} runs")
        else:
            policy_rows.dots(axes, results.values(policy).to_numpy(), row, "mean", i)
    style.heading(axes, "a", "Yield", f"dot = run, {span(counts)} a policy")
    style.finish(axes, f"{symbol('g')} live larvae per day", bool(counts[-1]))
    if counts[-1]:
        style.from_zero(axes)


def _differences(axes: Axes, results: Results) -> None:
    reference = against(results)
    base = results.values(reference)
    axes.axvline(0, color=style.QUIET, linewidth=1.6, zorder=1)
    pairs = {}
    for i, policy in enumerate(results.policies):
        if policy == reference:
            continue
        values = (results.values(policy) - base).dropna().to_numpy()
        pairs[i] = len(values)
        if len(values):
            row = difference(results.all_differences, YIELD, policy, reference)
            policy_rows.dots(axes, values, row, "difference", i)
    counts = sorted(set(pairs.values())) or [0]
    noun = "pair" if counts == [1] else "pairs"
    style.heading(axes, "b", "Paired difference", f"dot = pair, {span(counts)} {noun}")
    style.finish(axes, f"{symbol('g')} live larvae per day", counts[-1] > 0)
    none = {i: "no pairs" for i, count in pairs.items() if not count}
    policy_rows.beside_zero(axes, {results.index(reference): "set against", **none})


def against(results: Results) -> str:
    """The policy that pairs are set against: of two the one that the title does, else the first."""
    if len(results.policies) != 2:
        return results.policies[0]
    lead = first_of_two(results.all_differences, results.policies, results.summary)
    return next(policy for policy in results.policies if policy != lead)


def _losses(axes: Axes, results: Results) -> None:
    ends = []
    for i, policy in enumerate(results.policies):
        total = results.of(policy, LOSS)
        if not math.isfinite(total["mean"]):
            style.note(axes, 0.02, i, "no value")
            continue
        start = 0.0
        for cause, key in CAUSES.items():
            part = results.of(policy, key)["mean"]
            part = float(part) if math.isfinite(part) else 0.0
            axes.barh(
                i,
                part,
                left=start,
                height=0.5,
                color=style.LOSSES[cause],
                edgecolor=style.INK,
                linewidth=0.6,
            )
            start += part
        end = float(total["mean"])
        if math.isfinite(total["low"]):
            for colour, thick in (("white", 6), (style.INK, 2.5)):
                axes.plot([total["low"], total["high"]], [i, i], color=colour, linewidth=thick)
            end = float(total["high"])
        axes.annotate(
            number(total["mean"]), (end, i), (6, 0), textcoords="offset points", va="center"
        )
        ends.append(end)
    style.heading(axes, "c", "Adult losses", "")
    _causes(axes)
    style.finish(axes, "per 100 adults per day", bool(ends))
    if ends:
        axes.set_xlim(0, 1.35 * max(ends) or 1)


def _causes(axes: Axes) -> None:
    from matplotlib.patches import Patch

    patches = [
        Patch(facecolor=c, edgecolor=style.INK, linewidth=0.6, label=cause)
        for cause, c in style.LOSSES.items()
    ]
    axes.legend(
        handles=patches,
        loc="lower left",
        bbox_to_anchor=(0, 1.01),
        ncols=3,
        borderpad=0,
        borderaxespad=0,
        handlelength=0.6,
        handletextpad=0.25,
        columnspacing=0.5,
        labelcolor=style.QUIET,
    )


def yield_by_months(results: Results, policy: str) -> tuple[pd.DataFrame, int]:
    """As `months`; a colony that died out goes on without harvest."""
    period = handling_period(results.handling(policy))
    return months(results.daily, policy, period, days=results.days)


def _over_time(axes: Axes, results: Results) -> None:
    import seaborn as sns

    runs = results.runs.set_index(["policy", "seed"])
    status, death = runs["status"], runs["died_out_day"]
    settled = results.runs[results.runs["status"] == "settled"]
    lengths, highest = set(), 0.0
    for i, policy in enumerate(results.policies):
        monthly, length = yield_by_months(results, policy)
        lengths.add(length)
        highest = max(highest, monthly["harvest_g"].max() if len(monthly) else 0.0)
        # Bands need runs of one length; a run that was lived on is drawn to the end of the others.
        monthly = monthly[monthly["day"] <= results.days]
        steady = monthly["seed"].map(status[policy]) == "settled"
        sns.lineplot(
            monthly,
            x="day",
            y="harvest_g",
            ax=axes,
            color=style.POLICY,
            marker=style.marker(i),
            markersize=8,
            linewidth=2.2,
            linestyle=style.dash(i),
            markevery=(i, 5),
            errorbar=lambda values: mean_interval(values.to_numpy()).limits,
            legend=False,
        )
        for seed, run in monthly[~steady].groupby("seed"):
            if status[policy, seed] == "died_out":
                run = run[run["day"] <= death[policy, seed]]
            axes.plot(
                run["day"],
                run["harvest_g"],
                "--",
                color=style.POLICY,
                linewidth=1,
                alpha=0.7,
                zorder=1.5,
            )
            if status[policy, seed] == "died_out" and len(run):
                axes.plot(
                    run["day"].iloc[-1],
                    run["harvest_g"].iloc[-1],
                    "x",
                    color=style.POLICY,
                    markersize=9,
                    markeredgewidth=2,
                )
    days = results.days
    axes.set(xlim=(0, days), xlabel="Day of the run", ylabel=f"{symbol('g')} per day")
    # Intervals of a few runs may go far beyond all runs; the runs set the scale.
    axes.set_ylim(0, 1.35 * highest or 1)
    axes.locator_params(axis="y", nbins=3)
    _warm_up(axes, settled["warm_up_days"], days)
    died, never = ((status == word).sum() for word in ("died_out", "unsettled"))
    apart = [f"{died} died out ×"] * bool(died) + [f"{never} not steady"] * bool(never)
    text = f"{style.either(lengths)}-day means, 95 % bands"
    text += f"; dashed: {', '.join(apart)}" if apart else ""
    style.heading(axes, "d", "Yield over time", text, across=2.6)


def _warm_up(axes: Axes, warm_up: pd.Series, days: int) -> None:
    """Shade the warm-up: dark up to the shortest, light up to the longest of the settled runs."""
    first, last = (int(warm_up.min()), int(warm_up.max())) if len(warm_up) else (days, days)
    axes.axvspan(0, first, color=style.SHADE, linewidth=0, zorder=0)
    axes.axvspan(first, last, color=style.SHADE, alpha=0.5, linewidth=0, zorder=0)
    if last:
        text = "warm-up, left out" if len(warm_up) else "no run settled"
        axes.annotate(
            text,
            (0, 1),
            (6, -4),
            xycoords="axes fraction",
            color=style.QUIET,
            textcoords="offset points",
            va="top",
        )
