"""Colonies kept as they were some days before today, so that a further row of the log is quick.

A colony is kept as arrays and plain numbers, nothing that is run when it is read. It may be gone
on from if the log says the same up to its day; dates and numbers may have been added after it.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from colony_sim.atomic import make_folder, remove, write_bytes
from colony_sim.colony.bins import Phase
from colony_sim.colony.model import Colony
from colony_sim.logs.log_keeper import LogKeeper
from colony_sim.logs.schedule import Schedule
from colony_sim.logs.words import Entry
from colony_sim.population.insects import FIELDS

_BIN = ("date_in", "date_out", "moist", "harvested")
_KEEPER = ("_arrivals", "_held", "_bran_g", "last_move")
_CODEC = "lz4"
UNFIT = (OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError,
         RecursionError)  # fmt: skip
"""What a file raises that is not there or not as it was written."""


def pack(colony: Colony, place: str) -> bytes:
    """A colony that follows a log, in the evening of its day, for one place alone."""
    keeper = colony.keeper
    assert isinstance(keeper, LogKeeper)
    insects = colony.insects
    insects.compact()
    columns: dict[str, Any] = {f"insects.{name}": insects.view(name) for name in FIELDS}
    stocks: dict[str, Any] = {
        f"stocks.{name}": array for name, array in vars(colony.substrate).items()
    }
    plain = {
        "day": colony.day,
        "bins": [
            {"phase": b.phase.value, **{name: getattr(b, name) for name in _BIN}}
            for b in colony.bins
        ],
        "keeper": {name: getattr(keeper, name) for name in _KEEPER},
        "look_today": sorted(keeper._look_today),
        "chance": keeper.chance.bit_generator.state,
    }
    arrays = {
        "seen": keeper.seen, "looked": keeper._looked, "left": keeper._left,
        "pace": keeper._pace, **columns, **stocks,
    }  # fmt: skip
    plain["arrays"] = [[name, a.dtype.str, a.shape] for name, a in arrays.items()]
    head = json.dumps(plain).encode()
    # Not `numpy.savez`: reading its thirty headers takes longer than a week of the colony's life.
    raw = b"".join([len(head).to_bytes(8, "little"), head, *(a.tobytes() for a in arrays.values())])
    held = len(raw).to_bytes(8, "little") + pa.compress(raw, _CODEC, asbytes=True)
    return _sum(place, held) + held


def _sum(place: str, held: bytes) -> bytes:
    return hashlib.sha256(place.encode() + held).digest()


def is_whole(path: Path) -> bool:
    """Whether a kept colony is as it was packed, for this place."""
    packed = path.read_bytes() if path.is_file() else b""
    return _sum(_place(path), packed[32:]) == packed[:32]


def _place(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


def unpack(packed: bytes, colony: Colony, place: str) -> None:
    """Put into a colony that was just founded what one of the same log and world had become.

    Raises
    ------
    ValueError, KeyError, OSError
        What is packed is damaged.
    """
    keeper = colony.keeper
    assert isinstance(keeper, LogKeeper)
    checksum, size, rest = packed[:32], packed[32:40], packed[40:]
    if _sum(place, size + rest) != checksum:
        raise ValueError("not as it was packed")
    raw = pa.decompress(rest, int.from_bytes(size, "little"), _CODEC, asbytes=True)
    start = 8 + int.from_bytes(raw[:8], "little")
    plain: dict[str, Any] = json.loads(raw[8:start])
    held: dict[str, np.ndarray] = {}
    for name, dtype, shape in plain["arrays"]:
        array = np.frombuffer(raw, dtype, math.prod(shape), start)
        held[name] = array.reshape(shape).copy()
        start += array.nbytes
    insects = colony.insects
    insects.n = 0
    insects.append(held["insects.ident"].size, **{n: held[f"insects.{n}"] for n in FIELDS})
    for name in vars(colony.substrate):
        setattr(colony.substrate, name, held[f"stocks.{name}"])
    for bin_, facts in zip(colony.bins, plain["bins"], strict=True):
        bin_.phase = Phase(facts.pop("phase"))
        for name, value in facts.items():
            setattr(bin_, name, value)
    seen = held["seen"]
    keeper.seen[: seen.size] = seen[: keeper.seen.size]
    keeper._looked, keeper._left, keeper._pace = held["looked"], held["left"], held["pace"]
    for name, value in plain["keeper"].items():
        setattr(keeper, name, value)
    keeper._look_today = set(plain["look_today"])
    keeper.chance.bit_generator.state = plain["chance"]
    colony.day = plain["day"]
    done = sum(one.day <= colony.day for one in keeper.schedule.observed)
    keeper.seen[done:] = np.nan
    colony.restart_books()


def prefix_digest(schedule: Schedule, day: int) -> str:
    """SHA-256 over all that a log says up to the evening of a day, and bins and moisture."""

    def plain(entry: Entry) -> str:
        # A row may move down in the file, or get another note.
        return repr(replace(entry, row=0, note=""))

    steps = [
        (d, step.what, step.slot, plain(step.entry), step.seen, step.sources, step.targets)
        for d in sorted(schedule.steps)
        if d <= day
        for step in schedule.steps[d]
    ]
    before = [
        (plain(one.entry), one.day, one.unit)
        for place, one in enumerate(schedule.observed)
        if one.day <= day and place != schedule.bran
    ]
    gaps = [(first, min(last, day)) for first, last in schedule.gaps if first <= day]
    content = [schedule.start, schedule.bins, sorted(schedule.moist), steps, before, gaps, day]
    return hashlib.sha256(repr(content).encode()).hexdigest()


class Kept:
    """A folder of colonies, a file each.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def save(self, member: int, colony: Colony) -> None:
        """Keep a colony."""
        packed = pack(colony, _place(self._path(member)))
        make_folder(self.folder)
        write_bytes(self._path(member), packed)

    def load(self, member: int, colony: Colony) -> bool:
        """Put what was kept into a colony that was just founded; false if there is nothing."""
        path = self._path(member)
        if not path.exists():
            return False
        unpack(path.read_bytes(), colony, _place(path))
        return True

    def keep_only(self, members: set[int]) -> None:
        """Delete the others."""
        for path in self.folder.glob("*.colony"):
            if path.stem.isdecimal() and int(path.stem) not in members:
                remove(path)

    def _path(self, member: int) -> Path:
        return self.folder / f"{member}.colony"
