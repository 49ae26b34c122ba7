"""Tables and progress on the terminal."""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager

import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from colony_sim.experiment.asks import in_order
from colony_sim.experiment.plan import Plan
from colony_sim.measuring.catalogue import YIELD, Measure, catalogue
from colony_sim.running.runner import Progress as RunProgress
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison.found import Comparison
from colony_sim.studies.comparison.over_words import (
    currency_rows,
    disagreement,
    how_sure,
    is_open,
)
from colony_sim.studies.comparison.over_worlds import OverWorlds
from colony_sim.studies.profile_words import TEMPERATURES
from colony_sim.words.estimate import Estimate, dashed, number, of_100, percent, probability
from colony_sim.words.finding import HOURS, LARVAE, in_house
from colony_sim.words.labels import shortened
from colony_sim.words.units import here, named, symbol

_LABEL_WIDTH, _CELL_WIDTH = 48, 28
SILENT_SECONDS = 30.0
"""Longest time without a line of progress where the output is no terminal."""


MOST_LINES = 25
"""Of a screen, on which a command says what was found."""
HOW = "How it was worked out"
"""Head of what goes beyond that."""


def console(wide: bool = False) -> Console:
    """Console for results; where the output is not a terminal, of COLUMNS or 100 characters.

    `wide` is for tables of every measure.
    """
    plain = Console()
    if plain.is_terminal:
        return plain
    return Console(width=140 if wide else int(os.environ.get("COLUMNS", 100)))


def show_page(
    to: Console,
    must: Sequence[str | Table],
    more: Sequence[str | Table] = (),
    last: Sequence[str] = (),
) -> None:
    """Print one screen: the answer, as much of what explains it as fits, and what is last.

    Parameters
    ----------
    to : Console
    must : sequence
        The answer in its first sentence, and what it cannot do without.
    more : sequence
        The most important first; what does not fit is left to the files of the results.
    last : sequence of str
        Where the rest is; one line each.
    """
    left = MOST_LINES - sum(_lines(to, part) for part in (*must, *last))
    shown = list(must)
    for part in more:
        lines = _lines(to, part)
        if part and lines <= left:
            shown.append(part)
            left -= lines
    for n, part in enumerate(shown):
        style = "bold" if n == 0 and isinstance(part, str) else None
        to.print(part, style=style, highlight=False, markup=False)
    for line in last:
        # A path is not broken.
        to.print(line, highlight=False, markup=False, soft_wrap=line is last[-1])


def _lines(to: Console, part: str | Table) -> int:
    return len(to.render_lines(Text(part) if isinstance(part, str) else part, pad=False))


@contextmanager
def progress_bar(what: str) -> Iterator[Callable[[RunProgress], None]]:
    """Show how far the runs are: a bar on a terminal, a line for each tenth elsewhere."""
    stderr = Console(stderr=True)
    if not stderr.is_terminal:
        yield _progress_lines(what)
        return
    left = TextColumn("{task.fields[left]}")
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), left)
    with Progress(*columns, console=stderr, transient=True) as bar:
        task = bar.add_task(what, total=None, left="")

        def update(progress: RunProgress) -> None:
            bar.update(task, total=progress.total, completed=progress.done, left=_left(progress))

        yield update


class Bars:
    """Progress of one kind of runs after the other, each shown once it begins."""

    def __init__(self) -> None:
        self._shown: tuple[str, Callable[[RunProgress], None]] | None = None
        self._stack = ExitStack()

    def of(self, what: str) -> Callable[[RunProgress], None]:
        """The callback for runs of this kind."""

        def update(progress: RunProgress) -> None:
            if self._shown is None or self._shown[0] != what:
                self._stack.close()  # Only one bar can be on a terminal.
                self._shown = what, self._stack.enter_context(progress_bar(what))
            self._shown[1](progress)

        return update

    def say(self, line: str) -> None:
        """Print a line beside the bar, to where progress is shown."""
        self._stack.close()
        self._shown = None
        Console(stderr=True).print(line, highlight=False, markup=False, soft_wrap=True)

    def __enter__(self) -> Bars:
        return self

    def __exit__(self, *_: object) -> None:
        self._stack.close()


def _progress_lines(what: str) -> Callable[[RunProgress], None]:
    told, at = -1, 0.0

    def update(progress: RunProgress) -> None:
        nonlocal told, at
        tenth = 10 * (progress.done + progress.failed) // max(progress.total, 1)
        now = time.monotonic()
        if tenth > told or now - at > SILENT_SECONDS:
            told, at = max(tenth, told), now
            left = _left(progress)
            count = f"{what}: {progress.done} of {progress.total} runs"
            print(count + (f", {left}" if left else ""), file=sys.stderr, flush=True)

    return update


def _left(progress: RunProgress) -> str:
    parts = []
    if progress.failed:
        parts.append(f"{progress.failed} failed")
    if progress.reused:
        parts.append(f"{progress.reused} reused")
    if progress.seconds_left is not None and progress.done + progress.failed < progress.total:
        parts.append(f"about {duration(progress.seconds_left)} left")
    return ", ".join(parts)


def duration(seconds: float) -> str:
    """Seconds in words: ``40 s``, ``3 min``, ``1 h 20 min``."""
    if seconds < 60:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def show_comparison(
    result: Comparison,
    plan: Plan,
    to: Console,
    full: bool = False,
    handling: pd.DataFrame | None = None,
) -> None:
    """Print the answer and what it rests on, on one screen; all of it below with `full`.

    `handling` is what a search changed in the policies, as of `EqualMeans`.
    """
    found, order = result.found, in_order(plan.policies)
    must: list[str | Table] = [result.verdict]
    if handling is not None:
        head = "Each with the handling that suits it best, with the same bins, time and beetles:"
        from colony_sim.studies.search.best_words import what_to_do  # Slow to load.

        must += [head, *what_to_do(order, handling)]
    must.append(ways_table(result, order))
    notes = [line for line in result.circumstances if line.startswith(TEMPERATURES)]
    if found is None:
        more: list[str | Table] = [*notes, *result.precision, result.leaning.split("\n")[0]]
    else:
        of_pair: list[str | Table] = []
        if len(order) == 2:
            of_pair = [disagreement(found), currency_table(found)]
        sure, costs = how_sure(found, result.profile)
        turning = "" if is_open(found) else result.turning
        more = [sure, *result.advice, *of_pair, turning, costs, *notes, *result.left_over]
    results = f"Results: {result.folder}"
    if not full:
        last = [f"{HOW}: --full, or verdict.txt and the tables of the results.", results]
        show_page(to, must, more, last)
    else:
        show_page(to, must, more)
        wide = console(wide=True)
        wide.print(f"\n{HOW}", style="bold")
        for finding in result.findings[1:]:
            wide.print(finding.text, highlight=False, markup=False)
        show_tables(result, wide)
        to.print(results, highlight=False, markup=False, soft_wrap=True)


def ways_table(result: Comparison, order: Sequence[str]) -> Table:
    """What each policy gives and takes, in the order of what varies."""
    found = result.found
    heads = ["Larvae a day", f"{weights()} a day ({'95 % interval' if found is None else 'error'})"]
    heads += ["Hours a week"]
    rows = [_way(result, name) for name in order]
    if found is not None and len(order) > 2:
        heads += ["Most, of 100"]
        best = found.standings.set_index("policy")["best_share"]
        rows = [[*row[:-1], of_100(best[row[0]]), row[-1]] for row in rows]
    table = Table(box=None, pad_edge=False)
    table.add_column("Way", no_wrap=True, vertical="bottom")
    for head in (*heads, "Died out"):
        # With more columns a head takes two lines.
        head = head.replace(" ", "\n", 1) if len(heads) > 3 else head
        table.add_column(head, justify="right", no_wrap=True)
    for name, *cells in rows:
        table.add_row(_plain(shortened(name, 20)), *(dashed(cell) for cell in cells))
    return table


def weights() -> str:
    """What harvests are weighed in, as it begins a head."""
    return {"g": "Grams", "oz": "Ounces"}[symbol("g")]


def _way(result: Comparison, name: str) -> list[str]:
    """Name, larvae, grams, hours and runs that died out under a policy."""
    if result.found is None:
        rows = result.policies[result.policies["policy"] == name].set_index("measure")
        grams, larvae, hours = (rows.loc[key] for key in (YIELD, LARVAE, HOURS))
        shown = in_house(grams, "mean", "low", "high")
        means = number(larvae["mean"]), Estimate.of(shown).cell, number(hours["mean"])
        died, runs = grams["n_died_out"], grams["n_runs"]
    else:
        found = result.found
        row = found.standings.set_index("policy").loc[name]
        shown = in_house(row, "mean", "mean_se")
        grams = f"{number(shown['mean'])} ({number(shown['mean_se'])})"
        means = number(found.mean(name, LARVAE)), grams, number(found.mean(name, HOURS))
        died, runs = round(row["died_out_share"] * found.runs), found.runs
    return [name, *means, f"{int(died)} of {int(runs)}"]


def currency_table(found: OverWorlds) -> Table:
    """Who is ahead by what a keeper is short of."""
    a, b = (_plain(f"“{shortened(name, 16)}”") for name in found.pair)
    table = Table(box=None, pad_edge=False)
    table.add_column("Of 100 colonies, more of")
    for head in (a, b, "first minus second"):
        table.add_column(head, justify="right")
    for row in currency_rows(found):
        table.add_row(*(_plain(cell) for cell in row))
    return table


def show_tables(result: Comparison, to: Console) -> None:
    """Print the measures of each policy and the paired differences."""
    for table in measure_tables(result.policies, to.width):
        to.print(table)
    for policy, rows in result.differences.groupby("policy", sort=False):
        if (rows["n_pairs"] > 0).any():
            to.print(difference_table(str(policy), rows))
        else:
            line = f"{policy} and {rows['baseline'].iloc[0]}: no pair of runs with a value."
            to.print(line, highlight=False, markup=False)


def measure_tables(policies: pd.DataFrame, width: int) -> list[Table]:
    """Measures by policy (mean, 95 % interval), as many policies side by side as fit."""
    names = list(policies["policy"].unique())
    abreast = max(1, (width - _LABEL_WIDTH) // _CELL_WIDTH)
    tables = []
    for start in range(0, len(names), abreast):
        part = names[start : start + abreast]
        table = Table(title="Mean of all runs, 95 % interval", title_justify="left")
        table.add_column("Measure")
        for name in part:
            table.add_column(_plain(name), justify="right")
        rows = policies.set_index(["measure", "policy"])
        for key, measure in catalogue().items():
            cells = [_here(rows.loc[(key, name)], measure, "mean") for name in part]
            table.add_row(
                f"{measure.label} ({named(measure.unit)})",
                *(Estimate.of(cell).cell for cell in cells),
                end_section=key == list(catalogue())[-1],
            )
        first = [rows.loc[(list(catalogue())[0], name)] for name in part]
        for label, column in (
            ("Runs died out", "n_died_out"),
            ("Runs never steady", "n_unsettled"),
        ):
            table.add_row(label, *(share(cell[column], cell["n_runs"]) for cell in first))
        tables.append(table)
    return tables


def difference_table(policy: str, rows: pd.DataFrame) -> Table:
    """Paired differences of one policy to the baseline."""
    baseline = rows["baseline"].iloc[0]
    title = f"Paired difference, {_plain(policy)} minus {_plain(baseline)}, 95 % interval"
    table = Table(title=title, title_justify="left")
    table.add_column("Measure")
    for head in ("Difference", f"in % of {_plain(baseline)}", "p (Holm)", "Pairs"):
        table.add_column(head, justify="right")
    measures = catalogue()
    for _, row in rows.iterrows():
        measure = measures[row["measure"]]
        table.add_row(
            f"{measure.label} ({named(measure.unit)})",
            Estimate.of(_here(row, measure, "difference"), "difference").cell,
            Estimate.of(row, "relative_percent", "relative_{}").cell,
            "" if math.isnan(row["p_holm"]) else probability(row["p_holm"]),
            str(row["n_pairs"]),
            style="bold" if separated(row) else None,
        )
    return table


def _here(row: pd.Series, measure: Measure, mean: str) -> pd.Series:
    """A row of a measure with its mean and limits in the unit of the house."""
    row = row.copy()
    for column in (mean, "low", "high"):
        row[column] = here(row[column], measure.unit)
    return row


def share(count: int, total: int) -> str:
    """``3 of 20 (15 %)``."""
    return f"{int(count)} of {int(total)} ({percent(count / total)})"


def _plain(text: str) -> str:
    # Names come from a file; square brackets in them are not markup.
    return text.replace("[", r"\[")
