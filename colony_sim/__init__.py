"""Individual-based simulator of a yellow mealworm colony kept in bins."""

from typing import Any

__version__ = "0.2.0"

__all__ = [
    "Comparison",
    "Experiment",
    "InputError",
    "RunsFailed",
    "StudyResult",
    "Sweep",
    "breakeven",
    "check_evidence",
    "compare",
    "load",
    "plan",
    "published_worlds",
    "search",
    "sensitivity",
    "simulate_policy",
    "sweep",
]


def __getattr__(name: str) -> Any:
    # Lazy, so that the command line starts at once.
    if name in __all__:
        from colony_sim import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
