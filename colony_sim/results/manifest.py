"""The manifest: everything it takes to run a comparison again, and what it ran on."""

from __future__ import annotations

import errno
import hashlib
import json
import platform
import sqlite3
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from jinja2 import TemplateError

import colony_sim
from colony_sim.atomic import put_text
from colony_sim.biology.climate import Climate
from colony_sim.biology.parameters import Parameters, catalogue
from colony_sim.colony.own_keeper import OwnKeeper, was_handed_in
from colony_sim.errors import InputError, interrupted
from colony_sim.experiment.files import (
    LARGEST_SEED,
    LONGEST_DAYS,
    MOST_BREEDERS,
    MOST_LARVAE,
    Policy,
)
from colony_sim.experiment.plan import Plan, PlannedRun, model_fingerprint
from colony_sim.experiment.units import METRIC, House
from colony_sim.experiment.worlds import Worlds
from colony_sim.results import answer
from colony_sim.results.folder import MANIFEST, refuse_links, settled
from colony_sim.results.methods import METHODS, methods

FORMAT = 1
MOST_BYTES = 256_000_000
"""Of a manifest; most of one are the worlds."""
SEAL = "seal"
_STUMBLES = (
    ArithmeticError, AssertionError, AttributeError, LookupError, OSError, RuntimeError, TypeError,
    ValueError, sqlite3.Error, pa.ArrowException, TemplateError,
)  # fmt: skip
"""What code raises that finds other data than it wrote."""
PACKAGES = ("numpy", "numba", "mesa", "pandas", "pyarrow", "scipy")
_AS_WRITTEN = "a manifest as colony-sim wrote it"
_AGAIN = "as it was written; run the command that made it again"


def build(plan: Plan, runs: list[PlannedRun], command: str) -> dict[str, Any]:
    """The manifest of a finished comparison, as plain data; `write` adds the list of files.

    Parameters
    ----------
    plan : Plan
        What was run.
    runs : list of PlannedRun
        Its runs, for their content keys.
    command : str
        The command line, empty if called from Python.
    """
    groups = {key: entry.group for key, entry in catalogue().items()}
    first = plan.policies[0].parameters.as_dict()
    return {
        "written_by": "colony_sim",
        "kind": "comparison",
        "format": FORMAT,
        "experiment": {
            "name": plan.name,
            "question": plan.question,
            "asks": plan.asks,
            "invented": plan.invented,
            "days": plan.days,
            "replicates": len(plan.seeds),
            "seed": plan.seed,
            "seeds": list(plan.seeds),
            "worlds": list(plan.worlds),
            "breeders": plan.breeders,
            "larvae": plan.larvae,
            "baseline": plan.baseline,
            "house": plan.house.as_dict(),
        },
        "climate": plan.climate.as_dict(),
        "biology": {key: value for key, value in first.items() if groups[key] == "biology"},
        "policies": [
            {
                "name": policy.name,
                "handling": {
                    key: value
                    for key, value in policy.parameters.as_dict().items()
                    if groups[key] == "handling"
                },
            }
            for policy in plan.policies
        ],
        "profile": plan.profile and plan.profile.as_dict(),
        "keeper": plan.keeper and asdict(plan.keeper),
        "runs": [{"policy": run.policy, "seed": run.scenario.seed, "key": run.key} for run in runs],
        "file_text": plan.text,
        **_circumstances(command),
    }


def build_single(
    name: str,
    run: PlannedRun,
    command: str,
    profile: Worlds | None = None,
    draw: int | None = None,
) -> dict[str, Any]:
    """The manifest of one run of one policy, as plain data.

    The parameters hold the central draw of the `profile`, or the draw of that number.
    """
    fitted = profile and {**profile.as_dict(), "used": draw or "centre"}
    return {
        "written_by": "colony_sim",
        "kind": "single run",
        "format": FORMAT,
        "experiment": {"name": name, "house": run.house.as_dict()},
        "policy": run.policy,
        "days": run.scenario.days,
        "seed": run.scenario.seed,
        "breeders": run.scenario.breeders,
        "larvae": run.scenario.larvae,
        "climate": run.scenario.climate.as_dict(),
        "parameters": run.scenario.parameters.as_dict(),
        "profile": fitted,
        **_circumstances(command),
    }


def build_evidence(
    name: str, p: Parameters, values: dict[str, Any], seed: int, command: str
) -> dict[str, Any]:
    """The manifest of a run of the published experiments; `values` differ from the defaults."""
    return {
        "written_by": "colony_sim",
        "kind": name,
        "format": FORMAT,
        "experiment": {"name": name, "seed": seed},
        "set": values,
        "parameters": p.as_dict(),
        **_circumstances(command),
    }


def sha256(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def damaged(folder: Path, data: Mapping[str, Any], ends: str | tuple[str, ...] = "") -> list[str]:
    """Files of a folder that are not as they were written, those with such ends.

    Parameters
    ----------
    folder : Path
    data : mapping
        Its manifest; one of an older version names no sums, and nothing is found.
    ends : str or tuple of str
        Ends of names; default: all.
    """
    found = []
    for name, known in _sums(data).items():
        path = folder / Path(str(name)).name
        if path.name.endswith(ends) and (not path.is_file() or sha256(path) != known):
            found.append(path.name)
    if MANIFEST.endswith(ends) and not _is_sealed(data):
        found.append(MANIFEST)
    return found


def _sums(data: Mapping[str, Any]) -> dict[str, Any]:
    """Sums by name of file; none if a manifest has none or something else."""
    sums = data.get("sha256")
    return sums if isinstance(sums, dict) else {}


def _seal(data: Mapping[str, Any]) -> str:
    """SHA-256 of all that a manifest says beside its seal."""
    said = {key: value for key, value in data.items() if key != SEAL}
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _is_sealed(data: Mapping[str, Any]) -> bool:
    """Whether a manifest is as it was written; one of an older version has no seal to tell by."""
    return SEAL not in data or data[SEAL] == _seal(data)


def write(folder: Path, data: dict[str, Any]) -> None:
    """Write methods, answer and manifest of a folder; the manifest lists the files and sums."""
    put_text(folder / METHODS, f"{methods(data)}\n")
    files = sorted({*(path.name for path in folder.iterdir()), MANIFEST, answer.FILE})
    put_text(folder / answer.FILE, answer.as_text(answer.build(folder, data, files)))
    sums = {name: sha256(folder / name) for name in files if name != MANIFEST}
    full = {**data, "files": files, "sha256": sums}
    # As it is read back: keys that are numbers are texts there.
    full[SEAL] = _seal(json.loads(json.dumps(full)))
    text = json.dumps(full, indent=1, ensure_ascii=False, allow_nan=False)
    put_text(folder / MANIFEST, f"{text}\n")


def _circumstances(command: str) -> dict[str, Any]:
    return {
        "software": software(),
        "commit": commit(),
        "command": command,
        "created_utc": datetime.now(UTC).isoformat(timespec="seconds"),
    }


def software() -> dict[str, str]:
    """Versions that can change a result: the model, Python, packages, platform."""
    found = {
        "colony_sim": colony_sim.__version__,
        "model": model_fingerprint(),
        "python": platform.python_version(),
    }
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed"
    found["platform"] = platform.platform()
    return found


def commit() -> str | None:
    """Commit of the git checkout the package is in, ``+changes`` if edited; None if in none."""
    package = Path(colony_sim.__file__).parent

    def git(*words: str) -> str | None:
        try:
            done = subprocess.run(
                ["git", "-C", str(package), *words], capture_output=True, text=True, timeout=5
            )
        except (OSError, subprocess.TimeoutExpired):
            return None
        return done.stdout.strip() if done.returncode == 0 else None

    # A package installed below somebody else's checkout is not part of it.
    if git("ls-files", "--error-unmatch", "__init__.py") is None:
        return None
    head = git("rev-parse", "HEAD")
    return f"{head}+changes" if head and git("status", "--porcelain", "--", ".") else head


def read(
    folder: Path,
    kinds: tuple[str, ...] = ("comparison",),
    whole: bool = True,
    sealed: bool = True,
) -> dict[str, Any]:
    """Read the manifest of a results folder.

    With `sealed` it is compared with its own sum, with `whole` the tables with theirs.

    Raises
    ------
    InputError
        If there is none, it is damaged, it is of another kind than `kinds` (empty: any), or the
        folder has links that lead out of it.
    """
    path = folder / MANIFEST
    refuse_links(folder)
    try:
        settled(folder)
        if path.exists() and not path.is_file():
            raise InputError(str(path), "file", "no plain file", "a finished comparison")
        if (size := path.stat().st_size) > MOST_BYTES:
            allowed = f"at most {MOST_BYTES / 1e6:g} MB, which no comparison needs"
            raise InputError(str(path), "size", f"{size / 1e6:,.1f} MB", allowed)
        manifest = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(str(path), "file", reason, "a finished comparison") from None
    except (ValueError, RecursionError):
        raise InputError(str(path), "file", "damaged", _AS_WRITTEN) from None
    if not (isinstance(manifest, dict) and isinstance(manifest.get("experiment", {}), dict)):
        raise InputError(str(path), "file", "damaged", _AS_WRITTEN)
    if kinds and manifest.get("kind") not in kinds:
        allowed = "the folder of a " + " or ".join(kinds)
        raise InputError(str(path), "kind", manifest.get("kind"), allowed)
    if manifest.get("format") != FORMAT:
        raise InputError(str(path), "format", manifest.get("format"), f"{FORMAT}")
    if sealed and not _is_sealed(manifest):
        raise InputError(str(path), "file", "changed", _AGAIN)
    found = damaged(folder, manifest, ".parquet") if whole else ()
    # What is missing its reader tells of.
    bad = [name for name in found if (folder / name).is_file()]
    if bad:
        raise InputError(str(folder / bad[0]), "table", "damaged", _AGAIN)
    return manifest


@contextmanager
def reading(folder: Path) -> Iterator[None]:
    """Turn what a reader stumbles over in a folder that is not as written into one line.

    Raises
    ------
    InputError
        Instead of any error while the block runs, unless folder and manifest are as their sums
        say: then the folder is not to blame, and the error goes on.
    """
    try:
        yield
    except _STUMBLES as error:
        if interrupted(error):
            raise
        if isinstance(error, OSError) and not (error.errno is None or error.errno == errno.ENOENT):
            raise  # Of the disk, which `check` would not find damaged.
        told = _blame(folder, error)
        if told is error:
            raise
        raise told from error


def _blame(folder: Path, error: Exception) -> Exception:
    """The line for a folder that an error came of; the error itself if the folder is sound."""
    try:
        data = read(folder, kinds=())
    except InputError as told:
        return told
    bad = damaged(folder, data)
    if SEAL in data and not bad:
        return error
    # Nothing is known of what an older version wrote, but a table that is cut shows.
    bad += [path.name for path in sorted(folder.glob("*.parquet")) if not _is_table(path)]
    where = str(folder / (bad[0] if bad else MANIFEST))
    said = f"damaged ({type(error).__name__}: {error})"
    return InputError(where, "contents", said, _AGAIN)


def _is_table(path: Path) -> bool:
    try:
        pq.read_metadata(path)
    except (OSError, pa.ArrowException):
        return False
    return True


def is_invented(manifest: Mapping[str, Any]) -> bool:
    """Whether the scenario was declared to be invented: not data of a real colony."""
    return manifest.get("experiment", {}).get("invented") is True


def house_of(manifest: Mapping[str, Any]) -> House:
    """The house in whose units a folder is shown; metric where it names none."""
    try:
        return House(**manifest["experiment"].get("house", {}))
    except (KeyError, TypeError, AttributeError):
        return METRIC


def plan_from(manifest: dict[str, Any], where: str) -> Plan:
    """The plan a manifest describes, from the manifest alone."""
    try:
        head = manifest["experiment"]
        base = Parameters.default().with_values(manifest["biology"], where=where)
        policies = tuple(
            Policy(str(entry["name"]), base.with_values(entry["handling"], where=where))
            for entry in manifest["policies"]
        )
        return Plan(
            name=str(head["name"]),
            question=str(head["question"]),
            days=_whole(head, "days", 1, LONGEST_DAYS),
            seeds=tuple(int(seed) for seed in head["seeds"]),
            seed=_whole(head, "seed", 0, LARGEST_SEED),
            breeders=_whole(head, "breeders", 1, MOST_BREEDERS),
            larvae=_whole(head, "larvae", 0, MOST_LARVAE),
            baseline=str(head["baseline"]),
            climate=Climate.from_dict(manifest["climate"]),
            policies=policies,
            text=str(manifest["file_text"]),
            profile=Worlds.from_dict(found) if (found := manifest.get("profile")) else None,
            worlds=tuple(int(number) for number in head.get("worlds", ())),
            invented=is_invented(manifest),
            keeper=_keeper(manifest.get("keeper"), where),
            asks=str(head.get("asks", "")),
            house=house_of(manifest),
        )
    except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise InputError(where, "contents", f"damaged ({error})", _AS_WRITTEN) from None


def _keeper(told: Any, where: str) -> OwnKeeper | None:
    if not told:
        return None
    keeper = OwnKeeper(**told)
    if not was_handed_in(keeper):
        raise InputError(
            where, "keeper", f"{keeper.source}:{keeper.name}",
            "none: code that a folder names is not run; in Python, name a keeper that you trust "
            "with colony_sim.colony.own_keeper.own_keeper first",
        )  # fmt: skip
    return keeper


def _whole(head: Mapping[str, Any], key: str, low: int, high: int) -> int:
    value = head[key]
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ValueError(f"{key} is no whole number from {low} to {high}")
    return value


def differing_software(manifest: dict[str, Any]) -> list[str]:
    """What differs between the software of a manifest and the software here, in words."""
    then, now = manifest.get("software", {}), software()
    texts = []
    for name, value in now.items():
        if then.get(name) != value:
            # A fingerprint tells a reader nothing beyond that it differs.
            shown = "" if name == "model" else f" {then.get(name)} then, {value} now"
            texts.append(f"{'model source' if name == 'model' else name}{shown}")
    return texts
