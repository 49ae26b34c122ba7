"""Keyed random numbers: the same key always gives the same number.

Every random choice of a run is a pure function of (run seed, process, individual, day),
computed by the counter-based generator Philox4x32-10 (Salmon, Moraes, Dror and Shaw 2011,
"Parallel random numbers: as easy as 1, 2, 3", SC11, doi 10.1145/2063384.2063405). The seed
is the generator's 64-bit key; individual, day and process fill its 128-bit counter. There is
no stream and no state, so array order, the number of workers, or a further draw elsewhere
cannot change any number, and two policies with one seed share every fate that the policy
does not touch.

A block of four 32-bit words belongs to each (process block, individual, day). The table
below says which word (lane) serves which process.
"""

from __future__ import annotations

import math
from enum import IntEnum

import numpy as np

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import duration_factor


class Block(IntEnum):
    """Process blocks; the comment names the processes by lane."""

    EGG_FATE = 1  # 0 tolerance, 1 cause of death, 2 time of laying, 3 laid out of reach
    LARVA_FATE = 2  # 0 pupation of a ripe larva
    PUPA_FATE = 3  # 0 tolerance once injured, 1 cause of death, 2 injured or killed
    ADULT_FATE = 4  # 0 number of eggs
    LAID = 5  # 0 sex, 1 viability, 2 and 3 duration of the egg stage
    HATCHED = 6  # 0 and 1 growth factor and size, 2 tolerance
    PUPATED = 7  # 0 and 1 duration of the pupal stage, 2 tolerance
    EMERGED = 8  # 0 length of life, 1 tolerance
    LINEAGE = 9  # 0 and 1 identity of an egg from its mother and its number
    FOUNDER = 10  # 0 and 1 identity, 2 age, 3 sex
    MOVE = 11  # 0 missed, 1 injured, 2 killed, 3 which breeding bin
    GEAR = 12  # 0 egg lost on the gear
    INSPECT = 13  # 0 pupa found, 1 pupa killed by picking
    SORT = 14  # 0 larva taken or kept back
    COLLECT = 15  # 0 beetle found among larvae
    SURPLUS = 16  # 0 order in which beetles are kept
    PLACE = 17  # 0 founder larva's age, 1 its place in the rack
    BIN_LOSS = 18  # 0 bin lost (individual: its place in the rack)


_LINEAGE = int(Block.LINEAGE)
_M0 = np.uint64(0xD2511F53)
_M1 = np.uint64(0xCD9E8D57)
_W0 = np.uint32(0x9E3779B9)
_W1 = np.uint32(0xBB67AE85)
_LOW = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)
_TO_UNIT = 2.0**-32
#: Two to the 32nd: the number of values of one word.
WORDS = 4294967296.0


@kernel(inline="always")
def philox(c0, c1, c2, c3, k0, k1):
    """Philox4x32-10: four uint32 counter words and two uint32 key words to four uint32."""
    for _ in range(10):
        p0 = _M0 * np.uint64(c0)
        p1 = _M1 * np.uint64(c2)
        h0 = np.uint32(p0 >> _SHIFT)
        h1 = np.uint32(p1 >> _SHIFT)
        n0 = np.uint32(h1 ^ c1 ^ k0)
        n2 = np.uint32(h0 ^ c3 ^ k1)
        c1 = np.uint32(p1 & _LOW)
        c3 = np.uint32(p0 & _LOW)
        c0 = n0
        c2 = n2
        k0 = np.uint32(k0 + _W0)
        k1 = np.uint32(k1 + _W1)
    return np.uint32(c0), np.uint32(c1), np.uint32(c2), np.uint32(c3)


@kernel(inline="always")
def words(seed, block, ident, day):
    """Four uint32 words of (seed, block, individual, day).

    Parameters
    ----------
    seed, ident : uint64
    block : int
        A member of `Block`.
    day : int
        Day number, or an ordinal where a process has no day.
    """
    return philox(
        np.uint32(ident & _LOW),
        np.uint32(ident >> _SHIFT),
        np.uint32(day),
        np.uint32(block),
        np.uint32(seed & _LOW),
        np.uint32(seed >> _SHIFT),
    )


@kernel(inline="always")
def unit(word):
    """A uint32 word as a float64 strictly between 0 and 1."""
    return (np.float64(word) + 0.5) * _TO_UNIT


@kernel(inline="always")
def tolerance(word):
    """Hazard, summed over time, at which an insect falls: exponential with mean 1.

    Deaths at the hazards h(t) are then those of a Poisson process of that rate (Sellke 1983, "On
    the asymptotic distribution of the size of a stochastic epidemic", J. Appl. Probab. 20:390),
    and whoever meets more hazard never falls later.
    """
    return -math.log(unit(word))


@kernel(inline="always")
def normals(word_a, word_b):
    """Two independent standard normal deviates from two words (Box and Muller 1958)."""
    radius, angle = math.sqrt(-2.0 * math.log(unit(word_a))), 2.0 * math.pi * unit(word_b)
    return radius * math.cos(angle), radius * math.sin(angle)


@kernel()
def poisson(u, mean):
    """Poisson count with the given mean by inversion of the distribution at u."""
    term = math.exp(-mean)
    total = term
    count = 0
    while u > total and count < 1000:
        count += 1
        term *= mean / count
        total += term
        if term < 1e-300:
            break
    return count


@kernel(inline="always")
def identity(seed, mother, ordinal):
    """Identity (uint64) of a mother's egg from its ordinal number.

    It does not depend on what else happens in the colony, so that the same egg is the same
    individual under every policy.
    """
    a, b, _, _ = words(seed, _LINEAGE, mother, ordinal)
    return (np.uint64(a) << _SHIFT) | np.uint64(b)


@kernel()
def _uniforms(seed, block, lane, idents, day):
    out = np.empty(idents.size, np.float64)
    for i in range(idents.size):
        w = words(seed, block, idents[i], day)
        out[i] = unit(w[lane])
    return out


def uniforms(seed: int, block: Block, lane: int, idents: np.ndarray, day: int) -> np.ndarray:
    """Uniform numbers of many individuals for one process and day.

    Parameters
    ----------
    seed : int
        Run seed, 0 to 2**64 - 1.
    block, lane : Block, int
        The process.
    idents : uint64 array of shape (n,)
    day : int

    Returns
    -------
    float64 array of shape (n,), strictly between 0 and 1
    """
    return _uniforms(np.uint64(seed), int(block), int(lane), np.asarray(idents, np.uint64), day)


@kernel()
def _blocks(seed, block, idents, day):
    out = np.empty((idents.size, 4), np.uint32)
    for i in range(idents.size):
        a, b, c, d = words(seed, block, idents[i], day)
        out[i, 0] = a
        out[i, 1] = b
        out[i, 2] = c
        out[i, 3] = d
    return out


def blocks(seed: int, block: Block, idents: np.ndarray, day: int) -> np.ndarray:
    """All four words of many individuals (uint32 array of shape (n, 4))."""
    return _blocks(np.uint64(seed), int(block), np.asarray(idents, np.uint64), day)


@kernel()
def duration_factors(words, cv, other_cv=0.0):
    """Lognormal factors of two coefficients of variation from the first two words of each.

    `words` is uint32 of shape (n, 2 or more); the factors are float64 of shape (2, n).
    """
    out = np.empty((2, words.shape[0]), np.float64)
    for i in range(words.shape[0]):
        one, other = normals(words[i, 0], words[i, 1])
        out[0, i] = duration_factor(one, cv)
        out[1, i] = duration_factor(other, other_cv)
    return out
