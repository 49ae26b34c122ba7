"""Constants of a run as kernels take them."""

from __future__ import annotations

from typing import get_type_hints

import numpy as np

from colony_sim.biology.rates import Constants


def _record(fields: type) -> np.dtype[np.void]:
    """The numbers of a named tuple as a structure; tables are left out."""
    kinds = {float: np.float64, int: np.int64, bool: np.bool_}
    return np.dtype(
        [
            (name, kinds.get(kind) or _record(kind))
            for name, kind in get_type_hints(fields).items()
            if kind is not np.ndarray
        ],
        align=True,
    )


_NUMBERS = _record(Constants)


def packed(c: Constants) -> np.void:
    """Numbers of a run in one structure, as kernels take them; those asked for last are kept.

    A named tuple reaches a kernel as one argument a number, which makes compiling slow.
    """
    global _last
    if _last is None or _last[0] is not c:
        row = np.empty(1, _NUMBERS)
        row[0] = tuple(getattr(c, name) for name in _NUMBERS.names or ())
        _last = c, row[0]
    return _last[1]


_last: tuple[Constants, np.void] | None = None
