"""Tables and progress on the terminal."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table

from colony_sim.measuring.catalogue import catalogue
from colony_sim.running.runner import Progress as RunProgress
from colony_sim.statistics.paired import separated
from colony_sim.studies.comparison.over_words import currency_rows, disagreement, how_sure
from colony_sim.studies.comparison.over_worlds import OverWorlds
from colony_sim.studies.comparison.run import Comparison
from colony_sim.words.estimate import Estimate, percent, probability
from colony_sim.words.labels import shortened

_LABEL_WIDTH, _CELL_WIDTH = 48, 28


def console() -> Console:
    """Console for results; wide enough for tables if the output is not a terminal."""
    plain = Console()
    return plain if plain.is_terminal else Console(width=140)


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
    told = -1

    def update(progress: RunProgress) -> None:
        nonlocal told
        tenth = 10 * (progress.done + progress.failed) // max(progress.total, 1)
        if tenth > told:
            told = tenth
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


def show_comparison(result: Comparison, question: str, to: Console) -> None:
    """Print the answer and what it rests on, on one page."""
    if result.found is None:
        to.print(result.verdict, style="bold", highlight=False, markup=False)
        for line in (result.details, *result.circumstances, result.leaning, *result.precision):
            to.print(line, highlight=False, markup=False)
        return
    found = result.found
    lines = [question, *how_sure(found, result.profile)]
    to.print(lines[0], highlight=False, markup=False)
    to.print(result.verdict, style="bold", highlight=False, markup=False)
    for line in lines[1:]:
        to.print(line, highlight=False, markup=False)
    to.print(currency_table(found))
    for line in (disagreement(found), *result.advice):
        if line:
            to.print(line, highlight=False, markup=False)


def currency_table(found: OverWorlds) -> Table:
    """Who is ahead by what a keeper is short of."""
    a, b = (_plain(f"“{shortened(name, 24)}”") for name in found.pair)
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
            cells = [rows.loc[(key, name)] for name in part]
            table.add_row(
                f"{measure.label} ({measure.unit})",
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
            f"{measure.label} ({measure.unit})",
            Estimate.of(row, "difference").cell,
            Estimate.of(row, "relative_percent", "relative_{}").cell,
            "" if math.isnan(row["p_holm"]) else probability(row["p_holm"]),
            str(row["n_pairs"]),
            style="bold" if separated(row) else None,
        )
    return table


def share(count: int, total: int) -> str:
    """``3 of 20 (15 %)``."""
    return f"{int(count)} of {int(total)} ({percent(count / total)})"


def _plain(text: str) -> str:
    # Names come from a file; square brackets in them are not markup.
    return text.replace("[", r"\[")
