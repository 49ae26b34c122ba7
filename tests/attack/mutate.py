"""Sound inputs made unsound, by their structure: a value, a key, a row, a column, a byte."""

from __future__ import annotations

import copy
import io
import json
import re
from functools import cache
from typing import Any

import pandas as pd
from hypothesis import strategies as st

from colony_sim.biology.parameters import catalogue
from colony_sim.experiment.design import START

LONG = "x" * 5000
WORDS = (
    "", "0", "-1", "1", "2", "3.5", "1e309", "1e-99999999", "1e99999999", "-inf", "nan", "inf",
    "9" * 400, "9" * 5000, "0x10", "1_000", "true", "false", "None", "null", "2030-02-30",
    "9999-12-31", "0001-01-01", "2030-03-01", "2031-03-20", "1/3", "5,5", "5;5", "a b", "é☃",
    "\x00", "\x07", "=1+1", "@x", "../../x", "/", "/dev/null", ".", "-", "--", "--help", "%s", "{}",
    "{0}", "[]", "[bold]", "\\", "'", '"', "\n", "\r\n", "\t", ",", ":", "=", "a=b", "1:2:0",
    "0:1:1e-99999999", "harvest.fraction=0:1:1e-9", "harvest.fraction=0.5,0.5", "rack.bins=1e9",
    "rack.bins=1:2", "egg.duration_days", "short", "long", "short,long", "short,short",
    "2147483648", "4294967296", "18446744073709551616", "1000000000", "-5", "0.99999999999", LONG,
)  # fmt: skip
"""Texts of a cell, an option or, bare, a value of TOML."""
TOML = (
    "[]", "{}", "[1, 2]", '["a"]', "{a = 1}", '"text"', '""', "'1'", "true", "1.5", "-1", "0",
    "1e308", "nan", "-inf", "9999-12-31", "0001-01-01", "2030-03-01T10:00:00Z", "07:32:00",
    '"\\u0000"', '"é☃"', f'"{LONG}"', "9" * 30, "9" * 5000, "1e400", "[" * 700 + "]" * 700,
    "[" * 3000 + "]" * 3000, "[[1], [2]]", '"../x"', '"/etc/passwd"', '"="', "0x7fffffffffffffffff",
)  # fmt: skip
JSON: tuple[Any, ...] = (
    None, True, 0, -1, 1.5, 1e308, 10**400, "", "x", "é\u2028", "../../x", LONG, [], {}, [None],
    {"a": 1}, [[1]], ["x"] * 3, 2**63, -(2**63), "2030-03-01", "9999-12-31", "nan", "\x00",
)  # fmt: skip


@cache
def keys() -> list[str]:
    """Keys of the model, of a file's tables, and some of neither."""
    tables = [
        "experiment",
        "climate",
        "start",
        "policy",
        "sweep",
        "biology",
        "plan",
        "want",
        "name",
    ]
    return [*catalogue(), *START, *tables, "x", "", "a.b.c", "é", '"a b"']


@st.composite
def text_of(draw: st.DrawFn, text: str, parted: str) -> bytes:
    """A text of TOML (`parted` is "=") or of cells (","), changed in one to three places."""
    lines = text.splitlines(keepends=True)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(0, len(lines) - 1)))
        line = lines[at] if lines else "\n"
        what = draw(
            st.sampled_from((*["value"] * 6, "key", "gone", "twice", "moved", "more", "cut"))
        )
        if what == "value":
            lines[at : at + 1] = [_with_value(draw, line, parted)]
        elif what == "key":
            name = draw(st.sampled_from(keys()))
            lines[at : at + 1] = [re.sub(r"^\[*[\w.]+", lambda _, name=name: name, line, count=1)]
        elif what == "gone":
            del lines[at : at + draw(st.integers(1, 3))]
        elif what == "twice":
            lines.insert(at, line)
        elif what == "moved":
            lines.insert(draw(st.integers(0, len(lines))), line)
        elif what == "more":
            value = draw(st.sampled_from(TOML if parted == "=" else WORDS))
            lines.insert(at, f"{draw(st.sampled_from(keys()))} {parted} {value}\n")
        else:
            place = draw(st.integers(0, len(line)))
            lines[at : at + 1] = [line[:place]]
    data = "".join(lines).encode("utf-8", "replace")
    return draw(bytes_of(data)) if draw(st.integers(0, 9)) == 0 else data


def _with_value(draw: st.DrawFn, line: str, parted: str) -> str:
    if parted == "=":
        name, _, _ = line.partition("=")
        return f"{name}= {draw(st.sampled_from(TOML))}\n"
    cells = line.rstrip("\n").split(parted)
    cells[draw(st.integers(0, len(cells) - 1))] = draw(st.sampled_from(WORDS))
    return parted.join(cells) + "\n"


@st.composite
def bytes_of(draw: st.DrawFn, data: bytes) -> bytes:
    """Bytes cut, flipped, doubled, strewn with others, or of another file altogether."""
    at = draw(st.integers(0, max(0, len(data) - 1)))
    return draw(st.sampled_from((
        data[:at],
        data[at:],
        data[:at] + bytes([data[at] ^ 4]) + data[at + 1 :] if data else b"\xff",
        data[:at] + b"\xff\xfe\x00" + data[at:],
        data + data,
        b"",
        b"\x00" * 50,
        b"\xff\xfe" + "x".encode("utf-16-le"),
        b"PK\x03\x04 not a table",
        b"SQLite format 3\x00",
    )))  # fmt: skip


@st.composite
def json_of(draw: st.DrawFn, data: Any) -> Any:
    """A document with another value, or none, at one to three places."""
    data = json.loads(json.dumps(data))
    for _ in range(draw(st.integers(1, 3))):
        place, here = None, data
        for _ in range(draw(st.integers(1, 5))):
            inside = list(here) if isinstance(here, dict) else range(min(len(here), 4))
            key = draw(st.sampled_from(sorted(inside)))
            place, here = (here, key), here[key]
            if not isinstance(here, dict | list) or not here:
                break
        holder, key = place
        if draw(st.integers(0, 4)) == 0:
            del holder[key]
        else:
            # A copy: it may be changed in turn.
            holder[key] = copy.deepcopy(draw(st.sampled_from(JSON)))
        if not data:
            break
    return data


@st.composite
def table_of(draw: st.DrawFn, data: bytes) -> bytes:
    """A Parquet file with other columns, types, rows or bytes."""
    if draw(st.booleans()):
        return draw(bytes_of(data))
    table = pd.read_parquet(io.BytesIO(data))
    column = draw(st.sampled_from(list(table.columns)))
    what = draw(
        st.sampled_from(("gone", "renamed", "texts", "missing", "none", "one", "twice", "inf"))
    )
    if what == "gone":
        table = table.drop(columns=column)
    elif what == "renamed":
        table = table.rename(columns={column: "x"})
    elif what == "texts":
        table[column] = draw(st.sampled_from(WORDS))
    elif what == "missing":
        table[column] = None
    elif what == "none":
        table = table.iloc[:0]
    elif what == "one":
        table = table.iloc[:1]
    elif what == "twice":
        table = pd.concat([table, table])
    else:
        table[column] = float("inf")
    to = io.BytesIO()
    table.to_parquet(to, index=False)
    return to.getvalue()
