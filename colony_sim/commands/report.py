"""``colony-sim report``: one self-contained page of a results folder."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from colony_sim.commands.ending import STOPPED, Ending
from colony_sim.commands.show import console
from colony_sim.commands.study import begin_to_live_again, reads_folder, split
from colony_sim.report.page import check_report, write_report
from colony_sim.results.folder import steadily
from colony_sim.running.protocol import Executor


@reads_folder
def run_report(
    folder: Path,
    *,
    executor: Executor,
    out: Path | None,
    policies: str | None,
    days: int | None,
    alone: bool,
) -> None:
    """Write the page and tell where it is and how large."""
    try:
        check_report(folder, out, split(policies), days)
        begin_to_live_again(folder, executor)
        write = partial(write_report, folder, out, policies=split(policies), days=days)
        done = steadily(folder, partial(write, beside=not alone, executor=executor))
    except KeyboardInterrupt:
        raise Ending("Stopped. Nothing was written.", STOPPED) from None
    to = console()
    text = f"The page is ready: {done.path} ({done.size / 1e6:.1f} MB); it opens without a network."
    to.print(text, highlight=False, markup=False, soft_wrap=True)
    if done.without_rack:
        to.print(f"No rack to watch: {done.without_rack}", highlight=False, markup=False)
