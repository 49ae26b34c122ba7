"""The report: Markdown and one PNG per claim, each file written whole or not at all."""

from __future__ import annotations

import os
import platform
import tempfile
from importlib.metadata import version
from pathlib import Path

from .claim import Check
from .runner import Outcome


def write(
    folder: Path, outcomes: list[Outcome], known: int, fast: bool, seed: int, extra: str = ""
) -> Path:
    """Write figures, then `report.md`, into `folder`; return the path of the report.

    Parameters
    ----------
    folder : Path
        Made if needed; other files in it are left alone.
    outcomes : list of Outcome
    known : int
        How many claims there are in all.
    fast : bool
    seed : int
    extra : str
        Markdown put at the end (the list of mutants).
    """
    folder.mkdir(parents=True, exist_ok=True)
    for outcome in outcomes:
        if outcome.png:
            _replace(folder / f"{outcome.name}.png", outcome.png)
    path = folder / "report.md"
    _replace(path, text(outcomes, known, fast, seed, extra).encode())
    return path


def _replace(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def text(outcomes: list[Outcome], known: int, fast: bool, seed: int, extra: str = "") -> str:
    """The report as Markdown."""
    checks = [c for o in outcomes for c in o.checks]
    judged = [c for c in checks if c.kind == "check"]
    set_by = [c for c in checks if c.kind == "calibration"]
    failed = [o.name for o in outcomes if not o.passed]
    alarm = sum(c.alpha for c in checks)
    lines = [
        "# Verification of colony_sim",
        "",
        f"{len(outcomes)} of {known} claims run, {'fast' if fast else 'full'} version, seed {seed}."
        f" Python {platform.python_version()}, numpy {version('numpy')},"
        f" numba {version('numba')}, mesa {version('mesa')}.",
        "",
        f"- Claims passed: {len(outcomes) - len(failed)} of {len(outcomes)}"
        + (f"; failed: {', '.join(failed)}" if failed else ""),
        f"- Checks (evidence): {sum(c.passed for c in judged)} of {len(judged)} passed",
        f"- Calibration (sets a parameter, no evidence): {sum(c.passed for c in set_by)} of"
        f" {len(set_by)} reproduced",
        f"- {sum(c.alpha > 0 for c in checks)} checks are statistical. A right model would fail"
        f" at least one of them with probability {alarm:.2g} at most (sum of their false-alarm"
        " rates). The seed is fixed, so a repeat gives the same numbers; another `--seed` tells a"
        " false alarm from a fault.",
        "",
        "| claim | kind | result | checks | largest gap / tolerance | false-alarm rate | s |",
        "|---|---|---|---|---|---|---|",
    ]
    for o in outcomes:
        lines.append(
            f"| [{o.name}](#{o.name}) | {o.kind} | {'pass' if o.passed else '**FAIL**'} |"
            f" {sum(c.passed for c in o.checks)}/{len(o.checks)} | {_worst(o.checks)} |"
            f" {sum(c.alpha for c in o.checks):.2g} | {o.seconds:.1f} |"
        )
    for o in outcomes:
        lines += ["", f"## {o.name}", "", o.statement, "", f"Source: {o.source}", ""]
        if o.error:
            lines += ["```", o.error.rstrip(), "```"]
        if o.png:
            lines += [f"![{o.name}]({o.name}.png)", ""]
        lines += [
            "| check | kind | model | expected | tolerance | result | false alarm | why |",
            "|---|---|---|---|---|---|---|---|",
        ]
        lines += [_row(c) for c in o.checks]
    return "\n".join(lines) + "\n" + extra


def _row(c: Check) -> str:
    shown = c.kind == "shown"
    result = "shown" if shown else "pass" if c.passed else "**FAIL**"
    tolerance = "" if shown else f"{c.tolerance:.4g}"
    alarm = f"{c.alpha:g}" if c.alpha else "exact" if c.tolerance == 0 and not shown else "none"
    return (
        f"| {c.name} | {c.kind} | {c.value:.6g} | {c.expected:.6g} | {tolerance} | {result} |"
        f" {alarm} | {c.why} |"
    )


def _worst(checks: list[Check]) -> str:
    ratios = [
        abs(c.value - c.expected) / c.tolerance
        for c in checks
        if c.tolerance > 0 and c.kind != "shown"
    ]
    return f"{max(ratios):.2f}" if ratios else "exact"
