"""The cautions that belong beside a task, short; local rules and licensed practice come first."""

from __future__ import annotations

from dataclasses import dataclass

from colony_sim.worklist.task import Kind


@dataclass(frozen=True)
class Caution:
    """A caution: a name, a short form for beside a task, and the whole of it."""

    name: str
    short: str
    text: str


DUST = Caution(
    "Dust",
    "Dust: air the room, wear a fitted mask. Wheezing: stop, see a doctor.",
    "Dust from bran, frass and shed skins causes allergy and asthma in people who work with "
    "insects; people allergic to shrimp often react to mealworms. Keep dust down, air the room, "
    "wear a fitted mask. If you wheeze, stop and see a doctor.",
)
"""Of 15 workers exposed to insects 60 % had symptoms of the upper airways and 30.7 % a positive
skin test to an insect (Ganseman 2023, occupationalasthma.com id 35775); four mealworm breeders
were allergic, and many people allergic to shrimp react to mealworm (Broekman 2017, same site,
id 10378)."""

BLEACH = Caution(
    "Bleach",
    "Bleach: never mix with ammonia or acids. Air the room, wear gloves, rinse well, keep it off "
    "live bins.",
    "Bleach is not needed at every wash; hot water and soap come first. Where you use it, never "
    "mix it with ammonia or acids (many cleaners hold one of them): the gas is poisonous. Make "
    "it up fresh as its label says, air the room, wear gloves, rinse well, let all dry, and keep "
    "it off bins with live insects.",
)
"""Never with ammonia or acids, ventilation, gloves and fresh dilution: Stanford EHS, page on
bleach (ehs.stanford.edu). What the gas does: from memory. Off live bins, rinse and dry, soap
first: common practice, no source."""

OVEN = Caution(
    "Oven",
    "Oven: 60 °C (140 °F) in the middle of the bran for 30 min or more. Never leave it alone: "
    "bran can burn. Or freeze: -18 °C (0 °F) for some days.",
    "Heat: the middle of the bran must reach 60 °C (140 °F) and stay there for 30 minutes or "
    "more; use a probe. That stopped eggs of house-dust mites from hatching; no test with grain "
    "mites was found. Spread the bran thin and never leave the oven alone: bran can catch fire. "
    "Freezing instead: -18 °C (0 °F) for 5 h killed 90 % of the stages of one kind of grain mite, "
    "not all, so hold it for some days; a bag takes hours to freeze through.",
)
"""60 C for at least 30 min stopped the hatching of eggs of dust mites (Mahakittikun 2011,
doi:10.1007/s10493-011-9480-2). -18 C for 5 h kills 90 % of all stages of Tyrophagus (Eaton & Kells
2011, J. Econ. Entomol. 104:1423). Days instead of hours, the core of the bran and the risk of
fire: from memory, no source."""

FEED_LAW = Caution(
    "Feed law",
    "Check your local feed law before you feed insects to animals.",
    "Feeding insects to animals is regulated, differently from place to place. Check your "
    "local feed law before the first harvest.",
)
"""EU: farmed insects are farmed animals (ipiff.org); Regulation (EU) 2021/1372 opened insect
protein to poultry and pigs; rules on live feeding vary."""

INSECT_FEED = Caution(
    "What insects eat",
    "What insects are fed is regulated too (in the EU no catering waste).",
    "What farmed insects may be fed is regulated too. In the EU: feed of plant origin with few "
    "exceptions, no catering waste, no manure. Check your local feed law.",
)
"""EU: plant-origin feed with few exceptions, no catering waste or manure (ipiff.org)."""

ALL = (DUST, BLEACH, OVEN, FEED_LAW, INSECT_FEED)
DEFER = (
    "Where a local rule, the label of a product or a licensed professional says otherwise than "
    "this page, follow them."
)
_BESIDE = {
    Kind.SETUP: (DUST,),
    Kind.TRAY: (),
    Kind.INSPECT: (DUST,),
    Kind.COLLECT: (DUST,),
    Kind.CLEAR: (DUST, BLEACH),
    Kind.MOVE: (DUST,),
    Kind.DEAD: (DUST,),
    Kind.WASH: (BLEACH,),
    Kind.HARVEST: (FEED_LAW, DUST),
    Kind.START_MOISTURE: (INSECT_FEED,),
    Kind.MOISTURE: (INSECT_FEED,),
    Kind.ADD_BRAN: (DUST,),
    Kind.TREAT: (OVEN, DUST),
}


def beside(kind: Kind) -> tuple[Caution, ...]:
    """Cautions that stand beside a task of this kind, the most needed first."""
    return _BESIDE[kind]
