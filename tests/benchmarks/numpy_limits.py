"""Temperature of the bins and what it and the morning's limits leave of rates and growth.

The first part of `numpy_step`: whole arrays, one entry a bin or a larva.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from colony_sim.biology.growth import Crowding, Law
from colony_sim.biology.rates import NG_PER_G
from colony_sim.biology.substrate import Refuge
from colony_sim.population import census

_WORDS = 2.0**32


def _briere(t, lower, upper):
    rise = t * (t - lower) * np.sqrt(np.maximum(0.0, upper - t))
    return np.where((t > lower) & (t < upper), np.maximum(0.0, rise), 0.0)


def _rate(pace, t):
    return pace.scale * _briere(t, pace.lower_c, pace.upper_c)


def _thermal(of, t):
    heat = np.exp(np.minimum(700.0, (t - of.high_c) / of.heat_scale_k))
    cold = np.exp(np.minimum(700.0, (of.low_c - t) / of.cold_scale_k))
    return np.minimum(700.0, heat + cold)


def _bin_temperatures(h, room_c, grams, adults, feeding) -> np.ndarray:
    """Temperature of each bin (C): bisection of the heat balance, all bins at once."""
    if not h.own or room_c >= h.upper_c:
        return np.full(grams.size, room_c)
    watts = grams * (h.unfed_w + (h.fed_w - h.unfed_w) * feeding) + adults * h.adult_w
    rise = watts / (h.loss_w_per_k * h.at_reference)
    low, high = np.full(grams.size, room_c), np.full(grams.size, h.upper_c)
    for _ in range(40):
        middle = 0.5 * (low + high)
        warmer = room_c + rise * _briere(middle, h.lower_c, h.upper_c) > middle
        low, high = np.where(warmer, middle, low), np.where(warmer, high, middle)
    return np.where(rise > 0.0, 0.5 * (low + high), room_c)


def warm(c, room_c, s, table) -> SimpleNamespace:
    """Rates of the day, one of each a bin."""
    t = np.full(table.shape[0], room_c)
    grams, adults = table[:-1, census.LARVA_MASS] / NG_PER_G, table[:-1, census.ADULTS]
    t[:-1] = _bin_temperatures(c.heat, room_c, grams, adults, s.feeding[:-1])
    s.temperature[:] = t
    of, w = c.temper, c.temper.warmth
    larva = _rate(of.larva, t)
    rise = (t - w.lower_c) / (w.full_from_c - w.lower_c)
    fall = (w.upper_c - t) / (w.upper_c - w.full_until_c)
    span = w.viability_none_c - w.viability_full_c
    return SimpleNamespace(
        egg=_rate(of.egg, t),
        larva=larva,
        larva_relative=larva * of.larva_days,
        pupa=_rate(of.pupa, t),
        teneral=_rate(of.teneral, t),
        ageing=of.life_q10 ** ((t - of.life_reference_c) / 10.0) / of.life_scale,
        egg_own=_thermal(of.egg_bears, t)[:, None] + c.egg_wear,
        larva_thermal=_thermal(of.larva_bears, t),
        pupa_thermal=_thermal(of.pupa_bears, t),
        adult_thermal=_thermal(of.adult_bears, t),
        laying=np.maximum(0.0, np.minimum(1.0, np.minimum(rise, fall))),
        viability=w.viable_share * np.clip((w.viability_none_c - t) / span, 0.0, 1.0),
    )


def morning(c, d, s, table) -> SimpleNamespace:
    need = c.water_need * (table[:, census.LARVA_MASS] + table[:, census.ADULT_MASS])
    with np.errstate(divide="ignore", invalid="ignore"):
        met = np.where(need > 0, np.minimum(1.0, s.moisture / need), s.moisture > 0)
    s.wetness[:] = met
    grams, adults = table[:, census.LARVA_MASS] / NG_PER_G, table[:, census.ADULTS] / c.area_dm2
    cm3 = (s.bran / NG_PER_G) * c.bran_cm3 + (s.frass / NG_PER_G) * c.frass_cm3
    cm3 = np.maximum(40.0, cm3)
    floor_cm2 = 100.0 * c.area_dm2
    room = np.minimum(cm3, floor_cm2 * c.usable_depth_cm)
    per_volume = c.crowding == Crowding.PER_VOLUME
    density = grams * 1000.0 / room if per_volume else grams / c.area_dm2
    s.crowding[:] = np.exp(-c.crowding_slope * density)
    limit = (c.growth_dry_share + (1.0 - c.growth_dry_share) * met) * s.crowding
    s.feeding[:] = limit
    way = c.growth_exponent * d.larva * limit
    share = np.expm1(way) if c.law == Law.EXPONENTIAL else 1.0 - np.exp(-way)
    mean_depth = c.laying_depth_cm * (1.0 + c.depth_rise * adults)
    hidden = np.where(cm3 / floor_cm2 > c.reach_cm, np.exp(-c.reach_cm / mean_depth), 0.0)
    return SimpleNamespace(
        growth_share=share.astype(np.float32),
        clock=d.larva * (1.0 - c.clock_sensitivity * (1.0 - limit)),
        ripe_at=(np.exp(-c.contact_slope * table[:, census.LARVAE] / room) * _WORDS).astype(
            np.uint64
        ),
        hidden=hidden if c.refuge == Refuge.DEPTH else np.zeros(cm3.size),
        feed=np.float32(c.per_gain),
        keep=(c.maintenance * d.larva_relative).astype(np.float32),
    )


def gain(law, mass, top, own):
    """Growth (float32, ng) from masses (uint32), asymptotes and shares of the way (float32)."""
    one, m = np.float32(1), mass.astype(np.float32)
    if law == Law.EXPONENTIAL:
        return np.maximum(np.float32(0), np.minimum(own * m, top - m))
    own = np.minimum(one, own)
    if law == Law.WEST_BROWN_ENQUIST:
        root = np.sqrt(np.sqrt(m))
        far = np.sqrt(np.sqrt(top)) - root
        near = root + own * far
        near *= near
        gain = near * near - m
    elif law == Law.GOMPERTZ:
        m = mass.astype(np.float64)
        far = np.log(top.astype(np.float64) / m)
        gain = (m * np.expm1(own.astype(np.float64) * far)).astype(np.float32)
    elif law == Law.LOGISTIC:
        far = one / m - one / top
        gain = one / (one / m - own * far) - m
    else:
        u, end = one / m, one / top
        u, end = u * u, end * end
        far = u - end
        gain = one / np.sqrt(u - own * far) - m
    return np.where((far > 0) & (gain > 0), gain, np.float32(0))
