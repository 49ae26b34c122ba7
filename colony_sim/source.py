"""Source files, for digests of what a stored run depends on."""

from __future__ import annotations

from pathlib import Path


def source_bytes(path: str | Path) -> bytes:
    """A file of source; its line ends, which depend on how it was checked out, made alike."""
    return Path(path).read_bytes().replace(b"\r\n", b"\n")
