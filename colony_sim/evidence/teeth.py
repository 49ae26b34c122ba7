"""Which values the published numbers inform: move each alone and see what changes status."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from multiprocessing import get_context

import pandas as pd

from colony_sim.biology.parameters import Entry, Parameters, Value, catalogue, find
from colony_sim.errors import InputError
from colony_sim.evidence.run import run

KEY = "key"
#: Columns of the table, the same in the file of the package.
COLUMNS = (KEY, "end", "asked", "moved_to", "comes_out", "falls_out")
#: Draws of a replication before and after a move: two hundred runs must stay within half an hour.
TEETH_DRAWS = 2
#: Times an end that clashes with other values is moved half-way back to the value it came from.
_HALVINGS = 6


@dataclass(frozen=True)
class Move:
    """One value moved alone: to an end of its plausible range, or to another choice."""

    key: str
    end: str
    asked: Value
    moved_to: Value | None  # None where no value on the way is valid


def moves(p: Parameters, keys: Iterable[str] | None = None) -> list[Move]:
    """All moves of the biology, or of some keys.

    Raises
    ------
    InputError
        A key that is unknown or none of the biology.
    """
    if keys is None:
        entries = [entry for entry in catalogue().values() if entry.group == "biology"]
    else:
        entries = [find(key, "argument keys", "biology") for key in keys]
    return [move for entry in entries for move in _of(p, entry)]


def _of(p: Parameters, entry: Entry) -> Iterator[Move]:
    here = p[entry.key]
    if entry.kind in ("choice", "boolean"):
        for other in entry.choices or (True, False):
            if other != here:
                yield Move(entry.key, str(other).lower(), other, other)
    else:
        for end, value in (("low", entry.low), ("high", entry.high)):
            if value is not None and value != here:
                yield Move(entry.key, end, value, _valid(p, entry, value))


def _valid(p: Parameters, entry: Entry, value: float) -> Value | None:
    """The end, or the first point half-way back from it that fits the other values."""
    here = p[entry.key]
    for _ in range(_HALVINGS):
        moved = round(value) if entry.kind == "integer" else float(value)
        try:
            p.with_values({entry.key: moved}, "teeth")
        except InputError:
            value = (value + here) / 2.0
        else:
            return moved
    return None


def _moved(p: Parameters, move: Move, seed: int, only: list[str] | None) -> pd.DataFrame:
    return run(
        p.with_values({move.key: move.moved_to}, "teeth"), seed, only=only, draws=TEETH_DRAWS
    )


def teeth(
    p: Parameters,
    seed: int = 1,
    *,
    keys: Iterable[str] | None = None,
    only: list[str] | None = None,
    workers: int = 2,
    done: Callable[[int, int], object] = lambda lived, of: None,
) -> pd.DataFrame:
    """Move each value of the biology alone and list the numbers that change status.

    Parameters
    ----------
    p : Parameters
        Where all moves start from.
    seed : int
    keys : iterable of str, optional
        Default: the whole biology.
    only : list of str, optional
        Replications to live; default: all.
    workers : int
        Processes.
    done : callable
        Called with the number of moves lived and their total.

    Returns
    -------
    DataFrame
        One row a move: key, end ("low", "high" or the choice), the value asked for and the one
        moved to (an end that clashes with other values is moved half-way back until it fits;
        none: no such value), and the ids of judged and used numbers that come out only then, or
        only without.
    """
    wanted = moves(p, keys)
    before = run(p, seed, only=only, draws=TEETH_DRAWS).set_index("id")["in"]
    rows = []
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting = [
            None if move.moved_to is None else pool.submit(_moved, p, move, seed, only)
            for move in wanted
        ]
        for k, (move, future) in enumerate(zip(wanted, waiting, strict=True), start=1):
            after = before if future is None else future.result().set_index("id")["in"]
            gained, lost = before.index[after & ~before], before.index[before & ~after]
            moved_to = "" if move.moved_to is None else text_of(move.moved_to)
            row = (move.key, move.end, text_of(move.asked), moved_to, " ".join(gained))
            rows.append((*row, " ".join(lost)))
            done(k, len(wanted))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def text_of(value: Value) -> str:
    """A value as the table writes it."""
    return str(value).lower() if isinstance(value, bool) else str(value)


def uninformed(informed: pd.DataFrame) -> list[str]:
    """Keys of which no move changes the status of any number."""
    told = (informed["comes_out"] != "") | (informed["falls_out"] != "")
    return [key for key, any_told in told.groupby(informed[KEY], sort=False).any().items()
            if not any_told]  # fmt: skip


@cache
def shipped() -> pd.DataFrame:
    """The table that comes with the package, made at the default values."""
    text = files("colony_sim.evidence").joinpath("informed.csv").read_text("utf-8")
    return pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
