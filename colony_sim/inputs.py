"""Reads files that a user hands over: never more of one than its kind can need."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import TextIO

from colony_sim.errors import InputError

MOST_BYTES = 1_000_000
"""Of a file in TOML; one of a person is hundreds of times shorter."""
MOST_PARTS = 50
"""Of a key with points."""
_PART = 1 << 20
_NO_SUCH = "the model's own files are far shorter: see that it is the file you mean"


def refuse_long_keys(text: str, where: str) -> None:
    """`InputError` for a key of TOML of very many parts, which its reader takes minutes for."""
    for number, line in enumerate(text.splitlines(), start=1):
        # Before each sign of equality, and in the brackets of a table.
        *keys, last = line.split("=")
        heads = [re.split(r"[,{]", part)[-1] for part in keys]
        if line.lstrip("# ").startswith("["):
            heads.append(last)
        if any(head.count(".") > MOST_PARTS for head in heads):
            allowed = f"a key of at most {MOST_PARTS} parts"
            raise InputError(where, f"line {number}", line[:60], allowed)


def read_bytes(path: Path, most: int, remedy: str, key: str = "file") -> bytearray:
    """The bytes of a file; no more than `most` + 1 are ever read.

    Parameters
    ----------
    path : Path
    most : int
        Bytes that are allowed.
    remedy : str
        What to do about a file of more.
    key : str
        What is at fault where it cannot be read.

    Raises
    ------
    InputError
        It cannot be read, or is too long.
    """
    try:
        with path.open("rb") as handle:
            # In parts: what is no plain file, such as a pipe, has no size to ask for.
            data = bytearray()
            while len(data) <= most and (part := handle.read(min(_PART, most + 1 - len(data)))):
                data += part
            size = max(path.stat().st_size, len(data))
    except (OSError, ValueError) as error:  # Of a name with a zero.
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(str(path), key, reason, "a file that can be read") from None
    if len(data) > most:
        shown = f"{size / 1e6:,.1f} MB"
        raise InputError(str(path), "size", shown, f"at most {most / 1e6:g} MB; {remedy}")
    return data


def read_text(path: Path, most: int = MOST_BYTES, remedy: str = _NO_SUCH) -> str:
    """Text of a file (UTF-8, a byte-order mark is dropped), as `read_bytes`.

    Raises
    ------
    InputError
        It cannot be read, is too long, or no text.
    """
    data = read_bytes(path, most, remedy)
    try:
        return io.IncrementalNewlineDecoder(None, True).decode(data.decode("utf-8-sig"), True)
    except UnicodeDecodeError as error:
        raise InputError(
            str(path), f"byte {error.start}", "not UTF-8", "a text file in UTF-8"
        ) from None


def text_lines(path: Path, most: int, remedy: str, key: str) -> TextIO:
    """The lines of a file, as `read_bytes`, decoded as they are read: ValueError where not UTF-8.

    Ends of lines are kept, for `csv.reader`.
    """
    data = io.BytesIO(read_bytes(path, most, remedy, key))
    return io.TextIOWrapper(data, encoding="utf-8-sig", newline="")
