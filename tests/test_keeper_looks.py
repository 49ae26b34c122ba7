"""Rules by which the keeper looks before acting, bran as it is eaten, and bins lost or left.

Statistical tests: |z| < 5, alarm rate 6e-7 each, 3 of them: 2e-6 in all.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import live, make_colony, put, quiet_colony, reopen_books, z_binomial
from test_keeper import (
    STILL,
    full_rack,
    growing_bins,
    in_bins,
    larvae_of_two_sizes,
    log,
    phases,
    still_beetles,
)

from colony_sim.biology.parameters import Parameters
from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony.bins import Phase
from colony_sim.colony.model import Colony
from colony_sim.errors import InputError
from colony_sim.population.draws import Block, uniforms
from colony_sim.population.insects import Stage
from colony_sim.population.ledger import Flow

# -- bran as it is eaten ------------------------------------------------------------------

AS_EATEN = {
    "bran.supply": "as_eaten",
    "bran.start_g": 40.0,
    "bran.round_days": 5,
    "bran.reserve_days": 3.0,
    "bran.scoop_g": 10.0,
    "larva.critical_mass_mg": 500.0,
}


def eating(values=None, grams=150.0, **options):
    """A growing bin whose larvae, all at their last mass, eat the same each day."""
    model = quiet_colony({**AS_EATEN, **(values or {})}, breeders=1, **options)
    put(model, Stage.LARVA, round(grams / 0.3), mass=300 * NG_PER_MG, progress=0.999, size=0.5)
    return model


def test_bran_is_filled_up_to_what_is_eaten_until_the_next_round_and_the_reserve():
    model = eating()
    stocks, given = [40.0], [0.0]
    for _ in range(40):
        live(model, 1)
        stocks.append(model.bins[1].bran_g)
        given.append(log(model, "bran added")["grams"].sum())
    added = log(model, "bran added")
    assert len(added) >= 4 and set(added["bin"]) == {2} and (added["day"] % 5 == 0).all()
    assert (added["grams"] % 10.0 == 0).all()
    for day in added["day"]:
        fresh = given[day] - given[day - 1]
        pace = (stocks[day - 5] - (stocks[day] - fresh)) / 5
        assert pace > 1
        # Whole scoops, as few as last until the next round and three days more.
        assert 0 <= stocks[day] - 8 * pace < 10.0
        assert min(stocks[day - 5 : day]) > 3 * pace  # the reserve was not touched


def test_no_bran_before_it_is_needed():
    model = eating({"bran.start_g": 60.0})
    live(model, 5)
    pace = (60.0 - model.bins[1].bran_g) / 5
    assert model.keeper._pace[1] == pytest.approx(pace, rel=1e-9)
    assert model.bins[1].bran_g > 8 * pace and log(model, "bran added").empty


def test_a_bin_in_which_nobody_eats_gets_no_bran():
    model = quiet_colony({**AS_EATEN, "bran.start_g": 1.0}, temperature_c=STILL)
    put(model, Stage.PUPA, 50, mass=100 * NG_PER_MG)
    assert live(model, 30)["bran_given_g"].sum() == 0


def test_a_bin_that_is_soon_cleared_gets_what_it_eats_until_then():
    plain, soon = eating(), eating({"rack.clear_after_days": 12})
    live(plain, 10)
    live(soon, 10)
    pace = soon.keeper._pace[1]
    # On day 10 two days are left: those two days' bran and less than a scoop.
    assert 2 * pace <= soon.bins[1].bran_g < 2 * pace + 10.0 < plain.bins[1].bran_g
    live(soon, 2)
    assert log(soon, "cleared as old")["day"].tolist() == [12]


def test_the_oldest_bin_gets_bran_until_the_day_it_must_make_room():
    values = {"rack.bins": 2, "rotation.interval_days": 12}
    model = eating(values)
    live(model, 10)
    pace = model.keeper._pace[1]
    assert 2 * pace <= model.bins[1].bran_g < 2 * pace + 10.0
    waits = eating({**values, "rotation.when_no_bin_free": "wait"})
    live(waits, 10)
    assert waits.bins[1].bran_g >= 8 * waits.keeper._pace[1]


def test_larvae_moved_on_are_fed_where_they_went_the_same_day():
    values = {**AS_EATEN, "rack.clear_after_days": 57, "bran.round_days": 50,
              "rack.clear_below_insects": 0}  # fmt: skip
    model = growing_bins(values, [49, 20], temperature_c=27.0)
    model.substrate.bran[2] = 20 * NG_PER_G
    put(model, Stage.LARVA, 500, mass=70 * NG_PER_MG)
    put(model, Stage.LARVA, 50, mass=70 * NG_PER_MG, first=1000, bin_index=2)
    model.keeper._left[1:3] = model.substrate.bran[1:3]
    live(model, 8)
    assert log(model, "cleared as old")["day"].tolist() == [8]
    added = log(model, "bran added")
    assert added[["day", "bin"]].values.tolist() == [[8, 3]]
    # Ten times the larvae moved in: the new pace is that of both bins; bin 3 has 29 days left.
    pace = model.keeper._pace[2]
    assert pace > 5 * (20.0 - (model.bins[2].bran_g - added["grams"].iloc[0])) / 8
    assert 0 <= model.bins[2].bran_g - 29 * pace < 10.0


def test_by_default_bins_neither_run_short_of_bran_nor_is_much_thrown_out():
    """The room and founders of the shipped comparisons, after half a year of settling."""
    model = make_colony({}, breeders=300, larvae=13_000, temperature_c=25.0, seed=4)
    short = used = 0
    for day in range(700):
        growing = [b.index for b in model.bins if b.phase is Phase.GROWING]
        model.step()
        used += len(growing)
        short += int((model.substrate.food[growing] < 1).sum())
        if day == 180:
            before = model.balance.flows.copy()
    # Short: what is left would last less than growth.bran_days.
    assert used > 6000 and short / used < 0.01
    flows = model.balance.flows - before
    assert 1.0 < flows[Flow.BRAN_GIVEN] / flows[Flow.BRAN_EATEN] < 1.3


# -- moving by what is seen ---------------------------------------------------------------


@pytest.mark.parametrize(("word", "stage"), [("eggs", Stage.EGG), ("larvae", Stage.LARVA)])
def test_beetles_are_moved_once_their_bin_holds_so_many(word, stage):
    values = {"rotation.when": word, f"rotation.{word}_per_dm2": 10.0, "rotation.interval_days": 2}
    model = still_beetles(values, temperature_c=STILL)
    put(model, stage, 119, bin_index=0, mass=NG_PER_MG)
    live(model, 5)
    assert log(model, "beetles in").empty
    put(model, stage, 1, bin_index=0, mass=NG_PER_MG, first=10**6)
    live(model, 5)
    assert log(model, "beetles in")["day"].tolist() == [6]
    assert in_bins(model, Stage.ADULT)[1] == 100


def test_eggs_of_several_breeding_bins_are_counted_together():
    values = {"rotation.when": "eggs", "rotation.eggs_per_dm2": 10.0}
    model = still_beetles(values, temperature_c=STILL)
    model.bins[1].phase, model.bins[1].date_in = Phase.BREEDING, 0
    model.insects.bin[:50] = 1
    reopen_books(model)
    put(model, Stage.EGG, 200, bin_index=0, mass=450_000)
    live(model, 1)
    assert log(model, "beetles in").empty
    put(model, Stage.EGG, 40, bin_index=1, mass=450_000, first=1000)
    live(model, 1)
    assert log(model, "beetles in")["day"].tolist() == [2]


# -- harvest by what is seen --------------------------------------------------------------


def test_a_bin_is_harvested_once_a_share_of_its_larvae_is_of_size():
    ready = {"harvest.when": "when_ready", "harvest.ready_share": 0.8}
    # 20000 of 25000 are large: 80 %.
    assert live(larvae_of_two_sizes(**ready), 7)["harvest_larvae"].sum() > 0
    late = {**ready, "harvest.ready_share": 0.801}
    model = larvae_of_two_sizes(**late)
    assert live(model, 21)["harvest_larvae"].sum() == 0
    assert not model.bins[1].harvested


def test_larvae_kept_back_do_not_make_a_bin_ready():
    ready = {"harvest.when": "when_ready", "harvest.ready_share": 0.8}
    model = larvae_of_two_sizes(**ready)
    daily = live(model, 28)
    assert (daily["harvest_larvae"] > 0).sum() == 1
    # Now only the small ones are unsorted; as many large ones as make 80 % of them are needed.
    put(model, Stage.LARVA, 19_999, mass=90 * NG_PER_MG, first=3 * 10**6)
    assert live(model, 7)["harvest_larvae"].iloc[-1] == 0
    put(model, Stage.LARVA, 1, mass=90 * NG_PER_MG, first=4 * 10**6)
    assert live(model, 7)["harvest_larvae"].iloc[-1] > 0


# -- clearing by what is seen -------------------------------------------------------------


def test_a_harvested_bin_with_little_left_is_cleared():
    values = {"rack.clear_when": "little_left", "rack.little_left_g": 2.0,
              "egg.lifetime_days": 18.0, "rack.clear_after_days": 30,
              "rack.clear_below_insects": 0}  # fmt: skip
    model = growing_bins(values, [40, 40, 40])
    put(model, Stage.LARVA, 20, mass=100 * NG_PER_MG)
    put(model, Stage.LARVA, 20, mass=100 * NG_PER_MG + 1, first=1000, bin_index=2)
    put(model, Stage.LARVA, 20, mass=100 * NG_PER_MG, first=2000, bin_index=3)
    model.bins[1].harvested = model.bins[2].harvested = True
    live(model, 1)
    # The second holds 1 ng a larva too much, the third was not harvested; no date counts.
    assert log(model, "cleared as spent")["bin"].tolist() == [2]
    assert phases(model)[1:4] == ["free", "growing", "growing"]
    assert log(model, "cleared as old").empty and not model.bins[1].harvested


def test_a_harvest_is_remembered_until_the_bin_is_cleared():
    values = {"rack.clear_when": "little_left", "rack.little_left_g": 1000.0,
              "egg.lifetime_days": 18.0, "harvest.interval_days": 3,
              "harvest.fraction": 0.5}  # fmt: skip
    model = growing_bins(values, [40])
    put(model, Stage.LARVA, 200, mass=100 * NG_PER_MG)
    live(model, 2)
    assert phases(model)[1] == "growing"
    live(model, 1)
    assert log(model, "harvest", "cleared as spent")["action"].tolist() == [
        "harvest", "cleared",
    ]  # fmt: skip


# -- small larvae in a bin that must make room --------------------------------------------

SIEVE = {"rack.small_mg": 1.5, "rack.small_share": 0.2, "rack.clear_after_days": 5000}


def test_beetles_wait_while_the_larvae_are_small():
    model = full_rack("clear_oldest", **SIEVE, **{"rack.small_larvae": "wait"})
    put(model, Stage.LARVA, 13, mass=2 * NG_PER_MG, bin_index=2, first=9000)
    live(model, 8)  # 50 of 63 larvae are small
    assert log(model, "beetles in", "cleared to make room").empty
    put(model, Stage.LARVA, 187, mass=2 * NG_PER_MG, bin_index=2, first=10_000)
    live(model, 1)  # 50 of 250
    assert log(model, "cleared to make room")[["day", "bin"]].values.tolist() == [[9, 3]]
    assert log(model, "beetles in")["day"].tolist() == [9]


def test_small_larvae_are_sifted_into_the_youngest_bin():
    values = {"rack.bins": 4, "rack.small_larvae": "sift"}
    model = full_rack("clear_oldest", **SIEVE, **values)
    bin_ = model.bins[3]
    bin_.phase, bin_.date_in, bin_.date_out = Phase.GROWING, -20, -5
    put(model, Stage.LARVA, 30, mass=2 * NG_PER_MG, bin_index=2, first=9000)
    put(model, Stage.PUPA, 7, mass=NG_PER_MG, bin_index=2, first=20_000)
    live(model, 4)
    # Bin 3 is cleared: its 30 large larvae and the pupae go to the next oldest, bin 2.
    assert in_bins(model, Stage.LARVA) == [0, 80, 0, 50, 0]
    assert in_bins(model, Stage.PUPA)[1] == 7
    assert log(model, "cleared to make room")["larvae"].tolist() == [30]
    assert log(model, "small larvae in")[["bin", "larvae"]].values.tolist() == [[4, 50]]


def test_small_larvae_of_an_old_bin_are_not_sifted():
    model = growing_bins({**SIEVE, "rack.small_larvae": "sift", "rack.clear_after_days": 50},
                         [49, 20, 5])  # fmt: skip
    put(model, Stage.LARVA, 40, mass=NG_PER_MG)
    live(model, 1)
    assert in_bins(model, Stage.LARVA)[2] == 40


# -- lost bins ----------------------------------------------------------------------------


def test_all_dies_in_a_lost_bin_and_it_is_free():
    # 365 a year and bin: lost on a day with chance 1 - 1/e.
    model = still_beetles({"rack.bin_loss_per_year": 365.0, "rack.bins": 2}, temperature_c=STILL)
    day = 1
    while uniforms(1, Block.BIN_LOSS, 0, np.array([0]), day)[0] >= -math.expm1(-1.0):
        day += 1
    for stage, first in ((Stage.EGG, 1000), (Stage.LARVA, 2000), (Stage.PUPA, 3000)):
        put(model, stage, 10, bin_index=0, mass=NG_PER_MG, first=first)
    put(model, Stage.PUPA, 4, bin_index=model.tray, mass=NG_PER_MG, first=5000)
    daily = live(model, day)
    lost = daily[["eggs_lost_handling", "larvae_lost_handling", "pupae_lost_handling",
                  "adults_died_handling"]]  # fmt: skip
    assert lost.to_numpy()[: day - 1].sum() == 0
    assert lost.iloc[-1].tolist() == [10, 10, 10, 100]
    assert phases(model) == ["free", "free"] and model.bins[0].bran_g == 0
    entry = log(model, "cleared as lost")
    assert entry[["day", "bin", "eggs", "larvae", "pupae", "adults"]].values.tolist() == [
        [day, 1, 10, 10, 10, 100]
    ]
    assert in_bins(model, Stage.PUPA) == [0, 0, 4]


def test_bins_are_lost_at_the_stated_rate():
    rate = 2.0
    lost = used = 0
    for seed in range(40):
        model = still_beetles(
            {"rack.bin_loss_per_year": rate, "rack.bins": 12, "rack.clear_below_insects": 0},
            seed=seed, temperature_c=STILL,
        )  # fmt: skip
        for index in range(1, 12):
            put(model, Stage.LARVA, 1, bin_index=index, mass=NG_PER_MG, first=10_000 + index)
            bin_ = model.bins[index]
            bin_.phase, bin_.date_in, bin_.date_out = Phase.GROWING, -20, 0
        for _ in range(50):
            used += sum(b.phase is not Phase.FREE for b in model.bins)
            model.step()
        lost += len(log(model, "cleared as lost"))
    assert lost > 50
    assert abs(z_binomial(lost, used, -math.expm1(-rate / 365))) < 5


def test_no_bin_is_lost_by_default():
    model = make_colony({}, breeders=20, larvae=50)
    live(model, 60)
    assert log(model, "cleared as lost").empty


def test_the_same_bins_are_lost_under_other_rules():
    days = []
    for values in ({}, {"harvest.fraction": 0.3, "bran.supply": "fixed"}):
        model = make_colony({"rack.bin_loss_per_year": 9.0, **values}, breeders=50, larvae=500)
        # Later the rules tell in which bins are in use.
        live(model, 30)
        days.append(log(model, "cleared as lost")[["day", "bin"]].values.tolist())
    assert days[0] == days[1] and len(days[0]) > 3


# -- breeding bins without beetles --------------------------------------------------------


def test_a_bin_whose_beetles_have_died_is_harvested_and_cleared():
    values = {"harvest.fraction": 1.0, "harvest.interval_days": 4, "rack.clear_after_days": 60}
    model = still_beetles(values, temperature_c=STILL)
    put(model, Stage.LARVA, 50, bin_index=0, mass=100 * NG_PER_MG)
    put(model, Stage.LARVA, 30, bin_index=0, mass=NG_PER_MG, first=1000)
    live(model, 8)
    assert model.stock_totals[1] == 80  # no harvest where beetles are
    model.insects.factor[:100] = 0.0
    daily = live(model, 4)
    assert phases(model)[0] == "growing" and model.bins[0].date_out == 9
    assert daily["harvest_larvae"].iloc[-1] == 50
    left = log(model, "beetles out")
    assert left[["day", "adults"]].values.tolist() == [[9, 0]] and "no beetle" in left["reason"][0]
    live(model, 57)
    assert log(model, "cleared as old")["day"].tolist() == [69]
    # No other bin is in use: what is left goes back into the washed bin, on fresh bran.
    assert phases(model) == ["growing"] + ["free"] * 4 and in_bins(model, Stage.LARVA)[0] == 30
    assert (model.bins[0].date_in, model.bins[0].date_out) == (69, 69)
    assert model.bins[0].bran_g == model.parameters["bran.start_g"]


def test_new_beetles_open_a_fresh_bin():
    values = {"rack.bins": 3, "fecundity.peak_eggs_per_day": 0.0, "rotation.interval_days": 9}
    model = quiet_colony(values)
    live(model, 1)
    assert phases(model) == ["growing", "growing", "free"]
    put(model, Stage.PUPA, 30, bin_index=model.tray, mass=NG_PER_MG, progress=0.999)
    put(model, Stage.PUPA, 10, mass=NG_PER_MG, progress=0.999, first=1000)
    live(model, 1)
    assert phases(model) == ["growing", "growing", "breeding"]
    assert in_bins(model, Stage.ADULT) == [0, 10, 30, 0]
    opened = log(model, "beetles in")
    assert opened[["day", "bin"]].values.tolist() == [[2, 3]]
    assert model.keeper.last_move == 2


def test_new_beetles_wait_where_no_bin_is_free():
    values = {"rack.bins": 2, "rotation.when_no_bin_free": "wait", "rotation.collect_days": 1,
              "rack.clear_below_insects": 0}  # fmt: skip
    for what, arrive in (("wait", [0, 10, 30]), ("clear_oldest", [40, 0, 0])):
        model = quiet_colony({**values, "rotation.when_no_bin_free": what}, temperature_c=STILL)
        live(model, 1)
        assert phases(model) == ["growing"] * 2
        model.bins[0].date_out = -1
        put(model, Stage.LARVA, 5, mass=NG_PER_MG, bin_index=0, first=600)
        put(model, Stage.ADULT, 30, bin_index=model.tray, mass=NG_PER_MG, factor=1e9)
        put(model, Stage.ADULT, 10, mass=NG_PER_MG, factor=1e9, first=1000)
        live(model, 1)
        assert in_bins(model, Stage.ADULT) == arrive, what
        assert in_bins(model, Stage.LARVA) == ([5, 0, 0] if what == "wait" else [0, 5, 0])


def test_a_colony_of_which_all_is_harvested_dies_out():
    """No larva of size is left to pupate, and old breeding bins do not go on unharvested."""
    values = {"larva.duration_days": 40.0, "larva.duration_cv": 0.05, "adult.life_mean_days": 30.0,
              "harvest.fraction": 1.0, "harvest.smallest_mg": 30.0, "harvest.interval_days": 3,
              "rotation.when_no_bin_free": "wait", "rack.bins": 4}  # fmt: skip
    model = make_colony(values, breeders=40, larvae=0)
    daily = live(model, 250)
    assert daily["harvest_larvae"].sum() > 100
    assert daily["pupae_formed"].sum() == 0
    assert model.alive == 0


# -- bad input ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value"),
    [("breeders", -5), ("breeders", 2.5), ("breeders", True), ("larvae", -1), ("larvae", "9"),
     ("seed", -1), ("seed", 2**64), ("seed", 1.0), ("seed", None)],
)  # fmt: skip
def test_bad_founders_and_seeds_are_refused(name, value):
    given = {"seed": 1, "breeders": 5, "larvae": 5, name: value}
    with pytest.raises(InputError) as caught:
        Colony(Parameters.default(), [27.0], **given)
    assert caught.value.key == name and "a whole number" in str(caught.value)


def test_whole_numbers_of_numpy_are_taken():
    colony = Colony(Parameters.default(), [27.0], np.uint64(2**64 - 1), np.int64(3), np.int32(4))
    assert colony.stock_totals[:4].tolist() == [0, 4, 0, 3]


def test_temperature_before_the_first_day_is_that_of_day_1():
    colony = Colony(Parameters.default(), [21.0, 22.0, 23.0], 1, 5)
    seen = [colony.temperature_c]
    for _ in range(3):
        colony.step()
        seen.append(colony.temperature_c)
    assert seen == [21.0, 21.0, 22.0, 23.0]
