"""The methods of a results folder as a paragraph for a paper, from its manifest alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from colony_sim.biology.climate import Climate
from colony_sim.experiment.worlds import SHIPPED

METHODS = "methods.txt"
CITE = "colony_sim/docs/CITATION.cff"


def methods(data: Mapping[str, Any]) -> str:
    """Model, design, seeds, what was estimated, software and how to cite, as one paragraph."""
    parts = [_model(data), *_asked(data), data.get("design", ""), _profile(data), _software(data)]
    return " ".join(part for part in parts if part)


def _model(data: Mapping[str, Any]) -> str:
    software = data["software"]
    return (
        "Results are those of colony_sim, an individual-based simulation of a Tenebrio molitor "
        f"colony in bins (version {software['colony_sim']}, model source SHA-256 "
        f"{software['model'][:12]})."
    )


def _asked(data: Mapping[str, Any]) -> Iterator[str]:
    """Policies, founders, climate, days and seeds, where the manifest has them."""
    head = data["experiment"]
    policies = [f"“{policy['name']}”" for policy in data.get("policies", ())]
    if policies:
        yield f"{'Policy' if len(policies) == 1 else 'Policies'}: {', '.join(policies)}."
    founders = {**data, **head}
    if founders.get("breeders"):
        larvae = f" and {founders['larvae']} larvae" if founders.get("larvae") else ""
        yield f"Each colony was founded with {founders['breeders']} beetles{larvae}."
    seeds, days = head.get("seeds"), founders.get("days")
    if data.get("climate") and days:
        yield f"Air temperature: {_climate(data['climate'], days)}."
    if seeds and data["kind"] == "comparison":
        yield (
            f"Every policy was run for {days} days with the same {len(seeds)} seeds "
            f"({', '.join(map(str, seeds))}), derived from seed {head['seed']}; random numbers are "
            "keyed by individual and day (Philox4x32-10), so that runs with one seed are paired."
        )
    elif data["kind"] == "single run":
        yield f"One run of {days} days with seed {data['seed']} under policy “{data['policy']}”."
    elif founders.get("seed") is not None:
        yield f"Seeds were derived from seed {founders['seed']}."


def _climate(data: Mapping[str, Any], days: int) -> str:
    climate = Climate.from_dict(data)
    air = climate.daily(days)
    if climate.kind == "constant":
        return f"constant at {air[0]:g} C"
    kind = climate.kind.replace("_", " ")
    return f"{kind}, daily means of {air.min():.1f} to {air.max():.1f} C"


def _profile(data: Mapping[str, Any]) -> str:
    profile = data.get("profile")
    if not profile:
        return ""
    if profile["name"] == SHIPPED and not profile.get("used"):
        return (
            "Values that are not known were drawn together from the worlds that the published "
            "experiments allow, one world for each run, the same for every policy."
        )
    name = f"the fitted profile “{profile['name']}”"
    if used := profile.get("used"):
        which = f"draw {used}" if isinstance(used, int) else "the draw nearest the centre"
        return f"Biological values are those of {which} of {name}."
    return f"Biological values were drawn from {name}, one joint draw for each replicate."


def _software(data: Mapping[str, Any]) -> str:
    software = data["software"]
    names = [name for name in software if name not in ("colony_sim", "model", "platform")]
    listed = ", ".join(f"{name.capitalize() if name == 'python' else name} {software[name]}"
                       for name in names if software[name] != "not installed")  # fmt: skip
    commit = f", commit {data['commit']}" if data.get("commit") else ""
    return (
        f"Software: {listed}, on {software['platform']}{commit}. To cite: the colony_sim "
        f"contributors, colony_sim, version {software['colony_sim']} ({CITE})."
    )
