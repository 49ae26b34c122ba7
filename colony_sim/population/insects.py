"""Every insect of a colony, as a structure of arrays.

36 bytes an insect: identity (uint64), mass in ng (uint32), progress, factor, size and tolerance
(float32), age in days within the stage, tally and bin (uint16), stage and flags (uint8). The
tolerance is the hazard, summed over days, that it still withstands in its stage; the tally is the
instar of a larva, or the eggs that an adult has laid. What else depends on the stage:

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


#: The values of `Stage` and `Flag` that kernels compare with, as plain numbers.
IS_DEAD, IS_EGG, IS_LARVA, IS_PUPA, IS_ADULT = (int(stage) for stage in Stage)
IS_FEMALE, IS_VIABLE, IS_INJURED, IS_KEPT, IS_OUT_OF_REACH = (int(flag) for flag in Flag)

FIELDS: dict[str, type] = {
    "ident": np.uint64,
    "mass": np.uint32,
    "progress": np.float32,
    "factor": np.float32,
    "size": np.float32,
    # Hazard, summed over days, that it still withstands in its stage.
    "tolerance": np.float32,
    "age": np.uint16,
    # Instar of a larva, number of eggs that an adult has laid.
    "tally": np.uint16,
    "bin": np.uint16,
    "stage": np.uint8,
    "flags": np.uint8,
}

#: More runs of rows in one bin than this many for each bin are worth putting in order.
_SHORT = 2

#: Rows looked at together for those of one bin.
_BLOCKS = 1024

#: Bytes of state per insect.
BYTES_PER_INSECT = sum(np.dtype(kind).itemsize for kind in FIELDS.values())


@kernel()
def _rows_in(stage, bins, wanted, b):
    """Rows of a stage in one bin."""
    found = np.empty(stage.size // _BLOCKS + 1, np.int64)
    total = np.int64(0)
    for start in range(0, stage.size, _BLOCKS):
        kind, place = stage[start : start + _BLOCKS], bins[start : start + _BLOCKS]
        count = np.int64(0)
        for j in range(kind.size):
            count += np.int64((kind[j] == wanted) & (place[j] == b))
        found[start // _BLOCKS] = count
        total += count
    rows = np.empty(total, np.int64)
    k = 0
    for start in range(0, stage.size, _BLOCKS):
        if found[start // _BLOCKS] == 0:
            continue
        kind, place = stage[start : start + _BLOCKS], bins[start : start + _BLOCKS]
        for j in range(kind.size):
            if kind[j] == wanted and place[j] == b:
                rows[k] = start + j
                k += 1
    return rows


@kernel()
def _grown_in(stage, bins, grown, wanted, b):
    """Those of some rows that are of a stage and in one bin."""
    rows = np.empty(grown.size, np.int64)
    k = 0
    for i in grown:
        if stage[i] == wanted and bins[i] == b:
            rows[k] = i
            k += 1
    return rows[:k]


@kernel()
def _living(stage, bins):
    """Rows of the living, bin by bin if eggs or larvae of other bins often come between."""
    alive = runs = 0
    here = np.uint16(65535)
    slots = np.int64(0)
    for i in range(stage.size):
        alive += np.int64(stage[i] != IS_DEAD)
        slots = max(slots, np.int64(bins[i]) + 1)
        if (stage[i] == IS_EGG or stage[i] == IS_LARVA) and bins[i] != here:
            runs += 1
            here = bins[i]
    rows = np.empty(alive, np.int64)
    place = np.zeros(slots + 1, np.int64)
    if runs > _SHORT * slots + alive // 4096:
        for i in range(stage.size):
            place[bins[i] + 1] += np.int64(stage[i] != IS_DEAD)
        place = np.cumsum(place)
        for i in range(stage.size):
            if stage[i] != IS_DEAD:
                rows[place[bins[i]]] = i
                place[bins[i]] += 1
        return rows
    k = 0
    for i in range(stage.size):
        if stage[i] != IS_DEAD:
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
    gain : float32 array
        Working space of a day, as long as the columns; memory that is new each day costs more
        than what is done in it.
    """

    ident: np.ndarray
    mass: np.ndarray
    progress: np.ndarray
    factor: np.ndarray
    size: np.ndarray
    tolerance: np.ndarray
    age: np.ndarray
    tally: np.ndarray
    bin: np.ndarray
    stage: np.ndarray
    flags: np.ndarray

    def __init__(self, capacity: int = 1024) -> None:
        self.n = 0
        self.renew()
        self.gain = np.empty(capacity, np.float32)
        for name, kind in FIELDS.items():
            setattr(self, name, np.zeros(capacity, kind))

    @property
    def capacity(self) -> int:
        """Rows that fit before the columns grow."""
        return self.ident.size

    def view(self, name: str) -> np.ndarray:
        """The rows in use of one column."""
        return getattr(self, name)[: self.n]

    def renew(self) -> None:
        """Forget which rows are pupae and adults; after any change that makes new ones."""
        self._grown: np.ndarray | None = None

    def reserve(self, extra: int) -> None:
        """Make room for `extra` more rows."""
        needed = self.n + extra
        if needed <= self.capacity:
            return
        capacity = max(needed, self.capacity + self.capacity // 2)
        self.gain = np.empty(capacity, np.float32)
        for name, kind in FIELDS.items():
            column = np.zeros(capacity, kind)
            column[: self.n] = self.view(name)
            setattr(self, name, column)

    def append(self, count: int, **columns: np.ndarray | float | int) -> slice:
        """Add `count` rows with the given columns, the others zero; return their slice.

        Raises
        ------
        TypeError
            For a column that there is none of.
        """
        if unknown := columns.keys() - FIELDS.keys():
            raise TypeError(f"insects have no {', '.join(sorted(unknown))}")
        self.reserve(count)
        self.renew()
        rows = slice(self.n, self.n + count)
        for name in FIELDS:
            getattr(self, name)[rows] = columns.get(name, 0)
        self.n += count
        return rows

    def compact(self) -> int:
        """Drop dead rows; return how many were dropped.

        The others keep their order, unless eggs and larvae of the bins are so mixed that the
        days go faster once the rows of a bin are side by side.
        """
        self.renew()
        rows = _living(self.view("stage"), self.view("bin"))
        dropped = self.n - rows.size
        for name in FIELDS:
            column = getattr(self, name)
            column[: rows.size] = column.take(rows)
        self.n = rows.size
        return dropped

    def rows(self, stage: Stage, bins: np.ndarray | int | None = None) -> np.ndarray:
        """Row numbers of one stage, optionally in one bin or where a boolean per bin holds."""
        kind = int(stage)  # Comparing arrays with an enumeration is slow.
        stages, places = self.view("stage"), self.view("bin")
        if kind >= IS_PUPA:
            if self._grown is None:
                self._grown = np.flatnonzero(stages >= IS_PUPA)
            if not isinstance(bins, np.ndarray | None):
                return _grown_in(stages, places, self._grown, np.uint8(kind), np.uint16(bins))
            rows = self._grown[stages[self._grown] == kind]
        elif isinstance(bins, np.ndarray | None):
            rows = np.flatnonzero(stages == kind)
        else:
            return _rows_in(stages, places, np.uint8(kind), np.uint16(bins))
        return rows if bins is None else rows[bins[places[rows]]]

    def has(self, rows: np.ndarray, flag: Flag) -> np.ndarray:
        """Whether each row carries a flag."""
        return (self.flags[rows] & np.uint8(flag)) != 0

    def set(self, rows: np.ndarray, flag: Flag, on: bool = True) -> None:
        """Set or clear a flag of some rows."""
        if on:
            self.flags[rows] |= np.uint8(flag)
        else:
            self.flags[rows] &= np.uint8(255 - flag)
