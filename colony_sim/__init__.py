"""Individual-based simulator of a yellow mealworm colony kept in bins."""

__version__ = "0.1.0"

__all__ = ["Comparison", "Experiment", "InputError", "compare", "load", "simulate_policy", "sweep"]


def __getattr__(name: str):
    # Lazy, so that the command line starts at once.
    if name == "InputError":
        from colony_sim.errors import InputError

        return InputError
    if name in __all__:
        from colony_sim import api

        return getattr(api, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
