"""Philox4x32-10 in plain Python, written from the paper, and the draws that rest on it.

Salmon, Moraes, Dror and Shaw 2011, "Parallel random numbers: as easy as 1, 2, 3", SC11,
doi 10.1145/2063384.2063405. Nothing is shared with the fast engine.
"""

from __future__ import annotations

import math

_MULTIPLIERS = (0xD2511F53, 0xCD9E8D57)
_WEYL = (0x9E3779B9, 0xBB67AE85)
_MASK = 0xFFFFFFFF


def philox(counter: tuple[int, int, int, int], key: tuple[int, int]) -> tuple[int, ...]:
    """Ten rounds: four 32-bit counter words and two key words to four 32-bit words."""
    c0, c1, c2, c3 = counter
    k0, k1 = key
    for _ in range(10):
        left = _MULTIPLIERS[0] * c0
        right = _MULTIPLIERS[1] * c2
        c0, c1, c2, c3 = (
            (right >> 32) ^ c1 ^ k0,
            right & _MASK,
            (left >> 32) ^ c3 ^ k1,
            left & _MASK,
        )
        k0 = (k0 + _WEYL[0]) & _MASK
        k1 = (k1 + _WEYL[1]) & _MASK
    return c0, c1, c2, c3


def words(seed: int, block: int, ident: int, day: int) -> tuple[int, ...]:
    """The four words of (seed, process block, individual, day)."""
    return philox((ident & _MASK, ident >> 32, day, block), (seed & _MASK, seed >> 32))


def unit(word: int) -> float:
    """A word as a number strictly between 0 and 1."""
    return (word + 0.5) / 2.0**32


def normals(word_a: int, word_b: int) -> tuple[float, float]:
    """Two standard normal deviates (Box and Muller 1958)."""
    radius = math.sqrt(-2.0 * math.log(unit(word_a)))
    angle = 2.0 * math.pi * unit(word_b)
    return radius * math.cos(angle), radius * math.sin(angle)


def poisson(u: float, mean: float) -> int:
    """Smallest n whose cumulative Poisson probability reaches u."""
    probability = math.exp(-mean)
    cumulative = probability
    n = 0
    while cumulative < u and n < 1000:
        n += 1
        probability *= mean / n
        cumulative += probability
    return n
