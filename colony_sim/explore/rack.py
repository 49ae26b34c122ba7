"""The rack as HTML: a box for each bin with its use, its age and what lives in it."""

from __future__ import annotations

from colony_sim.explore.session import STAGES, BinState

_ONE = {"eggs": "egg", "larvae": "larva", "pupae": "pupa", "adults": "adult"}
_AGE = {"breeding": "beetles in for {age} d", "growing": "beetles out for {age} d"}
_DUE = {"breeding": "{due} d to the move", "growing": "at most {due} d left"}


def rack_html(states: list[BinState]) -> str:
    """A list with one item a bin; every number in it is a number of the model."""
    fullest = max((sum(state.stages) for state in states), default=0)
    return f'<ol class="rack">{"".join(_bin(state, fullest) for state in states)}</ol>'


def _bin(state: BinState, fullest: int) -> str:
    head = f"<b>{state.label}</b> <span>{state.phase}</span>"
    if state.age is None:
        return f'<li class="bin free"><p>{head}</p></li>'
    age = _AGE[state.phase].format(age=state.age)
    # Under a rule that looks before it acts there is no date to tell.
    due = "" if state.due is None else _DUE[state.phase].format(due=state.due)
    total = sum(state.stages)
    width = 100 * total / fullest if fullest else 0
    parts = "".join(
        f'<i class="{name}" style="flex-grow:{count}"></i>'
        for name, count in zip(STAGES, state.stages, strict=True)
        if count
    )
    counts = ", ".join(
        f"{count:,} {_ONE[name] if count == 1 else name}"
        for name, count in zip(STAGES, state.stages, strict=True)
        if count
    )
    return (
        f'<li class="bin {state.phase}"><p>{head}</p><p>{age}</p><p class="due">{due}</p>'
        f'<div class="fill" aria-hidden="true"><div style="width:{width:.1f}%">{parts}</div></div>'
        f'<p class="counts">{counts or "no insects"}</p></li>'
    )
