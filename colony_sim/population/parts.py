"""The rows of a big colony in parts, one a thread."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeVar

import numpy as np

_Found = TypeVar("_Found")


def in_parts(count: int, threads: int, work: Callable[[slice], _Found]) -> list[_Found]:
    """What `work` finds in each of `threads` even parts of `count` rows, in their order.

    Kernels that let go of the interpreter run at the same time; one part needs no thread.
    """
    if threads == 1:
        return [work(slice(0, count))]
    ends = np.linspace(0, count, threads + 1).astype(np.int64)
    parts = [slice(start, stop) for start, stop in pairwise(ends.tolist())]
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(work, parts))
