"""Shared helpers: colonies with every process switched off but the one under test."""

from __future__ import annotations

import numpy as np
import pandas as pd
import warm

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import day_rates
from colony_sim.colony.bins import Phase
from colony_sim.colony.model import Colony
from colony_sim.population import grown
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Balance


def pytest_configure(config):
    """Workers begin with halves of the tests in order, so that most fixtures are made once."""
    if config.getoption("dist", "no") == "load":
        config.option.dist = "worksteal"
    if warm.POSSIBLE:
        warm.workers_here()


#: Values that closed forms in the tests name as numbers, whatever the parameter file says.
FIXED = {
    "egg.mass_mg": 0.45,
    "egg.duration_days": 7.0,
    "egg.reference_c": 27.0,
    "egg.lower_c": 8.0,
    "egg.upper_c": 37.4,
    "egg.viability_full_c": 27.0,
    "egg.viability_none_c": 33.3,
    "larva.duration_days": 110.8,
    "larva.reference_c": 30.0,
    "larva.lower_c": 6.0,
    "larva.upper_c": 37.4,
    "larva.hatchling_mass_mg": 0.3,
    "larva.mature_mass_mg": 150.0,
    "larva.asymptotic_mass_mg": 300.0,
    "larva.critical_mass_mg": 70.0,
    "larva.young_below_mg": 1.0,
    "larva.molt_mass_ratio": 1.58,
    "pupa.duration_days": 7.5,
    "pupa.reference_c": 27.0,
    "pupa.lower_c": 10.0,
    "pupa.upper_c": 39.0,
    "pupa.mass_share": 0.93,
    "adult.mass_share": 0.75,
    "adult.feed_share_per_day": 0.04,
    "adult.life_reference_c": 25.0,
    "adult.teneral_days": 3.0,
    "adult.teneral_reference_c": 28.0,
    "fecundity.peak_eggs_per_day": 6.0,
    "fecundity.full_from_days": 13.0,
    "fecundity.full_until_days": 29.0,
    "fecundity.decline_per_day": 0.02,
    "fecundity.lower_c": 14.0,
    "fecundity.full_from_c": 24.0,
    "fecundity.full_until_c": 27.0,
    "fecundity.upper_c": 32.7,
    "growth.law": "logistic",
    "growth.crowding": "per_volume",
    "growth.usable_depth_cm": 10.0,
    "growth.bran_days": 2.0,
    "feed.per_gain": 2.5,
    "feed.maintenance_per_day": 0.02,
    "feed.frass_share": 0.5,
    "feed.water_need_per_day": 0.02,
    "feed.evaporation_share": 0.4,
    "feed.bran_cm3_per_g": 4.3,
    "feed.frass_cm3_per_g": 2.0,
    "predation.larva_from_mg": 10.0,
    "moisture.visible_from_mg": 5.0,
    "rack.bin_area_dm2": 12.0,
}
#: Nothing dies, nothing is limited, nobody does any handling; beetles still lay, without males.
#: Heat and cold kill all beyond the lethal limits and nobody within.
QUIET = {
    **FIXED,
    "egg.viable_share": 1.0,
    "egg.lifetime_days": 1000.0,
    "egg.lifetime_shape": 50.0,
    "survival.heat_scale_k": 0.05,
    "survival.cold_scale_k": 0.05,
    "larva.contact_slope": 0.0,
    "heat.own": False,
    "fecundity.needs_male": False,
    "predation.refuge": "none",
    "predation.thirst_rise": 0.0,
    "moisture.breeding_g_per_day": 0.0,
    "larva.hazard_per_day": 0.0,
    "larva.young_hazard_per_day": 0.0,
    "larva.starvation_hazard_per_day": 0.0,
    "pupa.hazard_per_day": 0.0,
    "adult.hazard_per_day": 0.0,
    "adult.life_mean_days": 1000.0,
    "adult.life_shape": 20.0,
    "adult.life_q10": 1.0,
    "fecundity.density_slope": 0.0,
    "fecundity.dry_share": 1.0,
    "growth.dry_share": 1.0,
    "growth.crowding_slope": 0.0,
    "growth.crowding_slope_area": 0.0,
    "predation.adult_egg": 0.0,
    "predation.adult_pupa": 0.0,
    "predation.larva_egg": 0.0,
    "predation.larva_pupa": 0.0,
    "rotation.interval_days": 730,
    "rotation.collect_days": 730,
    "rotation.missed_share": 0.0,
    "rotation.injured_share": 0.0,
    "rotation.killed_share": 0.0,
    "rotation.eggs_lost_share": 0.0,
    "rotation.most_breeders_per_bin": 100_000,
    "pupae.isolate": False,
    "pupae.killed_share": 0.0,
    "harvest.fraction": 0.0,
    "moisture.start": "never",
    "bran.start_g": 1_000_000.0,
    "bran.supply": "fixed",
    "bran.top_up_g": 0.0,
    "rack.bins": 3,
    "rack.clear_after_days": 5000,
    "rack.clear_below_insects": 0,
}


def stage_rate(parameters: Parameters, stage: str, temperature_c: float) -> float:
    """Development per day of a stage, or of the teneral period."""
    return getattr(day_rates(parameters, temperature_c), stage)


def make_colony(
    values: dict | None = None,
    *,
    temperature_c: float | np.ndarray = 27.0,
    breeders: int = 0,
    larvae: int = 0,
    seed: int = 1,
    days: int = 1000,
    record_bins: bool = False,
) -> Colony:
    """A colony at one temperature (or a daily series), `values` over the defaults."""
    parameters = Parameters.default().with_values(values or {}, where="test")
    return Colony(
        parameters, np.broadcast_to(temperature_c, days), seed, breeders, larvae, record_bins
    )


def quiet_colony(values: dict | None = None, **options) -> Colony:
    """A colony in which only what `values` turns on happens; its second bin is growing."""
    model = make_colony({**QUIET, **(values or {})}, **options)
    growing = model.bins[1]
    growing.phase, growing.date_in, growing.date_out = Phase.GROWING, 0, 0
    model.substrate.bran[1] = model.substrate.bran[0]
    reopen_books(model)
    return model


def reopen_books(model: Colony) -> None:
    """Census and balances anew, after a test has changed the insects or the stocks."""
    model.table = model.take_census()
    model.balance = Balance(model.insects, *model._stock_totals())


def put(model: Colony, stage: Stage, count: int, *, bin_index: int = 1, first: int = 1, **columns):
    """Add `count` insects of identities `first`, `first` + 1, ...; return their slice."""
    ident = np.arange(first, first + count, dtype=np.uint64)
    tolerance = grown.tolerances(model.run_seed, stage, ident)
    given = {"factor": 1.0, "size": 1.0, "tolerance": tolerance, **columns}
    rows = model.insects.append(count, ident=ident, stage=stage, bin=bin_index, **given)
    reopen_books(model)
    return rows


def drop(model: Colony, stage: Stage) -> None:
    """Take every insect of a stage out, off the books."""
    model.insects.stage[model.insects.rows(stage)] = Stage.DEAD
    model.insects.compact()
    reopen_books(model)


def gaps(model: Colony) -> dict[str, int]:
    """Ledger errors that are not zero."""
    return {name: gap for name, gap in model.balance_errors().items() if gap}


def live(model: Colony, days: int) -> pd.DataFrame:
    """Step some days and return the daily series so far; the ledgers must close each day."""
    for _ in range(days):
        model.step()
        assert gaps(model) == {}, f"day {model.day}"
    return model.datacollector.get_model_vars_dataframe()


def z_binomial(successes: float, trials: int, share: float) -> float:
    """Standard score of a binomial count; 0 when it is certain and right."""
    spread = np.sqrt(trials * share * (1.0 - share))
    gap = successes - trials * share
    if spread == 0.0:
        return 0.0 if gap == 0 else np.inf
    return float(gap / spread)
