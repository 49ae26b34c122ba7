"""Every insect of a colony, as a structure of arrays.

33 bytes an insect: identity (uint64), mass in ng (uint32), progress, factor and size
(float32), age in days within the stage and eggs laid (uint16), bin (uint16), stage, instar
and flags (uint8). What the fields mean depends on the stage:

========  =====================  ========================  =======================
stage     progress               factor                    size
========  =====================  ========================  =======================
egg       share of the stage     pace of development       not used
larva     larval clock           pace of clock and growth  factor on asymptotic
                                                           mass
pupa      share of the stage     pace of development       not used
adult     age on the unit        length of life on the     share of the teneral
          Weibull scale          same scale                period
========  =====================  ========================  =======================
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from colony_sim.biology.compiled import kernel


class Stage(IntEnum):
    """Life stages; DEAD marks a row that the next compaction drops."""

    DEAD = 0
    EGG = 1
    LARVA = 2
    PUPA = 3
    ADULT = 4


class Flag(IntEnum):
    """Bits of the field `flags`."""

    FEMALE = 1
    VIABLE = 2  # the egg can hatch
    INJURED = 4  # does not breed
    KEPT = 8  # larva sorted and kept back at a harvest
    OUT_OF_REACH = 16  # egg laid deeper than beetles reach


FIELDS: dict[str, type] = {
    "ident": np.uint64,
    "mass": np.uint32,
    "progress": np.float32,
    "factor": np.float32,
    "size": np.float32,
    "age": np.uint16,
    "eggs": np.uint16,
    "bin": np.uint16,
    "stage": np.uint8,
    "instar": np.uint8,
    "flags": np.uint8,
}

#: Bytes of state per insect.
BYTES_PER_INSECT = sum(np.dtype(kind).itemsize for kind in FIELDS.values())


@kernel()
def _rows_where(stage, bins, wanted, chosen):
    """Rows of a stage in the bins chosen; bins beyond the end of `chosen` are not."""
    found = 0
    for i in range(stage.size):
        if stage[i] == wanted and bins[i] < chosen.size and chosen[bins[i]]:
            found += 1
    rows = np.empty(found, np.int64)
    k = 0
    for i in range(stage.size):
        if k == found:
            break
        if stage[i] == wanted and bins[i] < chosen.size and chosen[bins[i]]:
            rows[k] = i
            k += 1
    return rows


class Insects:
    """Growing columns of insect state.

    Attributes
    ----------
    n : int
        Rows in use, dead ones included until `compact`.
    ident, mass, ... : ndarray
        Columns of full capacity; use `view(name)` for the rows in use.
    """

    ident: np.ndarray
    mass: np.ndarray
    progress: np.ndarray
    factor: np.ndarray
    size: np.ndarray
    age: np.ndarray
    eggs: np.ndarray
    bin: np.ndarray
    stage: np.ndarray
    instar: np.ndarray
    flags: np.ndarray

    def __init__(self, capacity: int = 1024) -> None:
        self.n = 0
        for name, kind in FIELDS.items():
            setattr(self, name, np.zeros(capacity, kind))

    @property
    def capacity(self) -> int:
        """Rows that fit before the columns grow."""
        return self.ident.size

    def view(self, name: str) -> np.ndarray:
        """The rows in use of one column."""
        return getattr(self, name)[: self.n]

    def reserve(self, extra: int) -> None:
        """Make room for `extra` more rows."""
        needed = self.n + extra
        if needed <= self.capacity:
            return
        capacity = max(needed, self.capacity + self.capacity // 2)
        for name, kind in FIELDS.items():
            column = np.zeros(capacity, kind)
            column[: self.n] = self.view(name)
            setattr(self, name, column)

    def append(self, count: int, **columns: np.ndarray | float | int) -> slice:
        """Add `count` rows with the given columns, the others zero; return their slice."""
        self.reserve(count)
        rows = slice(self.n, self.n + count)
        for name in FIELDS:
            getattr(self, name)[rows] = columns.get(name, 0)
        self.n += count
        return rows

    def compact(self) -> int:
        """Drop dead rows, keep the order of the others; return how many were dropped."""
        alive = self.view("stage") != Stage.DEAD
        kept = int(np.count_nonzero(alive))
        dropped = self.n - kept
        if dropped:
            for name in FIELDS:
                column = getattr(self, name)
                column[:kept] = column[: self.n][alive]
            self.n = kept
        return dropped

    def rows(self, stage: Stage, bins: np.ndarray | int | None = None) -> np.ndarray:
        """Row numbers of one stage, optionally in one bin or where a boolean per bin holds."""
        if bins is None:
            return np.flatnonzero(self.view("stage") == stage)
        if not isinstance(bins, np.ndarray):
            place = int(bins)
            bins = np.zeros(place + 1, np.bool_)
            bins[place] = True
        return _rows_where(self.view("stage"), self.view("bin"), np.uint8(stage), bins)

    def has(self, rows: np.ndarray, flag: Flag) -> np.ndarray:
        """Whether each row carries a flag."""
        return (self.flags[rows] & np.uint8(flag)) != 0

    def set(self, rows: np.ndarray, flag: Flag, on: bool = True) -> None:
        """Set or clear a flag of some rows."""
        if on:
            self.flags[rows] |= np.uint8(flag)
        else:
            self.flags[rows] &= np.uint8(255 - flag)
