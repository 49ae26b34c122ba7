"""Heat of the insects themselves and the temperature it gives a bin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from colony_sim.biology.compiled import kernel
from colony_sim.biology.development import briere

#: Halvings of the interval in which the temperature of a bin is sought; 2^-40 of 40 K.
_HALVINGS = 40


class Heat(NamedTuple):
    """Constants of the heat balance of a bin."""

    own: bool
    fed_w: float  # W per g of feeding larva at the reference temperature
    unfed_w: float  # W per g of a larva that does not feed
    adult_w: float  # W per beetle
    loss_w_per_k: float  # of a bin
    lower_c: float
    upper_c: float
    at_reference: float  # Briere's curve at the reference temperature


def heat(p: Mapping[str, float]) -> Heat:
    """Constants from a full set of parameters; `heat.loss_w_per_m2_k` is per m2 of floor."""
    lower, upper = p["larva.lower_c"], p["larva.upper_c"]
    at_reference = briere(p["heat.reference_c"], lower, upper)
    return Heat(
        own=bool(p["heat.own"]) and at_reference > 0.0,
        fed_w=p["heat.fed_mw_per_g"] / 1000.0,
        unfed_w=p["heat.unfed_mw_per_g"] / 1000.0,
        adult_w=p["heat.adult_mw"] / 1000.0,
        loss_w_per_k=p["heat.loss_w_per_m2_k"] * p["rack.bin_area_dm2"] / 100.0,
        lower_c=lower,
        upper_c=upper,
        at_reference=at_reference,
    )


@kernel()
def bin_temperature(
    h: Heat, room_c: float, larvae_g: float, adults: float, feeding: float
) -> float:
    """Temperature (C) at which a bin gives off as much heat as its insects make.

    Heat follows the larvae's temperature response, so that it dies down at both ends; larvae
    feeding at the share `feeding` of full intake give that share of the fed rate beyond the
    unfed one. Where several temperatures balance, bisection between room and upper limit takes
    one of them.
    """
    if not h.own or room_c >= h.upper_c:
        return room_c
    watts = larvae_g * (h.unfed_w + (h.fed_w - h.unfed_w) * feeding) + adults * h.adult_w
    rise = watts / (h.loss_w_per_k * h.at_reference)
    if rise <= 0.0:
        return room_c
    low, high = room_c, h.upper_c
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if room_c + rise * briere(middle, h.lower_c, h.upper_c) > middle:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
