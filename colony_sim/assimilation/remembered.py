"""What a results folder keeps of the last time for a further row of the log.

Which colonies were nearest, and what came of other courses than the rules.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from colony_sim.assimilation.checkpoint import UNFIT, is_whole
from colony_sim.assimilation.courses import COURSES, WAITS, Courses
from colony_sim.assimilation.ensemble import Ensemble
from colony_sim.atomic import make_folder, remove_tree, write_text
from colony_sim.logs.schedule import Schedule

KEPT_DAYS = 28
"""Kept colonies older than this (d) are not gone on from: others may be the near ones by now."""
FOLDER = "colonies"
_INDEX, _TRIED, _SUM = "index.json", "tried.json", "sha256"
_OF_TRIED = ("members", "harvested_g", "hatched", "beetles")
_MOVES = ("arrive", "take out", "put in", "leave")


def fitting_index(home: Path, ensemble: Ensemble) -> dict[str, Any] | None:
    """What is kept, if the log says the same up to its day and that is not long ago."""
    try:
        index = _read(home / _INDEX)
        day = int(index["day"])
        fits = (
            0 <= ensemble.today - day <= KEPT_DAYS
            and day <= ensemble.schedule.days
            and index["digest"] == ensemble.kept_digest(day)
            # All of the same log is in the store, if it was lived to the end.
            and index["log"] != ensemble.digest
            and index["lived"] >= len(index["members"]) > 0
        )
    except UNFIT:
        return None
    return index if fits else None


def write_index(
    home: Path, ensemble: Ensemble, members: Sequence[int], count: int, known: Mapping[str, float]
) -> None:
    day = ensemble.keep_day
    digest = ensemble.kept_digest(day)
    index = {
        "day": day, "digest": digest, "log": ensemble.digest, "members": list(members),
        "lived": count, "known": dict(known),
    }  # fmt: skip
    _write(home / _INDEX, index)
    for path in home.iterdir():  # Those of an earlier log are of no use any more.
        if path.is_dir() and path.name != digest[:16]:
            remove_tree(path)


def tried_before(
    home: Path,
    ensemble: Ensemble,
    index: Mapping[str, Any],
    members: Sequence[int],
    weights: np.ndarray,
) -> Courses | None:
    """What came of other courses before a further row, the members weighed by the log of now.

    None if that is longer ago than the shortest wait, if beetles were moved since, or if fewer
    than half of the members still count.
    """
    try:
        held = _read(home / _TRIED)
        fits = (
            0 <= ensemble.today - int(held["day"]) <= min(WAITS)
            and held["digest"] == index["digest"]
            and held["moves"] == _moves(ensemble.schedule)
            and held["courses"] == _courses()
        )
        tried = {name: np.array(held[name]) for name in _OF_TRIED}
    except UNFIT:
        return None
    of_member = dict(zip(members, weights.tolist(), strict=True))
    weights = np.array([of_member.get(int(member), 0.0) for member in tried["members"]])
    some = weights > 0
    if not fits or 2 * some.sum() < len(some):
        return None
    share = weights[some] / weights[some].sum()
    return Courses(
        COURSES, int(held["day"]), weights=share,
        **{name: values[some] for name, values in tried.items()},
    )  # fmt: skip


def write_tried(home: Path, ensemble: Ensemble, tried: Courses) -> None:
    """Keep what came of other courses today, beside the colonies."""
    if tried.day != ensemble.today:
        return
    index = _read(home / _INDEX)
    _write(home / _TRIED, {
        "digest": index["digest"], "day": tried.day, "moves": _moves(ensemble.schedule),
        "courses": _courses(),
        **{name: getattr(tried, name).tolist() for name in _OF_TRIED},
    })  # fmt: skip


def _courses() -> list[dict[str, Any]]:
    """Those that are tried, as JSON holds them."""
    found: list[dict[str, Any]] = json.loads(json.dumps([asdict(course) for course in COURSES]))
    return found


def _moves(schedule: Schedule) -> list[list[Any]]:
    """Days and bins of all work that moves beetles."""
    return [
        [day, step.what, step.slot]
        for day in sorted(schedule.steps)
        for step in schedule.steps[day]
        if step.what in _MOVES
    ]


def damaged(folder: Path) -> list[str]:
    """Files that a results folder keeps for a further row and that are not as they were put there.

    Those that are none of the program's are left aside.
    """
    home = folder / FOLDER
    bad = []
    for path in (home / _INDEX, home / _TRIED):
        try:
            _read(path)
        except FileNotFoundError:
            pass
        except UNFIT:
            bad.append(f"{FOLDER}/{path.name}")
    for path in sorted(home.glob("*/*.colony")):
        if path.stem.isdecimal() and not is_whole(path):
            bad.append(str(path.relative_to(folder)))
    return bad


def _write(path: Path, content: Mapping[str, Any]) -> None:
    make_folder(path.parent)
    write_text(path, json.dumps({**content, _SUM: _sum(content)}))


def _read(path: Path) -> dict[str, Any]:
    """What was written.

    Raises
    ------
    OSError, ValueError, KeyError, TypeError, RecursionError
        It is not there, or not as it was written.
    """
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    if content.pop(_SUM) != _sum(content):
        raise ValueError("not as it was written")
    return content


def _sum(content: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
