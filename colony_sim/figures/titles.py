"""Titles whose policy names are cut no more than the width of a slide asks for."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from colony_sim.figures import style
from colony_sim.words.labels import shortened

_TRIES = ((60, 2), (40, 2), (30, 2), (24, 2), (24, 3), (16, 3), (60, 6))
"""Characters of a name and lines of the title, in the order in which they are tried."""


def fitting(words: Callable[[int], str], names: Sequence[str]) -> str:
    """The title with the policy names cut so that it goes on two lines, or on three.

    Parameters
    ----------
    words : callable
        Gives the title with names of at most so many characters.
    names : sequence of str
        The policies; names that would be alike when cut are not cut that far.
    """
    with style.theme():
        figure = style.new_figure()
        for most, lines in _TRIES:
            if len({shortened(name, most) for name in names}) < len(names):
                continue
            text = words(most)
            if style.fitted(figure, text, style.WIDTH - 0.8, lines) is not None:
                return text
    return words(_TRIES[-1][0])
