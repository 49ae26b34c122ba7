"""The colony on day 0: founder beetles, and larvae laddered over the rack."""

from __future__ import annotations

import numpy as np

from colony_sim.biology import development
from colony_sim.biology.rates import NG_PER_G
from colony_sim.colony.bins import Phase
from colony_sim.colony.rack import Rack
from colony_sim.population import grown
from colony_sim.population.draws import Block, blocks, uniforms
from colony_sim.population.insects import Flag

#: Founder beetles are between newly fertile and this old (d).
OLDEST_FOUNDER_DAYS = 30
#: Growing bins that founder larvae are laddered over.
LADDER = 10


def _founders(model: Rack, count: int, kind: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Identity, a number for the age (0 to 1) and sex flag of each; `kind` keeps groups apart."""
    ordinal = np.arange(count, dtype=np.uint64)
    seed = model.run_seed
    words = blocks(seed, Block.FOUNDER, ordinal, kind)
    ident = (words[:, 0].astype(np.uint64) << np.uint64(32)) | words[:, 1].astype(np.uint64)
    age, sex = (uniforms(seed, Block.FOUNDER, lane, ordinal, kind) for lane in (2, 3))
    female = sex < model.parameters["adult.female_share"]
    return ident, age, np.where(female, Flag.FEMALE, 0)


def add_breeders(model: Rack, count: int, temperature_c: float) -> None:
    """Fertile founder beetles of mixed age in the first bin, which becomes the breeding bin."""
    home = model.bins[0]
    home.phase, home.date_in = Phase.BREEDING, 0
    model.substrate.bran[home.index] = round(model.parameters["bran.start_g"] * NG_PER_G)
    bring_breeders(model, count, temperature_c, home.index, 0)


def bring_breeders(model: Rack, count: int, temperature_c: float, slot: int, kind: int) -> None:
    """Fertile beetles of mixed age from outside, into the bin with index `slot`.

    Lengths of life follow the Weibull ageing law given survival to the beetle's age; `kind`
    keeps the draws of one group apart from those of others.
    """
    p = model.parameters
    ident, how_old, sex = _founders(model, count, kind)
    age = 1 + np.floor(how_old * OLDEST_FOUNDER_DAYS)
    columns = grown.beetles(p, model.run_seed, ident, age, temperature_c)
    model.insects.append(count, **columns, bin=slot, flags=sex)


def add_larvae(model: Rack, count: int) -> None:
    """Founder larvae spread evenly over the larval clock, a ladder of growing bins.

    Masses are those of ideal growth. Dates on the bins are what the first year's temperatures
    make of a larval period, but no bin starts as one that is due to be cleared. The ladder
    has `LADDER` bins, or fewer where the rack would otherwise have none left free; it does not
    depend on when beetles are moved, so that policies start from the same insects in the same
    bins.
    """
    if count == 0:
        return
    p = model.parameters
    year = model.temperatures[:365]
    pace = development.stage_pace(p, "larva")
    rate = float(np.mean([development.rate(pace, float(t)) for t in year]))
    longest = 0.9 * p["rack.clear_after_days"]
    period = min(1.0 / rate, longest) if rate > 0 else longest
    rungs = max(1, min(LADDER, len(model.bins) - 2))
    for k in range(rungs):
        bin_ = model.bins[1 + k]
        bin_.phase = Phase.GROWING
        bin_.date_out = -round(k * period / rungs)
        bin_.date_in = bin_.date_out - round(period / rungs)
        model.substrate.bran[bin_.index] = round(p["bran.start_g"] * NG_PER_G)
    rows = bring_larvae(model, count, 1, 1, period_days=period)
    place = uniforms(model.run_seed, Block.PLACE, 0, model.insects.ident[rows], 0)
    model.insects.bin[rows] = 1 + np.minimum((place * rungs).astype(np.int64), rungs - 1)
    model.insects.compact()


def bring_larvae(
    model: Rack,
    count: int,
    slot: int,
    kind: int,
    low: float = 0.0,
    high: float = 1.0,
    period_days: float = 0.0,
) -> slice:
    """Larvae spread evenly over the larval clock from `low` to `high`, into one bin.

    Masses are those of ideal growth; the age at the end of the clock is `period_days`. Returns
    their rows.
    """
    p = model.parameters
    ident, _, sex = _founders(model, count, kind)
    place = uniforms(model.run_seed, Block.PLACE, 0, ident, 0)
    place = low + (high - low) * place
    columns = grown.larvae(p, model.run_seed, ident, place)
    age = np.minimum(place * period_days, 65535).astype(np.int64)
    return model.insects.append(count, **columns, age=age, bin=slot, flags=sex)
