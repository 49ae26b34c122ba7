"""A finished study as its folder holds it: what goes into the manifest, and the way back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from colony_sim.errors import InputError
from colony_sim.measuring.catalogue import catalogue
from colony_sim.results import manifest
from colony_sim.results.folder import MANIFEST
from colony_sim.studies.breakeven.run import Axis, BreakEven, own_values
from colony_sim.studies.points import Window
from colony_sim.studies.search.run import Limits, Search
from colony_sim.studies.sensitivity.indices import Noise
from colony_sim.studies.sensitivity.run import Sensitivity, output_words

Study = BreakEven | Sensitivity | Search
BREAK_EVEN, SENSITIVITY, SEARCH = KINDS = ("break-even map", "sensitivity", "search")


def break_even_facts(result: BreakEven) -> dict[str, Any]:
    """Settings of a map, for the manifest."""
    return {
        "first": result.first,
        "second": result.second,
        "x": {"key": result.x.key, "values": list(result.x.values)},
        "y": {"key": result.y.key, "values": list(result.y.values)},
        "measure": result.measure,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
        "seeds": list(result.seeds),
        "own_values": list(result.default),
    }


def sensitivity_facts(result: Sensitivity, measure: str, keys: Sequence[str]) -> dict[str, Any]:
    """Settings of a sensitivity analysis, for the manifest; a number that is NaN becomes None."""
    return {
        "method": result.method,
        "policies": list(result.policies),
        "measure": measure,
        "keys": list(keys),
        "points": len(result.sampled),
        "replicates": result.noise.seeds,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
        "noise_variance": _or_none(result.noise.variance),
        "noise_share": _or_none(result.noise.share),
        "central": [_or_none(value) for value in result.central],
        "drawn_in": result.drawn_in,
        "central_by_seed": [_or_none(value) for value in result.central_by_seed],
    }


def search_facts(result: Search) -> dict[str, Any]:
    """Settings of a search, for the manifest."""
    return {
        "keys": list(result.keys),
        "limits": asdict(result.limits),
        "trials": len(result.trials),
        "search_seeds": result.search_seeds,
        "fresh_seeds": result.fresh_seeds,
        "warm_up_days": result.span.warm_up,
        "days": result.span.days,
    }


def read(folder: Path) -> tuple[dict[str, Any], Study]:
    """The manifest of a study and its result, from its folder alone.

    Raises
    ------
    InputError
        If the folder is not that of a study, is damaged, or was written before all that is drawn
        was kept in it.
    """
    folder = Path(folder)
    data = manifest.read(folder, KINDS)
    where = str(folder / MANIFEST)
    make = {BREAK_EVEN: _break_even, SENSITIVITY: _sensitivity, SEARCH: _search}[data["kind"]]
    try:
        return data, make(folder, data)
    except KeyError as missing:
        command = data.get("command") or "the command of the study"
        raise InputError(
            where, "study", f"without {missing.args[0]}",
            f"a study of this version; run again: {command}",
        ) from None  # fmt: skip
    except OSError as error:
        raise InputError(where, "tables", error.strerror or "missing", "those of a study") from None
    except (TypeError, ValueError, AttributeError) as error:
        raise InputError(where, "study", f"damaged ({error})", "a study as written") from None


def _break_even(folder: Path, data: dict[str, Any]) -> BreakEven:
    study = data["study"]
    x, y = (Axis(study[name]["key"], tuple(study[name]["values"])) for name in "xy")
    own = study.get("own_values")
    if own is None:
        plan = manifest.plan_from(data, str(folder / MANIFEST))
        own = own_values(plan, study["first"], x, y)
    return BreakEven(
        study["first"], study["second"], x, y, study["measure"], _span(study),
        tuple(study["seeds"]), _table(folder, "breakeven"), tuple(own),
    )  # fmt: skip


def _sensitivity(folder: Path, data: dict[str, Any]) -> Sensitivity:
    study = data["study"]
    noise = Noise(
        study["replicates"], _number(study["noise_variance"]), _number(study["noise_share"])
    )
    one = study["method"] == "oneway"  # The only method that draws the result in the middle.
    central = study["central"] if one else study.get("central", [None] * 4)
    seeds = study["central_by_seed"] if one else study.get("central_by_seed", [])
    names = tuple(study["policies"])
    return Sensitivity(
        study["method"], output_words(names, study["measure"]), names,
        catalogue()[study["measure"]].unit, _span(study), tuple(_number(v) for v in central),
        noise, _table(folder, "sensitivity"), _table(folder, "sampled"), study.get("drawn_in", 0),
        tuple(_number(value) for value in seeds),
    )  # fmt: skip


def _search(folder: Path, data: dict[str, Any]) -> Search:
    study = data["study"]
    return Search(
        tuple(study["keys"]), Limits(**study["limits"]), _span(study), study["search_seeds"],
        study["fresh_seeds"], _table(folder, "trials"), _table(folder, "front"),
    )  # fmt: skip


def _span(study: dict[str, Any]) -> Window:
    return Window(study["warm_up_days"], study["days"])


def _table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(folder / f"{name}.parquet")


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def _number(value: float | None) -> float:
    return math.nan if value is None else value
