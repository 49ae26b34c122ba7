"""What a rack holds, and how many signs stand for it: data in, whole numbers to draw out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

FREE, BREEDING, GROWING = "free", "breeding", "growing"
SLOTS = {"eggs": 40, "larvae": 32, "pupae": 10, "adults": 10, "skins": 8}
"""Most signs of a kind in a bin."""
TRAY_SLOTS, BOWL_SLOTS = {"pupae": 22, "adults": 6}, 30
DEEPEST = 46
"""Depth (units) of bran and frass in the bin that holds most."""
SIZES = 6
"""Sizes of larva that are told apart, from hatched to grown."""
GROWN_MG = 120.0
"""Live mass (mg) of a larva from which it is drawn at full size."""


@dataclass(frozen=True)
class BinContent:
    """One bin.

    Attributes
    ----------
    number : int or str
        On its label, large: a number, or a name of a few letters.
    phase : str
        ``free``, ``breeding`` or ``growing``.
    eggs, larvae, pupae, adults : int
    larva_mg : float
        Mean live mass of a larva (mg).
    bran_g, frass_g : float
    skins : int
        Shed skins that can be seen.
    moist : bool
        Whether a piece of vegetable lies in it.
    label : tuple of str
        Up to two lines on its front, beside the number.
    """

    number: int | str
    phase: str
    eggs: int = 0
    larvae: int = 0
    pupae: int = 0
    adults: int = 0
    larva_mg: float = 0.0
    bran_g: float = 0.0
    frass_g: float = 0.0
    skins: int = 0
    moist: bool = False
    label: tuple[str, ...] = ()


@dataclass(frozen=True)
class RackContent:
    """Bins, the raised tray, and the bowl with what was harvested.

    Attributes
    ----------
    bins : sequence of BinContent
    tray : dict of str to int, or None
        ``pupae`` and ``adults`` on the raised tray; None: pupae are left where they are.
    bowl_larvae : int or None
        Larvae in the bowl; None: no bowl is drawn.
    """

    bins: Sequence[BinContent]
    tray: dict[str, int] | None = None
    bowl_larvae: int | None = None


@dataclass(frozen=True)
class Scale:
    """How much one sign stands for, the same in all bins that are set side by side.

    Attributes
    ----------
    each : dict of str to float
        Insects or skins for one sign of a kind, and ``bowl``: larvae for one in the bowl.
    full_g : float
        Bran and frass (g) that fill a bin to the deepest that is drawn.
    """

    each: dict[str, float]
    full_g: float

    @classmethod
    def of(cls, racks: Iterable[RackContent]) -> Scale:
        """Round numbers such that the fullest bin of all just goes in."""
        racks = list(racks)
        bins = [one for rack in racks for one in rack.bins]
        each = {}
        for kind, slots in SLOTS.items():
            most = max((getattr(one, kind) for one in bins), default=0)
            if kind in TRAY_SLOTS:
                tray = max((rack.tray[kind] for rack in racks if rack.tray), default=0)
                most = max(most, tray * slots / TRAY_SLOTS[kind])
            each[kind] = round_up(most / slots)
        bowl = max((rack.bowl_larvae or 0 for rack in racks), default=0)
        each["bowl"] = round_up(bowl / BOWL_SLOTS)
        full = max((one.bran_g + one.frass_g for one in bins), default=0.0)
        return cls(each, round_up(full))

    def wider(self, other: Scale) -> Scale:
        """The scale that holds what either holds: a drawing that goes on never jumps back."""
        each = {kind: max(one, other.each[kind]) for kind, one in self.each.items()}
        return Scale(each, max(self.full_g, other.full_g))

    def signs(self, kind: str, count: float, slots: int) -> int:
        """Signs for a count: none for none, at least one for any."""
        return 0 if count <= 0 else min(slots, max(1, round(count / self.each[kind])))


@dataclass(frozen=True)
class Drawn:
    """A bin as whole numbers: what a drawing shows of it, and all that a script needs to know.

    Attributes
    ----------
    phase : str
    signs : dict of str to int
        By kind, in the order of `SLOTS`.
    size : int
        Size of its larvae, 0 to `SIZES` - 1.
    frass, bran : int
        Depths (units).
    moist : bool
    """

    phase: str
    signs: dict[str, int]
    size: int
    frass: int
    bran: int
    moist: bool


def drawn(content: BinContent, scale: Scale) -> Drawn:
    """The signs and depths that stand for a bin."""
    frass = round(DEEPEST * content.frass_g / scale.full_g)
    depth = round(DEEPEST * (content.bran_g + content.frass_g) / scale.full_g)
    return Drawn(
        phase=content.phase,
        signs={
            kind: scale.signs(kind, getattr(content, kind), slots) for kind, slots in SLOTS.items()
        },
        size=size_of(content.larva_mg),
        frass=min(DEEPEST, frass),
        bran=min(DEEPEST, depth) - min(DEEPEST, frass),
        moist=content.moist,
    )


def numbers(state: Drawn) -> list[int]:
    """A bin for `rack.js`: phase, frass, bran, moist, size, then signs in the order of `SLOTS`."""
    phase = (FREE, BREEDING, GROWING).index(state.phase)
    return [
        phase, state.frass, state.bran, int(state.moist), state.size, *state.signs.values(),
    ]  # fmt: skip


def size_of(larva_mg: float) -> int:
    """Size of a larva, by the cube root of its mass: lengths go with it."""
    share = (max(larva_mg, 0.0) / GROWN_MG) ** (1 / 3)
    return min(SIZES - 1, int(share * SIZES))


def round_up(value: float) -> float:
    """The next number from here up that reads well, such as 1, 1.2, 350 or 4000; at least 1."""
    if value <= 1:
        return 1.0
    size = 10.0 ** math.floor(math.log10(value))
    steps = (1, 1.2, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 10)
    step = next(step for step in steps if step * size >= value * (1 - 1e-12))
    return float(f"{step * size:.3g}")
