"""Break the model on purpose: every break must make at least one claim fail.

Each mutant is a change of one place in a copy of the sources. The copy is verified by the
fast version of the claims named with it, and of the twin.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[2]
_FOLDERS = ("colony_sim", "tests/verification", "experiments")


@dataclass(frozen=True)
class Mutant:
    """One break: in `file` (below colony_sim/), `old` becomes `new` at its first place."""

    name: str
    file: str
    old: str
    new: str
    claims: tuple[str, ...]


_DEV, _GROW, _PRED = "biology/development.py", "biology/growth.py", "biology/predation.py"
_DAY, _KEEP = "population/kernels.py", "colony/keeper.py"
_SORT, _FEED = "colony/sorting.py", "colony/feeding.py"
_EGGS, _LARVAE = "population/eggs.py", "population/larvae.py"
_PUPAE, _ADULTS = "population/pupae.py", "population/adults.py"
_BOOKS = "population/books.py"

MUTANTS = (
    Mutant(
        "sign: distance to the lower limit in Briere's curve",
        _DEV,
        "(temperature_c - lower_c)",
        "(temperature_c + lower_c)",
        ("durations",),
    ),
    Mutant(
        "sign: mean of the lognormal factor",
        _DEV,
        "- 0.5 * variance",
        "+ 0.5 * variance",
        ("durations",),
    ),
    Mutant("rate: Weibull exponent turned over", _DEV, "(1.0 / shape)", "shape", ("survival",)),
    Mutant("unit: Q10 per 20 degrees", _DEV, "/ 10.0", "/ 20.0", ("survival",)),
    Mutant(
        "sign: crowding helps growth",
        _GROW,
        "math.exp(-slope",
        "math.exp(slope",
        ("evidence",),
    ),
    Mutant(
        "moisture never limits",
        _GROW,
        "(1.0 - dry_share) * min(1.0, stock / need)",
        "(1.0 - dry_share)",
        ("limits",),
    ),
    Mutant(
        "rate: bran eaten to the last day",
        _GROW,
        "bran / (bran_days * demand)",
        "bran / demand",
        ("egg_predation",),
    ),
    Mutant(
        "unit: adults per bin, not per dm2",
        _PRED,
        "* adults / area_dm2",
        "* adults",
        ("egg_predation", "lpa_run"),
    ),
    Mutant(
        "sign: more substrate, more predation",
        _PRED,
        "/ max(substrate_kg, 0.01)",
        "* max(substrate_kg, 0.01)",
        ("egg_predation", "lpa_step"),
    ),
    Mutant("sign: hunger calms", _PRED, "(1.0 - food)", "food", ("egg_predation",)),
    Mutant(
        "unit: substrate in g",
        _DAY,
        "(1000.0 * NG_PER_G)",
        "(1.0 * NG_PER_G)",
        ("egg_predation", "lpa_step"),
    ),
    Mutant(
        "rate: hazard taken for a probability",
        _BOOKS,
        "(1.0 - math.exp(-hazard)) * WORDS",
        "min(1.0, hazard) * WORDS",
        ("survival", "egg_predation"),
    ),
    Mutant(
        "rate: time of an event within the day",
        _BOOKS,
        "-math.log1p(-unit(word)) / hazard",
        "-math.log1p(-unit(word)) * hazard",
        ("survival", "egg_predation", "lpa_step"),
    ),
    Mutant(
        "eaters mixed up",
        _EGGS,
        "        events[b, _EATEN_ADULTS] += 1",
        "        events[b, _EATEN_LARVAE] += 1",
        ("egg_predation", "rotation_share"),
    ),
    Mutant(
        "males lay as well",
        _ADULTS,
        "(cols.flags[i] & 5) == 1",
        "(cols.flags[i] & 4) == 0",
        ("growth_rate",),
    ),
    Mutant(
        "age of laying not counted",
        _ADULTS,
        "* c.age_profile[min(np.int64(cols.age[i]), oldest)]",
        "* 1.0",
        ("growth_rate", "evidence"),
    ),
    Mutant(
        "rate: larvae die at the young rate for life",
        _LARVAE,
        "at = young_at[b] if mass[j] < young else larva_at[b]",
        "at = young_at[b]",
        ("survival",),
    ),
    Mutant(
        "rest of the day lost at hatching",
        _EGGS,
        "np.float32(rest[j] * today.pace[bins[i]])",
        "np.float32(0.0 * today.pace[bins[i]])",
        ("twin",),
    ),
    Mutant(
        "mass made from nothing at pupation",
        _LARVAE,
        "np.uint32(m * c.pupa_mass_share)",
        "np.uint32(m / c.pupa_mass_share)",
        ("evidence",),
    ),
    Mutant(
        "book: dead larvae not entered",
        _LARVAE,
        "books.flows[_DEAD] += np.int64(m)",
        "pass",
        ("balances",),
    ),
    Mutant(
        "book: frass is all that was eaten",
        _DAY,
        "frass[b] += made",
        "frass[b] += eaten[b]",
        ("balances",),
    ),
    Mutant(
        "eggs of a mother share one identity",
        _EGGS,
        "identity(seed, mother[j], number[j])",
        "identity(seed, mother[j], np.uint32(0))",
        ("lpa_run", "lpa_step"),
    ),
    Mutant(
        "rounds of the generator",
        "population/draws.py",
        "range(10)",
        "range(9)",
        ("random_numbers",),
    ),
    Mutant(
        "Poisson by a wrong recursion",
        "population/draws.py",
        "term *= mean / count",
        "term *= mean / (count + 1)",
        ("random_numbers", "lpa_step"),
    ),
    Mutant(
        "day not in the key",
        "population/draws.py",
        "np.uint32(day),",
        "np.uint32(0),",
        ("random_numbers", "survival"),
    ),
    Mutant(
        "viability blind to heat",
        "biology/reproduction.py",
        '[p["egg.viable_share"], 0.0]',
        '[p["egg.viable_share"], p["egg.viable_share"]]',
        ("durations",),
    ),
    Mutant(
        "sign: laying rises with old age",
        "biology/reproduction.py",
        'np.exp(-p["fecundity.decline_per_day"]',
        'np.exp(p["fecundity.decline_per_day"]',
        ("growth_rate", "evidence"),
    ),
    Mutant(
        "cold kills nobody",
        "biology/survival.py",
        "max(0.0, over, under)",
        "max(0.0, over)",
        ("survival",),
    ),
    Mutant(
        "unit: a milligram of 10**5 nanograms",
        "biology/rates.py",
        "NG_PER_MG = 1_000_000",
        "NG_PER_MG = 100_000",
        ("growth_law",),
    ),
    Mutant(
        "beetles moved a day late",
        _KEEP,
        '>= p["rotation.interval_days"]',
        '> p["rotation.interval_days"]',
        ("rotation_share",),
    ),
    Mutant(
        "sign: the missed are moved, the caught stay",
        _KEEP,
        'draws[0] >= p["rotation.missed_share"]',
        'draws[0] < p["rotation.missed_share"]',
        ("rotation_share",),
    ),
    Mutant(
        "harvest keeps what it should take",
        _SORT,
        '< p["harvest.fraction"]',
        '>= p["harvest.fraction"]',
        ("twin",),
    ),
    Mutant(
        "bran given without the reserve",
        _FEED,
        'days + p["bran.reserve_days"]',
        "days",
        ("twin",),
    ),
    Mutant(
        "breeding bins without beetles go on",
        _KEEP,
        "if bin_.index not in here:",
        "if False:",
        ("twin",),
    ),
    Mutant(
        "sign: large larvae fall through the sieve",
        _KEEP,
        "insects.mass[larvae] < least",
        "insects.mass[larvae] >= least",
        ("twin",),
    ),
)


_SKIP = shutil.ignore_patterns("__pycache__")


def failed_claims(mutant: Mutant | None, claims: tuple[str, ...], root: Path = _ROOT) -> list[str]:
    """Claims with a check out of tolerance in a copy of `root` with the mutant (None: unbroken).

    A claim that merely crashes is not counted.
    """
    with tempfile.TemporaryDirectory(prefix="colony-mutant-") as name:
        place = Path(name)
        for folder in _FOLDERS:
            shutil.copytree(root / folder, place / folder, ignore=_SKIP)
        if mutant is not None:
            path = place / "colony_sim" / mutant.file
            source = path.read_text("utf-8")
            if mutant.old not in source:
                raise ValueError(f"mutant {mutant.name!r}: {mutant.old!r} not in {mutant.file}")
            path.write_text(source.replace(mutant.old, mutant.new, 1), "utf-8")
        environment = {
            **os.environ,
            "NUMBA_CACHE_DIR": str(place / "cache"),
            "PYTHONPATH": str(place),
        }
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "tests.verification",
                *claims,
                "--fast",
                "--workers",
                "1",
                "--out",
                str(place / "report"),
            ],
            cwd=place,
            env=environment,
            capture_output=True,
            text=True,
        )
        if done.returncode not in (0, 1):
            raise RuntimeError(done.stderr)
        blocks = re.split(r"^(?=(?:pass|FAIL)  )", done.stdout, flags=re.M)
        failed = [b.split()[1] for b in blocks if b.startswith("FAIL") and ", expected " in b]
        if not any(b.startswith(("pass", "FAIL")) for b in blocks):
            raise RuntimeError(done.stdout + done.stderr)
        return failed


def run_mutants(workers: int, say: Callable[[str], None]) -> tuple[bool, str]:
    """Try every mutant; whether all were caught, and a Markdown section on them."""
    with tempfile.TemporaryDirectory(prefix="colony-snapshot-") as name:
        # One snapshot, so that work on the sources meanwhile passes for no break.
        root = Path(name)
        for folder in _FOLDERS:
            shutil.copytree(_ROOT / folder, root / folder, ignore=_SKIP)
        return _run(root, workers, say)


def _run(root: Path, workers: int, say: Callable[[str], None]) -> tuple[bool, str]:
    named = tuple(dict.fromkeys(c for m in MUTANTS for c in (*m.claims, "twin")))

    def attempt(mutant: Mutant | None) -> list[str]:
        if mutant is None:
            return failed_claims(None, named, root)
        claims = tuple(dict.fromkeys((*mutant.claims, "twin")))
        found = failed_claims(mutant, claims, root)
        say(f"{'caught' if found else 'MISSED'}  {mutant.name}: {', '.join(found) or 'none'}")
        return found

    with ThreadPoolExecutor(max(1, workers)) as pool:
        sound, *found = pool.map(attempt, (None, *MUTANTS))
    if sound:
        say(f"the unbroken copy fails {', '.join(sound)}: these catch nothing")
    caught = [[c for c in f if c not in sound] for f in found]
    lines = [
        "",
        "## Mutation check",
        "",
        f"{sum(bool(c) for c in caught)} of {len(MUTANTS)} breaks made a claim fail that holds for"
        " the unbroken model. Tried with each: the claims named, fast version, and the twin.",
        "",
        "| break | file | from | to | tried | failed |",
        "|---|---|---|---|---|---|",
    ]
    for mutant, names in zip(MUTANTS, caught, strict=True):
        tried = ", ".join(dict.fromkeys((*mutant.claims, "twin")))
        lines.append(
            f"| {mutant.name} | {mutant.file} | `{mutant.old}` | `{mutant.new}` | {tried} |"
            f" {', '.join(names) or '**none**'} |"
        )
    return all(caught), "\n".join(lines) + "\n"
