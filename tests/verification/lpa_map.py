"""The larva-pupa-adult map, its attractors and Lyapunov exponent.

Dennis, Desharnais, Cushing and Costantino 1995, Ecol. Monogr. 65:261; Costantino et al. 1997,
Science 275:389. One step is two weeks:

    L' = b A exp(-cel L - cea A);  P' = L (1 - mul);  A' = P exp(-cpa A) + A (1 - mua).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np


@dataclass(frozen=True)
class LpaSet:
    """Parameters of the map and a start (individuals in one unit of habitat)."""

    b: float = 6.598
    cel: float = 0.01209
    cea: float = 0.01155
    cpa: float = 0.0047
    mul: float = 0.2055
    mua: float = 0.007629
    L: float = 250.0
    P: float = 5.0
    A: float = 100.0

    @property
    def start(self) -> np.ndarray:
        """(L, P, A)."""
        return np.array([self.L, self.P, self.A])

    def step(self, state: np.ndarray) -> np.ndarray:
        """Next state; `state` has shape (..., 3)."""
        larvae, pupae, adults = np.moveaxis(np.asarray(state, float), -1, 0)
        return np.stack(
            [
                self.b * adults * np.exp(-self.cel * larvae - self.cea * adults),
                larvae * (1.0 - self.mul),
                pupae * np.exp(-self.cpa * adults) + adults * (1.0 - self.mua),
            ],
            axis=-1,
        )

    def jacobian(self, state: np.ndarray) -> np.ndarray:
        """Matrix of partial derivatives at a state (3, 3)."""
        larvae, pupae, adults = state
        hatch = math.exp(-self.cel * larvae - self.cea * adults)
        emerge = math.exp(-self.cpa * adults)
        return np.array(
            [
                [
                    -self.cel * self.b * adults * hatch,
                    0.0,
                    self.b * (1.0 - self.cea * adults) * hatch,
                ],
                [1.0 - self.mul, 0.0, 0.0],
                [0.0, emerge, 1.0 - self.mua - self.cpa * pupae * emerge],
            ]
        )

    def variance(self, state: np.ndarray) -> np.ndarray:
        """Variance of one step with Poisson eggs and binomial survival (3,)."""
        larvae, pupae, adults = np.asarray(state, float)
        emerge = math.exp(-self.cpa * adults)
        return np.array(
            [
                self.step(state)[0],
                larvae * self.mul * (1.0 - self.mul),
                pupae * emerge * (1.0 - emerge) + adults * self.mua * (1.0 - self.mua),
            ]
        )

    def orbit(self, steps: int, start: np.ndarray | None = None) -> np.ndarray:
        """States 0 to `steps` (steps + 1, 3)."""
        states = np.empty((steps + 1, 3))
        states[0] = self.start if start is None else start
        for k in range(steps):
            states[k + 1] = self.step(states[k])
        return states

    def lyapunov(self, states: np.ndarray) -> float:
        """Mean growth per step of a small difference along a series of states (steps, 3).

        Given an orbit of the map this is its largest Lyapunov exponent; given a series with
        chance in it, the stochastic exponent (Dennis et al. 2003, J. Anim. Ecol. 72:2).
        """
        vector = np.array([1.0, 1.0, 1.0]) / math.sqrt(3.0)
        total = 0.0
        for state in states:
            vector = self.jacobian(state) @ vector
            size = float(np.linalg.norm(vector))
            total += math.log(size)
            vector /= size
        return total / len(states)

    def period(self, longest: int = 40, settle: int = 20000) -> int:
        """Length of the cycle the start leads to, 0 if none up to `longest`."""
        end = self.orbit(settle)[-1]
        tail = self.orbit(longest, end)
        for n in range(1, longest + 1):
            if np.allclose(tail[n], end, rtol=1e-6, atol=1e-9):
                return n
        return 0


S1 = LpaSet()
S1_HIGH = replace(S1, mua=0.96)
S2 = LpaSet(b=10.67, cel=0.01647, cea=0.01313, cpa=0.35, mul=0.1955, mua=0.96)
#: Control A of the Desharnais and Costantino 1980 series, from public code.
CONTROL_A = LpaSet(11.67, 0.0093, 0.0110, 0.0178, 0.5129, 0.1108, 75.0, 35.0, 60.0)

#: What the engine's own parameters can hold.
_LIMITS = {"b": 100.0, "cel": 2.0, "cea": 10.0, "cpa": 10.0, "mul": 1.0, "mua": 1.0}


def parse(text: str) -> LpaSet:
    """A set from "b=6.598,cel=0.01209,..."; what is not named is that of Costantino 1997.

    Raises
    ------
    ValueError
        Unknown name, not a number, or out of range.
    """
    names = [f.name for f in fields(LpaSet)]
    values: dict[str, float] = {}
    for part in text.split(","):
        name, equals, number = part.partition("=")
        name = name.strip()
        if name not in names or not equals:
            raise ValueError(f"{part.strip()!r} is not NAME=NUMBER with NAME one of {names}")
        try:
            value = float(number)
        except ValueError:
            raise ValueError(f"{name}: {number.strip()!r} is not a number") from None
        if not 0.0 <= value <= _LIMITS.get(name, 5000.0):
            raise ValueError(f"{name}: {number} is not from 0 to {_LIMITS.get(name, 5000.0):g}")
        values[name] = value
    return replace(S1, **values)
