"""Experiments that a keeper can do at home, lived by the model's own insects in boxes of its own.

Each is set up as its instructions say, lived day by day by the engine of the colony, and counted as
a keeper counts: whole numbers with an error, a scale that rounds. Sizes are chosen so that one
evening sets a trial up. Minutes and bran are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal, NamedTuple

import numpy as np

from colony_sim.biology.parameters import Parameters
from colony_sim.evidence.box import Boxes
from colony_sim.population.insects import Flag, Stage
from colony_sim.population.ledger import Event

COUNT_ERROR = 0.05
"""Relative standard error of a count of small larvae (common practice, no source)."""
SCALES_G = 0.03
"""Standard error of a kitchen scale that shows 0.1 g."""
DEGREES_K = 0.3
"""Standard error of a cheap logger against another."""
EUR_PER_KG = 0.6
"""Price of bran (common practice, no source)."""
_FLOOR_DM2 = 4.0
_BRAN_G = 250.0
_LITTLE_G = 60.0
"""So little that larvae meet eggs."""
_FIFTY_G = 100.0
_FILLS = 3
"""Of the box of 100 beetles, two weeks each."""
_GROW_DAYS = 35
"""Until hatchlings are large enough to be counted."""


@dataclass(frozen=True)
class Number:
    """One number that a keeper writes down.

    Attributes
    ----------
    box : str
        Which box it is of.
    what : str
        What is counted, weighed or measured.
    most : float
        More there cannot be.
    unit : str
        Of what is weighed, "g", or of a difference of temperatures, "K"; empty for a count.
    """

    box: str
    what: str
    most: float = np.inf
    unit: str = ""

    @property
    def asked(self) -> str:
        """What to write down, with its unit."""
        return f"{self.what}, {_ASKED[self.unit]}"


_ASKED = {"": "counted", "g": "g", "K": "C"}


class Amount(NamedTuple):
    """A quantity in a step: bran and steps of a scale in g, a square floor in dm2, the weight of a
    larva in mg, a hole in mm."""

    of: Literal["bran", "floor", "larva", "hole", "scale"]
    value: float


@dataclass(frozen=True)
class Step:
    """What to do, with a pair of braces for each amount, in order."""

    text: str
    amounts: tuple[Amount, ...] = ()


@dataclass(frozen=True)
class Trial:
    """An experiment at home.

    Attributes
    ----------
    name : str
        For the command line.
    label : str
        What it is, in a few words.
    numbers : tuple of Number
        What is written down.
    days : int
        From the start to the last number.
    minutes : float
        Work of the keeper, all together.
    bran_g : float
        Bran that it takes.
    steps : tuple of Step
        What to do, in order.
    live : callable
        ``live(parameters, seed, room_c) -> float64 array``: the numbers without errors of counting.
    key : str
        Hash of what `live` depends on besides its arguments and this file.
    """

    name: str
    label: str
    numbers: tuple[Number, ...]
    days: int
    minutes: float
    bran_g: float
    steps: tuple[Step, ...]
    live: Callable[[Parameters, int, float], np.ndarray]
    key: str = ""

    @property
    def euro(self) -> float:
        """Price of the bran."""
        return self.bran_g / 1000.0 * EUR_PER_KG

    def summary(self, numbers: np.ndarray) -> np.ndarray:
        """What trials are compared by (... x summaries, from ... x numbers).

        The logarithm of a single number; of two, those of their ratio and of their product. 1 is
        added to each number, so that nothing found has a place.
        """
        logs = np.log1p(np.asarray(numbers, float))
        if len(self.numbers) == 1:
            return logs
        return np.stack([logs[..., 0] - logs[..., 1], logs.sum(axis=-1)], axis=-1)

    def written(self, seen: np.ndarray, chance: np.random.Generator) -> np.ndarray:
        """What a keeper would write down of numbers seen."""
        values = []
        for number, value in zip(self.numbers, seen, strict=True):
            if number.unit == "g":
                values.append(max(0.0, round(value + SCALES_G * chance.standard_normal(), 1)))
            elif number.unit == "K":
                values.append(max(0.0, round(value + DEGREES_K * chance.standard_normal(), 1)))
            else:
                counted = float(round(value * np.exp(COUNT_ERROR * chance.standard_normal())))
                values.append(min(counted, number.most))
        return np.array(values)


def _box(p: Parameters, seed: int, bran_g: float = _BRAN_G) -> Boxes:
    return Boxes(p, seed, area_dm2=_FLOOR_DM2, bran_g=bran_g, renewed=False)


def _larvae(boxes: Boxes) -> float:
    return float((boxes.insects.view("stage") == Stage.LARVA).sum())


def _laid(p: Parameters, seed: int, room_c: float, beetles: int, days: int) -> float:
    """Larvae that grow of what beetles lay in a box in some days."""
    boxes = _box(p, seed)
    boxes.beetles(beetles, room_c, age=14.0)
    boxes.live(room_c, days)
    boxes.remove(Stage.ADULT)
    boxes.live(room_c, _GROW_DAYS)
    return _larvae(boxes)


def of_each_box(seed: int) -> tuple[int, int]:
    """Seeds of two boxes that stand side by side: nothing but the colony is common to them."""
    first, second = np.random.SeedSequence(seed).generate_state(2, np.uint64)
    return int(first), int(second)


def _grid(days: int, p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """Beetles without and with a grid through which eggs fall."""
    safe = p.with_values({"predation.adult_egg": 0.0}, where="trial")
    boxes = zip((p, safe), of_each_box(seed), strict=True)
    return np.array([_laid(values, own, room_c, 60, days) for values, own in boxes])


def _larvae_on_eggs(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """100 counted eggs, with and without larvae of the last brood for three days."""
    found = []
    for older, own in zip((300, 0), of_each_box(seed), strict=True):
        boxes = _box(p, own, _LITTLE_G)
        boxes.eggs(100, room_c)
        if older:
            boxes.larvae(older, mass_mg=60.0)
            mine = boxes.insects.ident[boxes.insects.rows(Stage.LARVA)].copy()
            boxes.live(room_c, 3)
            _sieve_out(boxes, mine)
        else:
            boxes.live(room_c, 3)
        boxes.live(room_c, _GROW_DAYS)
        found.append(_larvae(boxes))
    return np.array(found)


def _sieve_out(boxes: Boxes, idents: np.ndarray) -> None:
    """Take some insects away, whatever they have become."""
    store = boxes.insects
    there = np.isin(store.view("ident"), idents)
    store.view("stage")[there] = Stage.DEAD
    store.compact()
    boxes.count()


def _pupae(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """Pupae left among beetles and larvae, and set apart: beetles that emerge whole."""
    found = []
    for left, own in zip((True, False), of_each_box(seed), strict=True):
        boxes = _box(p, own)
        boxes.pupae(100)
        if left:
            boxes.beetles(100, room_c, age=14.0)
            boxes.larvae(300, mass_mg=30.0)
        boxes.live(room_c, 21)
        store = boxes.insects
        whole = (store.view("stage") == Stage.ADULT) & (store.view("flags") & Flag.INJURED == 0)
        found.append(max(0.0, float(whole.sum()) - 100.0 * left))
    return np.array(found)


def _laying(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """What 60 beetles lay in three days."""
    return np.array([_laid(p, seed, room_c, 60, 3)])


def _sample(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """Weight of 50 larvae of a bin twelve weeks after the beetles left it."""
    boxes = Boxes(p, seed, area_dm2=12.0, bran_g=1500.0)
    boxes.eggs(3000, room_c)
    boxes.live(room_c, 84)
    masses = boxes.masses(Stage.LARVA)
    if not masses.size:
        return np.array([0.0])
    some = np.random.default_rng([seed, 41]).choice(masses, min(50, masses.size), replace=False)
    return np.array([float(some.sum()) / 1000.0])


def _fifty(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """Of 50 larvae of 100 mg, set apart in bran: how many are pupae or beetles after five weeks."""
    boxes = _box(p, seed, _FIFTY_G)
    boxes.larvae(50, mass_mg=100.0)
    record = boxes.live(room_c, 35)
    return np.array([float(record.total(Event.PUPA_FORMED))])


def _onto_fresh_bran(boxes: Boxes) -> None:
    """Sieve the beetles onto new bran; eggs and larvae go with the old."""
    for young in (Stage.EGG, Stage.LARVA):
        boxes.remove(young)
    boxes.substrate.bran[:-1] = boxes.bran
    boxes.substrate.frass[:] = 0


def _lives(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """Of 100 young beetles: how many live after six weeks."""
    boxes = _box(p, seed)
    boxes.beetles(100, room_c, age=3.0)
    for fill in range(_FILLS):
        if fill:
            _onto_fresh_bran(boxes)
        boxes.live(room_c, 14)
    return np.array([float((boxes.insects.view("stage") == Stage.ADULT).sum())])


def _warmth(p: Parameters, seed: int, room_c: float) -> np.ndarray:
    """By how much a full growing bin is warmer than the room."""
    boxes = Boxes(p, seed, area_dm2=12.0, bran_g=1500.0)
    boxes.larvae(3000, mass_mg=60.0)
    seen = boxes.live(room_c, 3, each_day=lambda b: float(b.substrate.temperature[0]) - room_c).seen
    return np.array([max(0.0, float(np.mean(seen)))])


_SMALL = "small larvae"
_FILLED = (Amount("bran", _BRAN_G), Amount("floor", _FLOOR_DM2))
_GRID = (
    Step(
        "In one, lay a grid with holes of {} on the bran, so that eggs fall through and beetles "
        "stay above; in the other none.", (Amount("hole", 2.0),),
    ),
    Step("Put 60 beetles in each and note the day. Renew the carrot when it dries."),
)  # fmt: skip


def _grid_trial(days: int, minutes: float) -> Trial:
    span = f"{days} day{'s' * (days > 1)}"
    steps = (
        Step("Put {} of bran in each of two boxes of {}, a slice of carrot on top.", _FILLED),
        *_GRID,
        Step(f"Take all beetles out of both after {span}, and the grid as well."),
        Step(
            "Wait five weeks, with a slice of carrot once skins show. Sieve and count the small "
            "larvae of each box."
        ),
    )
    return Trial(
        f"grid-{days}", f"beetles with and without a grid, {span}",
        (Number("without grid", _SMALL), Number("with grid", _SMALL)), days + _GROW_DAYS, minutes,
        2 * _BRAN_G, steps, partial(_grid, days),
    )  # fmt: skip


TRIALS = (
    _grid_trial(1, 75.0),
    _grid_trial(7, 90.0),
    _grid_trial(14, 100.0),
    Trial(
        "larvae-on-eggs", "eggs with and without larvae",
        (Number("with larvae", _SMALL, 100), Number("without larvae", _SMALL, 100)),
        3 + _GROW_DAYS, 90.0, 2 * _LITTLE_G,
        (
            Step(
                "Sieve eggs out of fresh bran and count 100 into each of two boxes of {} with {} "
                "of bran.", (Amount("floor", _FLOOR_DM2), Amount("bran", _LITTLE_G)),
            ),
            Step(
                "Put 300 larvae of some {} (half grown) into one of the boxes, none into the "
                "other.", (Amount("larva", 60.0),),
            ),
            Step("After three days sieve these larvae out again; the eggs fall through."),
            Step("Five weeks later count the small larvae of each box."),
        ),
        _larvae_on_eggs,
    ),
    Trial(
        "split-bin", "half of the pupae apart, half left",
        tuple(Number(box, "whole beetles", 100) for box in ("left", "apart")),
        21, 40.0, 2 * _BRAN_G,
        (
            Step("Put {} of bran in each of two boxes of {}.", _FILLED),
            Step("Pick 200 fresh pupae. Put 100 in one box by themselves."),
            Step(
                "Put the other 100 in the second box, with 100 beetles, 300 larvae of some {} and "
                "a slice of carrot.", (Amount("larva", 30.0),),
            ),
            Step(
                "After three weeks count the whole living beetles of each box; in the second take "
                "off the 100 that you put in."
            ),
        ),
        _pupae,
    ),
    Trial(
        "laying", "what 60 beetles lay in three days", (Number("box", _SMALL),),
        3 + _GROW_DAYS, 45.0, _BRAN_G,
        (
            Step("Put {} of bran and 60 beetles in a box of {}, with a slice of carrot.", _FILLED),
            Step("Take all beetles out after three days."),
            Step("Five weeks later count the small larvae."),
        ),
        _laying,
    ),
    Trial(
        "sample", "50 larvae weighed", (Number("bin", "weight of 50 larvae", unit="g"),),
        84, 5.0, 0.0,
        (
            Step(
                "Twelve weeks after the beetles left a bin take 50 larvae from its middle, "
                "unchosen."
            ),
            Step("Weigh them together on a scale that shows {}.", (Amount("scale", 0.1),)),
        ),
        _sample,
    ),
    Trial(
        "fifty", "50 large larvae set apart, their pupae counted",
        (Number("box", "pupae and beetles", 50),), 35, 15.0, _FIFTY_G,
        (
            Step(
                "Put 50 larvae of some {} on {} of bran in a box of {}, with a slice of carrot.",
                (Amount("larva", 100.0), Amount("bran", _FIFTY_G), Amount("floor", _FLOOR_DM2)),
            ),
            Step("After five weeks count pupae and beetles, those taken out before as well."),
        ),
        _fifty,
    ),
    Trial(
        "beetle-lives", "100 young beetles counted after six weeks",
        (Number("box", "living beetles", 100),), 14 * _FILLS, 40.0, _FILLS * _BRAN_G,
        (
            Step(
                "Put 100 beetles that have just turned black on {} of bran in a box of {}, with a "
                "slice of carrot.", _FILLED,
            ),
            Step(
                "After two and after four weeks sieve the beetles onto {} of fresh bran; take the "
                "old bran with its eggs away. After six weeks count those that live.",
                _FILLED[:1],
            ),
        ),
        _lives,
    ),
    Trial(
        "logger", "a logger in a full bin and one beside it",
        (Number("bin", "warmer than the room", unit="K"),), 3, 10.0, 0.0,
        (
            Step("Put one logger into the middle of a full growing bin and one beside the rack."),
            Step("After three days take the mean of both; write down the difference."),
        ),
        _warmth,
    ),
)  # fmt: skip
"""All trials."""
