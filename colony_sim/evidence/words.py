"""What the evidence says, one line a number."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from colony_sim.biology.parameters import catalogue
from colony_sim.evidence.misses import misses
from colony_sim.evidence.numbers import Standing
from colony_sim.evidence.run import NEVER
from colony_sim.evidence.teeth import KEY, uninformed


def headline(table: pd.DataFrame) -> str:
    """How many judged numbers come out, in one sentence."""
    judged, used, held = (table[table["standing"] == standing] for standing in _ORDER)
    return (
        f"{int(judged['in'].sum())} of {len(judged)} judged numbers come out; "
        f"{len(used)} used to set values ({int(used['in'].sum())} come out); "
        f"{len(held)} held against the model."
    )


def plain(table: pd.DataFrame, seen: pd.DataFrame) -> list[str]:
    """The screen below the headline: by theme, what keepers see, and the widest misses."""
    judged = table[table["standing"] == Standing.JUDGED]
    themes = [
        f"{theme} {int(rows['in'].sum())} of {len(rows)}"
        for theme, rows in judged.groupby("theme", sort=False)
    ]
    found = [f"By theme: {', '.join(themes)}."]
    for what, rows in seen.groupby("what", sort=False):
        close = int(rows["in"].sum())
        found.append(f"What keepers see, {what}: comes out in {close} of {len(rows)} rooms.")
    out = judged[~judged["in"]]
    far = out["ratio"].where(out["ratio"] > 0).map(math.log).abs().fillna(0.0)
    found.append("What does not come out, the farthest first:")
    for row in out.loc[far.sort_values(ascending=False, kind="stable").index].to_dict("records"):
        found.append(f"- {row['quantity']}: published {row['published']}; {model(row)}")
    return found


_ORDER = (Standing.JUDGED, Standing.USED, Standing.HELD)


def lines(table: pd.DataFrame) -> list[str]:
    """One line a number, by theme."""
    found = []
    for theme, rows in table.groupby("theme", sort=False):
        found += ["", str(theme).capitalize()]
        found += [line(row) for row in rows.to_dict("records")]
    return found


def line(row: dict[str, Any]) -> str:
    """A number: whether it comes out, how it counts, what was published and what the model has."""
    mark = "in " if row["in"] else "out"
    head = f"{mark}  {row['standing']:<12}  {row['quantity']} ({row['id']}): "
    if row["standing"] == Standing.HELD:
        return f"{head}{row['published']}; {row['reason']}"
    ratio = "" if math.isnan(row["ratio"]) else f", ratio {row['ratio']:.2f}"
    return f"{head}published {row['published']}; {model(row)}{ratio}{_why(row)}"


def _why(row: dict[str, Any]) -> str:
    """The reason known for a miss."""
    reason = "" if row["in"] else misses().get(row["id"], "")
    return f"; {reason}" if reason else ""


def model(row: dict[str, Any]) -> str:
    """The model's number with its range."""
    if math.isnan(row["model"]):
        return "model has none"
    if row["model"] >= NEVER:
        return "model never"
    unit = f" {row['unit']}" if row["unit"] else ""
    span = f" ({row['model_low']:.3g} to {row['model_high']:.3g})"
    return f"model {row['model']:.3g}{unit}{span}"


def keeper_lines(table: pd.DataFrame) -> list[str]:
    """What keepers see beside the model, one line a fact and room, with what would close a gap."""
    found = ["What keepers see (common practice, no source; never fitted)"]
    for row in table.to_dict("records"):
        mark = "in " if row["in"] else "out"
        text = (
            f"{mark}  {row['what']} at {row['room_c']:g} C: practice {row['practice_low']:g} to "
            f"{row['practice_high']:g} d after the beetles left, model {_days(row['model'])} "
            f"({_days(row['model_low'])} to {_days(row['model_high'])} over strains, moisture and "
            f"harvest size)"
        )
        if not row["in"]:
            text += f"; a larva weighs {row['mass_56_mg']:.3g} mg after 56 d"
            if row["what"] == "first harvest":
                text += _closing(row["closing_mg"])
        found.append(text + _why(row))
    return found


def _days(value: float) -> str:
    return f"{value:.0f} d" if math.isfinite(value) else "never"


def _closing(size_mg: float) -> str:
    smallest, _ = catalogue()["harvest.smallest_mg"].ends
    if not size_mg >= smallest:
        return f", and no harvest size from {smallest:g} mg on closes the gap"
    return f", and a harvest from {size_mg:.0f} mg on would close the gap"


def teeth_lines(informed: pd.DataFrame) -> list[str]:
    """What each value that matters changes, and which values no published number informs."""
    found = []
    for key, rows in informed.groupby(KEY, sort=False):
        for row in rows.to_dict("records"):
            for what, ids in (("comes out", row["comes_out"]), ("falls out", row["falls_out"])):
                if ids:
                    found.append(f"{key} = {row['moved_to']}: {what}: {ids.replace(' ', ', ')}")
    return [*found, "", uninformed_line(informed)]


def uninformed_line(informed: pd.DataFrame) -> str:
    """The values that no published number informs, in one line."""
    free = uninformed(informed)
    return f"Not informed by any published number ({len(free)}): {', '.join(free)}"
