import math

import numpy as np
import pandas as pd
import pytest

from colony_sim.measuring.catalogue import catalogue, run_measures

STEADY = (2, 6)

# Two days of warm-up with absurd values, then four days worked by hand.
COLUMNS = {
    "harvest_g": [9e9, 9e9, 0, 10, 0, 30],
    "harvest_larvae": [9e9, 9e9, 0, 100, 0, 260],
    "bran_given_g": [9e9, 9e9, 100, 0, 60, 0],
    "adults": [9e9, 9e9, 100, 90, 60, 150],
    "adults_died_age": [9e9, 9e9, 1, 1, 1, 1],
    "adults_died_background": [9e9, 9e9, 0, 2, 0, 0],
    "adults_died_handling": [9e9, 9e9, 0, 0, 0, 6],
    "adults_removed_surplus": [9e9, 9e9, 0, 20, 0, 0],
    "adults_emerged": [9e9, 9e9, 5, 0, 5, 0],
    "eggs_laid": [9e9, 9e9, 40, 30, 20, 10],
    "eggs_hatched": [9e9, 9e9, 20, 20, 0, 0],
    "eggs_eaten_adults": [9e9, 9e9, 10, 0, 0, 6],
    "eggs_eaten_larvae": [9e9, 9e9, 0, 4, 0, 0],
    "eggs_lost_handling": [9e9, 9e9, 0, 10, 0, 0],
    "eggs_unhatched": [9e9, 9e9, 0, 0, 10, 0],
    "pupae_formed": [9e9, 9e9, 8, 0, 0, 4],
    "pupae_eaten_adults": [9e9, 9e9, 1, 0, 0, 0],
    "pupae_eaten_larvae": [9e9, 9e9, 0, 2, 0, 0],
    "pupae_injured": [9e9, 9e9, 0, 0, 2, 0],
    "pupae_died": [9e9, 9e9, 0, 0, 0, 4],
    "pupae_lost_handling": [9e9, 9e9, 1, 0, 0, 0],
    "breeders": [9e9, 9e9, 80, 70, 60, 50],
    "work_minutes": [9e9, 9e9, 0, 120, 0, 0],
    "bins_in_use": [9e9, 9e9, 4, 4, 6, 4],
    "larvae_g": [9e9, 9e9, 100, 200, 300, 400],
}
EXPECTED = {
    "yield_g_per_day": 10,
    "yield_larvae_per_day": 90,
    "yield_g_per_kg_bran": 250,
    "adult_losses_per_100_per_day": 3,
    "adult_losses_age_per_100_per_day": 1,
    "adult_losses_background_per_100_per_day": 0.5,
    "adult_losses_handling_per_100_per_day": 1.5,
    "adult_surplus_removed_per_100_per_day": 5,
    "eggs_laid_per_day": 25,
    "eggs_eaten_share": 0.25,
    "eggs_eaten_by_adults_share": 0.2,
    "eggs_eaten_by_larvae_share": 0.05,
    "pupae_formed_per_day": 3,
    "pupae_eaten_or_injured_share": 0.25,
    "breeders_alive": 65,
    "work_hours_per_week": 3.5,
    "bins_in_use": 4.5,
    "bins_in_use_peak": 6,
    "larvae_standing_g": 250,
}


def daily(first_day=1):
    return pd.DataFrame({"day": np.arange(first_day, first_day + 6)} | COLUMNS)


@pytest.mark.parametrize("first_day", [0, 1])
def test_hand_worked_window(first_day):
    found = run_measures(daily(first_day), *STEADY)
    assert found == pytest.approx(EXPECTED)
    assert all(type(v) is float for v in found.values())


def test_catalogue_and_measures_agree():
    assert list(catalogue()) == list(run_measures(daily(), *STEADY))
    for key, measure in catalogue().items():
        assert key == measure.key and measure.label and measure.unit
        assert measure.better in ("more", "less", None)


def test_undefined_ratios_are_nan_and_defined_ones_are_not():
    table = daily()
    none = [c for c in COLUMNS if c.startswith(("eggs_", "pupae_"))]
    table[[*none, "adults", "bran_given_g", "adults_emerged"]] = 0
    found = run_measures(table, *STEADY)
    undefined = {k for k, v in found.items() if math.isnan(v)}
    assert undefined == {
        k
        for k in EXPECTED
        if k.endswith(("_share", "_per_100_per_day")) or k == "yield_g_per_kg_bran"
    }
    assert found["eggs_laid_per_day"] == 0


def test_days_after_the_end_of_a_colony_are_days_without_anything():
    short, long = run_measures(daily(), 2, 6), run_measures(daily(), 2, 14)
    assert long["yield_g_per_day"] == pytest.approx(short["yield_g_per_day"] * 4 / 12)
    rate = "adult_losses_per_100_per_day"
    assert long[rate] == pytest.approx(short[rate])
    gone = run_measures(daily(), 6, 14)
    assert gone["yield_g_per_day"] == 0 and math.isnan(gone[rate])


@pytest.mark.parametrize("warm_up, days", [(2, 5), (6, 6), (-1, 6)])
def test_window_of_another_run_is_refused(warm_up, days):
    with pytest.raises(ValueError, match="does not belong"):
        run_measures(daily(), warm_up, days)


def test_gap_or_disorder_of_days_is_refused():
    table = daily()
    table.loc[3, "day"] = 2
    with pytest.raises(ValueError, match="consecutive"):
        run_measures(table, *STEADY)
