"""The keeper's rules, one at a time, in colonies where little else happens.

Statistical tests: |z| < 5, alarm rate 6e-7 each, 20 of them: 1e-5 in all.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from conftest import QUIET, drop, live, make_colony, put, quiet_colony, reopen_books, z_binomial

from colony_sim.biology.rates import NG_PER_G, NG_PER_MG
from colony_sim.colony import founders
from colony_sim.colony.bins import Phase
from colony_sim.population.insects import Flag, Stage

MANY = 20_000
COLD = 8.0  # pupae and eggs stand still, larvae creep
STILL = 5.5  # nothing develops, nothing dies


def log(model, *actions):
    """Rows of the log of these actions; bins cleared are told by their reason as well."""
    frame = model.binlog.frame()
    return frame[done(frame).isin(actions)] if actions else frame


def done(frame):
    cleared = frame["action"] == "cleared"
    return frame["action"].where(~cleared, frame["action"] + " " + frame["reason"])


def phases(model):
    return [b.phase.value for b in model.bins]


def in_bins(model, stage):
    """Insects of a stage by bin, the tray last."""
    return model.table[:, stage - 1].tolist()


def still_beetles(values, count=100, **options):
    """Founders that neither lay nor die, in a rack with one breeding and only free bins."""
    model = make_colony(
        {**QUIET, "fecundity.peak_eggs_per_day": 0.0, "rack.bins": 5, **values},
        breeders=count, **options,
    )  # fmt: skip
    model.insects.factor[:count] = 1e9
    return model


# -- moving the beetles -------------------------------------------------------------------


@pytest.mark.parametrize("interval", [7, 14, 21])
def test_beetles_move_every_interval(interval):
    model = still_beetles({"rotation.interval_days": interval, "rack.bins": 9})
    live(model, 50)
    days = list(range(interval, 51, interval))
    moved_out, moved_in = log(model, "beetles out"), log(model, "beetles in")
    assert moved_out["day"].tolist() == moved_in["day"].tolist() == days
    assert moved_out["date_in"].tolist() == [day - interval for day in days]
    assert moved_out["date_out"].tolist() == days
    assert moved_in["date_in"].tolist() == days
    assert moved_in["date_out"].isna().all()
    # Bins are used in turn: what is left today was filled at the move before.
    assert moved_out["bin"].tolist() == [1, *moved_in["bin"].tolist()[:-1]]
    assert moved_out["adults"].tolist() == moved_in["adults"].tolist() == [100] * len(days)
    assert phases(model).count("breeding") == 1


def test_shares_missed_injured_and_killed():
    missed, injured, killed = 0.1, 0.3, 0.2
    model = still_beetles(
        {
            "rotation.interval_days": 3,
            "rotation.missed_share": missed,
            "rotation.injured_share": injured,
            "rotation.killed_share": killed,
        },
        MANY,
    )
    daily = live(model, 3)
    left, arrived = in_bins(model, Stage.ADULT)[:2]
    dead = int(daily["adults_died_handling"].iloc[-1])
    assert left + arrived + dead == MANY
    assert abs(z_binomial(left, MANY, missed)) < 5
    assert abs(z_binomial(dead, MANY - left, killed)) < 5
    hurt = model.insects.has(model.insects.rows(Stage.ADULT), Flag.INJURED).sum()
    assert abs(z_binomial(hurt, arrived, injured)) < 5
    assert not model.insects.has(model.insects.rows(Stage.ADULT, 0), Flag.INJURED).any()
    assert daily["breeders"].iloc[-1] == arrived - hurt
    assert log(model, "beetles out")["adults"].tolist() == [arrived]


def test_missed_beetles_go_on_in_the_old_bin_until_found():
    """At each collection a beetle is overlooked with the same share."""
    model = make_colony(
        {**QUIET, "rotation.interval_days": 3, "rotation.missed_share": 0.5,
         "rotation.collect_days": 5, "rack.bins": 6},
        breeders=4000,
    )  # fmt: skip
    live(model, 3)
    missed = in_bins(model, Stage.ADULT)[0]
    before = in_bins(model, Stage.EGG)[0]
    live(model, 1)
    assert in_bins(model, Stage.EGG)[0] > before  # they lay
    live(model, 1)
    left = in_bins(model, Stage.ADULT)[0]
    assert abs(z_binomial(left, missed, 0.5)) < 5
    found = log(model, "emerged beetles to breeders")
    assert found["day"].tolist() == [5] and found["adults"].tolist() == [missed - left]


def test_eggs_lost_on_the_gear():
    values = {"rotation.eggs_lost_share": 0.1, "rotation.interval_days": 3}
    model = still_beetles(values, temperature_c=COLD)
    put(model, Stage.EGG, MANY, bin_index=0, mass=450_000)
    put(model, Stage.EGG, 500, bin_index=2, mass=450_000, first=10**6)  # not in the old bin
    daily = live(model, 4)
    lost = daily["eggs_lost_handling"].tolist()
    assert lost[:2] == [0, 0] and lost[3] == 0
    assert abs(z_binomial(lost[2], MANY, 0.1)) < 5
    assert log(model, "beetles out")["eggs"].tolist() == [lost[2]]
    assert in_bins(model, Stage.EGG)[2] == 500


@pytest.mark.parametrize("remove", [True, False])
def test_dead_beetles_are_taken_out_at_the_move(remove):
    model = still_beetles({"rotation.interval_days": 3, "rotation.remove_dead": remove})
    model.insects.factor[:30] = 0.0
    live(model, 2)
    assert model.bins[0].dead_adults == 30
    live(model, 1)
    assert model.bins[0].dead_adults == (0 if remove else 30)
    assert log(model, "beetles out")["dead"].tolist() == [30 if remove else pd.NA]


def test_larvae_and_eggs_stay_in_the_old_bin():
    model = still_beetles({"rotation.interval_days": 3}, temperature_c=STILL)
    put(model, Stage.LARVA, 40, bin_index=0, mass=NG_PER_MG)
    put(model, Stage.PUPA, 20, bin_index=0, mass=NG_PER_MG, first=1000)
    live(model, 3)
    assert in_bins(model, Stage.LARVA)[0] == 40 and in_bins(model, Stage.PUPA)[0] == 20
    assert in_bins(model, Stage.ADULT)[1] == 100
    assert phases(model)[:2] == ["growing", "breeding"]


def test_no_beetles_no_move():
    model = still_beetles({"rotation.interval_days": 3}, count=0)
    put(model, Stage.EGG, 5, bin_index=0, mass=450_000)
    live(model, 6)
    assert log(model, "beetles in").empty
    assert phases(model) == ["growing"] + ["free"] * 4


# -- limits on the number of breeders -----------------------------------------------------


def test_surplus_is_removed_at_the_move():
    model = still_beetles({"rotation.interval_days": 3, "rotation.most_breeders_per_bin": 60})
    daily = live(model, 3)
    assert daily["adults_removed_surplus"].tolist() == [0, 0, 40]
    assert in_bins(model, Stage.ADULT)[:2] == [0, 60]
    assert log(model, "surplus beetles removed")["adults"].tolist() == [40]


def test_surplus_of_newcomers_is_removed_and_breeders_stay():
    model = still_beetles({"rotation.most_breeders_per_bin": 110}, temperature_c=28.0)
    put(model, Stage.PUPA, 50, bin_index=model.tray, mass=NG_PER_MG, progress=0.999, first=10**6)
    old = set(model.insects.ident[:100].tolist())
    daily = live(model, 1)
    assert daily["adults_removed_surplus"].tolist() == [40]
    rows = model.insects.rows(Stage.ADULT, 0)
    assert rows.size == 110 and old <= set(model.insects.ident[rows].tolist())
    assert log(model, "beetles from tray to breeders")["adults"].tolist() == [10]
    assert daily["adults"].iloc[-1] == 110


@pytest.mark.parametrize(("count", "bins"), [(60, 1), (61, 2), (120, 2), (121, 3), (170, 3)])
def test_surplus_is_split_over_more_bins(count, bins):
    values = {"rotation.interval_days": 3, "rotation.most_breeders_per_bin": 60,
              "rotation.surplus": "split"}  # fmt: skip
    model = still_beetles(values, count)
    daily = live(model, 3)
    here = in_bins(model, Stage.ADULT)[1:]
    assert daily["adults_removed_surplus"].sum() == 0
    assert sum(here) == count and sum(n > 0 for n in here) == bins
    assert max(here) - min(n for n in here if n) <= 1
    assert phases(model).count("breeding") == bins


def test_split_takes_newcomers_into_account():
    values = {"rotation.interval_days": 3, "rotation.most_breeders_per_bin": 60,
              "rotation.surplus": "split"}  # fmt: skip
    model = still_beetles(values, 50, temperature_c=28.0)
    put(model, Stage.PUPA, 40, bin_index=model.tray, mass=NG_PER_MG, progress=0.999, first=10**6)
    daily = live(model, 3)
    assert daily["adults_removed_surplus"].sum() == 0
    assert sorted(in_bins(model, Stage.ADULT))[-2:] == [45, 45]


def test_split_without_free_bins_removes():
    values = {"rotation.interval_days": 3, "rotation.most_breeders_per_bin": 30,
              "rotation.surplus": "split", "rack.bins": 3}  # fmt: skip
    model = still_beetles(values, 100)
    daily = live(model, 3)
    assert daily["adults_removed_surplus"].sum() == 40
    assert in_bins(model, Stage.ADULT)[:3] == [0, 30, 30]


# -- no free bin --------------------------------------------------------------------------


def full_rack(when_no_bin_free, **values):
    """Three bins: beetles in the first, the older growing bin is the third."""
    model = still_beetles(
        {"rack.bins": 3, "rotation.interval_days": 4, "rotation.when_no_bin_free": when_no_bin_free,
         **values},
        temperature_c=STILL,
    )  # fmt: skip
    for index, left in ((1, -10), (2, -30)):
        model.bins[index].phase = Phase.GROWING
        model.bins[index].date_in, model.bins[index].date_out = left - 14, left
        put(model, Stage.LARVA, 50, bin_index=index, mass=NG_PER_MG, first=1000 * index)
    return model


def test_wait_for_a_free_bin():
    model = full_rack("wait", **{"rack.clear_after_days": 38})
    live(model, 7)
    assert log(model, "beetles in").empty and phases(model)[0] == "breeding"
    # Day 8: the third bin is 38 days old and cleared after the day's attempt; day 9: the move.
    live(model, 2)
    assert log(model, "cleared as old")["day"].tolist() == [8]
    assert log(model, "beetles in")[["day", "bin"]].values.tolist() == [[9, 3]]
    live(model, 4)  # the next move is due 4 days after the last
    assert model.keeper.last_move == 9


def test_clear_the_oldest_bin():
    model = full_rack("clear_oldest")
    live(model, 4)
    cleared = log(model, "cleared to make room")
    assert cleared[["day", "bin", "date_out"]].values.tolist() == [[4, 3, -30]]
    assert cleared["larvae"].tolist() == [50]
    assert log(model, "beetles in")["bin"].tolist() == [3]
    assert in_bins(model, Stage.LARVA) == [0, 100, 0, 0]
    live(model, 4)
    assert log(model, "cleared to make room")["bin"].tolist() == [3, 2]


def test_making_room_with_beetles_in_the_cleared_bin():
    """They join the breeders and are moved with them; nobody is counted twice."""
    model = full_rack("clear_oldest", **{"rotation.killed_share": 0.5})
    put(model, Stage.ADULT, 80, bin_index=2, mass=NG_PER_MG, factor=1e9, first=10**6)
    daily = live(model, 4)
    assert in_bins(model, Stage.ADULT)[:2] == [0, 0]
    assert in_bins(model, Stage.ADULT)[2] + daily["adults_died_handling"].sum() == 180
    assert abs(z_binomial(daily["adults_died_handling"].sum(), 180, 0.5)) < 5


# -- pupae --------------------------------------------------------------------------------


def test_pupae_are_found_killed_and_set_apart():
    find, kill = 0.85, 0.2
    model = quiet_colony(
        {"pupae.isolate": True, "pupae.find_share": find, "pupae.killed_share": kill},
        temperature_c=COLD, breeders=10,
    )  # fmt: skip
    put(model, Stage.PUPA, MANY, mass=NG_PER_MG)
    live(model, 3)
    assert in_bins(model, Stage.PUPA) == [0, MANY, 0, 0]
    daily = live(model, 1)
    hidden, apart = in_bins(model, Stage.PUPA)[1], in_bins(model, Stage.PUPA)[model.tray]
    dead = int(daily["pupae_lost_handling"].iloc[-1])
    assert hidden + apart + dead == MANY
    assert abs(z_binomial(hidden, MANY, 1 - find)) < 5
    assert abs(z_binomial(dead, MANY - hidden, kill)) < 5
    assert log(model, "pupae to tray")["pupae"].tolist() == [MANY - hidden]
    live(model, 4)
    assert abs(z_binomial(in_bins(model, Stage.PUPA)[1], hidden, 1 - find)) < 5


def test_inspection_days():
    model = quiet_colony(
        {"pupae.isolate": True, "pupae.inspection_days": 6}, breeders=10, temperature_c=STILL
    )
    put(model, Stage.PUPA, 100, mass=NG_PER_MG)
    put(model, Stage.PUPA, 100, mass=NG_PER_MG, bin_index=0, first=1000)
    live(model, 20)
    days = log(model, "pupae to tray").groupby("bin")["day"].apply(list)
    assert days[2] == [6, 12, 18]
    assert days[1][0] == 6 and set(days[1]) <= {6, 12, 18}
    assert model.table[model.tray, 2] > 150


def test_pupae_stay_where_they_are_without_isolation():
    model = quiet_colony({"pupae.isolate": False}, temperature_c=STILL)
    put(model, Stage.PUPA, 100, mass=NG_PER_MG)
    live(model, 30)
    assert in_bins(model, Stage.PUPA)[1] == 100
    assert log(model, "pupae to tray").empty


def test_beetles_of_the_tray_join_the_breeders_on_the_day_they_emerge():
    model = quiet_colony({"fecundity.peak_eggs_per_day": 0.0}, breeders=10)
    put(model, Stage.PUPA, 30, bin_index=model.tray, mass=NG_PER_MG, progress=0.999, first=10**6)
    daily = live(model, 1)
    assert daily["adults_emerged"].tolist() == [30]
    assert in_bins(model, Stage.ADULT) == [40, 0, 0, 0]
    moved = log(model, "beetles from tray to breeders")
    assert moved["adults"].tolist() == [30] and moved["bin"].isna().all()


def test_beetles_among_larvae_are_collected():
    model = quiet_colony(
        {"rotation.collect_days": 5, "fecundity.peak_eggs_per_day": 0.0}, breeders=4
    )
    put(model, Stage.PUPA, 30, mass=NG_PER_MG, progress=0.999)
    live(model, 4)
    assert in_bins(model, Stage.ADULT) == [4, 30, 0, 0]
    live(model, 1)
    assert in_bins(model, Stage.ADULT) == [34, 0, 0, 0]


# -- harvest ------------------------------------------------------------------------------


def larvae_of_two_sizes(**values):
    model = quiet_colony(
        {"harvest.fraction": 0.3, "harvest.smallest_mg": 80.0, **values},
        temperature_c=STILL, breeders=2,
    )  # fmt: skip
    put(model, Stage.LARVA, MANY, mass=80 * NG_PER_MG)
    put(model, Stage.LARVA, 5000, mass=80 * NG_PER_MG - 1, first=10**6)
    put(model, Stage.LARVA, 5000, mass=80 * NG_PER_MG, first=2 * 10**6, bin_index=0)
    return model


def test_harvest_takes_a_share_of_the_large_ones():
    model = larvae_of_two_sizes()
    daily = live(model, 6)
    assert daily["harvest_larvae"].sum() == 0
    daily = live(model, 1)
    taken = int(daily["harvest_larvae"].iloc[-1])
    assert abs(z_binomial(taken, MANY, 0.3)) < 5
    grams = taken * 0.080
    assert daily["harvest_g"].iloc[-1] == pytest.approx(grams, rel=1e-5)
    small = model.insects.view("mass") < 79.99 * NG_PER_MG
    assert small.sum() <= 5000
    assert (model.insects.view("ident")[model.insects.rows(Stage.LARVA)] >= 10**6).sum() == 10_000
    assert in_bins(model, Stage.LARVA)[0] == 5000  # the breeding bin is left alone
    entry = log(model, "harvest")
    assert entry["larvae"].tolist() == [taken]
    assert entry["grams"].tolist() == pytest.approx([grams], rel=1e-5)
    assert entry["note"].tolist() == [f"{MANY - taken} kept back"]


def test_larvae_set_apart_are_spared():
    model = larvae_of_two_sizes(**{"larva.lower_c": 6.0})
    daily = live(model, 30)
    assert (daily["harvest_larvae"] > 0).sum() == 1
    kept = model.insects.has(model.insects.rows(Stage.LARVA, 1), Flag.KEPT).sum()
    assert kept + daily["harvest_larvae"].sum() == MANY


def test_larvae_not_set_apart_are_sorted_again():
    model = larvae_of_two_sizes(**{"harvest.set_apart": False})
    left = MANY
    for _ in range(3):
        taken = int(live(model, 7)["harvest_larvae"].iloc[-1])
        assert abs(z_binomial(taken, left, 0.3)) < 5
        left -= taken


@pytest.mark.parametrize(("fraction", "expected"), [(0.0, 0), (1.0, MANY)])
def test_nothing_or_everything(fraction, expected):
    model = larvae_of_two_sizes(**{"harvest.fraction": fraction})
    assert live(model, 21)["harvest_larvae"].sum() == expected


def test_harvest_days():
    model = larvae_of_two_sizes(**{"harvest.interval_days": 5, "harvest.set_apart": False})
    daily = live(model, 16)
    assert (daily["harvest_larvae"].to_numpy().nonzero()[0] + 1).tolist() == [5, 10, 15]


# -- moisture and bran --------------------------------------------------------------------


def moist_days(values, skins=0, **options):
    model = quiet_colony({"moisture.growing_g_per_day": 25.0, **values}, breeders=5, **options)
    put(model, Stage.LARVA, 10, mass=NG_PER_MG)
    model.substrate.visible_skins[1] = skins
    daily = live(model, 5)
    return model, daily["moisture_given_g"].tolist()


def test_moisture_only_after_skins_are_seen():
    rule = {"moisture.start": "skins", "moisture.visible_skins_per_dm2": 100.0}
    assert moist_days(rule, 1199, temperature_c=STILL)[1] == [0.0] * 5
    model, given = moist_days(rule, 1200, temperature_c=STILL)
    assert given == [25.0] * 5
    started = log(model, "moisture started")
    assert started[["day", "bin"]].values.tolist() == [[1, 2]]
    assert "1200 skins" in started["note"].iloc[0]


def test_moisture_starts_on_the_day_the_skins_show():
    model = quiet_colony(
        {"moisture.start": "skins", "moisture.visible_skins_per_dm2": 20.0}, temperature_c=30.0
    )
    put(model, Stage.LARVA, 400, mass=2 * NG_PER_MG, tally=5)
    for _ in range(60):
        before = model.bins[1].visible_skins
        live(model, 1)
        if model.bins[1].visible_skins >= 240:
            break
    assert before < 240
    assert log(model, "moisture started")["day"].tolist() == [model.day] and model.day > 3


def test_moisture_always_and_never():
    assert moist_days({"moisture.start": "always"})[1] == [25.0] * 5
    assert moist_days({"moisture.start": "never"}, 10**6)[1] == [0.0] * 5


def test_moisture_in_breeding_bins():
    values = {"moisture.start": "never", "moisture.breeding_g_per_day": 7.0}
    model, given = moist_days(values)
    assert given == [7.0] * 5
    assert model.bins[0].moisture_g > 0 and model.bins[1].moisture_g == 0


def test_bran_of_a_fresh_bin():
    model = still_beetles({"rotation.interval_days": 3, "bran.start_g": 650.0})
    assert [b.bran_g for b in model.bins] == [650.0, 0, 0, 0, 0]
    daily = live(model, 3)
    assert daily["bran_given_g"].tolist() == [0, 0, 650.0]
    assert model.bins[1].bran_g == 650.0


def test_top_up_below_the_mark():
    model = quiet_colony(
        {"bran.top_up_g": 50.0, "bran.top_up_below_g": 100.0, "larva.critical_mass_mg": 500.0},
        temperature_c=30.0,
    )
    model.substrate.bran[:] = 0
    model.substrate.bran[:3] = np.array([10, 107, 10]) * NG_PER_G
    put(model, Stage.LARVA, 500, mass=310 * NG_PER_MG)  # eat 3.1 g a day
    daily = live(model, 20)
    # 107 falls below 100 on day 3; each top-up then lasts 50 / 3.1 days.
    assert daily["bran_given_g"].to_numpy().nonzero()[0].tolist() == [2, 18]
    added = log(model, "bran added")
    assert added["bin"].tolist() == [2, 2]  # bins without eaters get none
    assert added["grams"].tolist() == [50.0, 50.0]


def test_no_top_up():
    model = quiet_colony({"bran.top_up_g": 0.0})
    model.substrate.bran[:] = 0
    put(model, Stage.LARVA, 5, mass=NG_PER_MG)
    assert live(model, 5)["bran_given_g"].sum() == 0


# -- clearing -----------------------------------------------------------------------------


def growing_bins(values, ages, temperature_c=STILL):
    model = still_beetles({"rack.bins": 6, **values}, 10, temperature_c=temperature_c)
    for index, age in enumerate(ages, start=1):
        bin_ = model.bins[index]
        bin_.phase, bin_.date_in, bin_.date_out = Phase.GROWING, -age - 14, -age
        model.substrate.bran[index] = 100 * NG_PER_G
        model.substrate.frass[index] = 11 * NG_PER_G
        model.substrate.moisture[index] = NG_PER_G
        model.substrate.skins[index] = 5
    reopen_books(model)
    return model


def test_old_bins_are_cleared():
    model = growing_bins({"rack.clear_after_days": 100}, [97, 60])
    put(model, Stage.LARVA, 50, mass=NG_PER_MG)
    put(model, Stage.LARVA, 50, mass=NG_PER_MG, bin_index=2, first=1000)
    live(model, 2)
    assert log(model, "cleared as old").empty
    live(model, 1)
    cleared = log(model, "cleared as old")
    assert cleared[["day", "bin", "larvae", "date_in", "date_out"]].values.tolist() == [
        [3, 2, 50, -111, -97]
    ]
    assert cleared["grams"].tolist() == pytest.approx([111.0])
    assert cleared["heir"].iloc[0] == 3
    bin_ = model.bins[1]
    assert (bin_.phase, bin_.date_in, bin_.date_out) == (Phase.FREE, None, None)
    assert (bin_.bran_g, bin_.frass_g, bin_.moisture_g, bin_.skins) == (0, 0, 0, 0)
    assert in_bins(model, Stage.LARVA)[2] == 100  # to the growing bin that is now the oldest


def test_spent_bins_are_cleared_once_no_egg_can_hatch():
    values = {"rack.clear_below_insects": 10, "egg.lifetime_days": 18.0}
    model = growing_bins(values, [16, 16])
    put(model, Stage.LARVA, 10, mass=NG_PER_MG)
    put(model, Stage.LARVA, 11, mass=NG_PER_MG, bin_index=2, first=1000)
    live(model, 2)
    assert phases(model)[1:3] == ["growing", "growing"]
    live(model, 1)
    assert log(model, "cleared as spent")[["day", "bin"]].values.tolist() == [[3, 2]]
    assert in_bins(model, Stage.LARVA)[2] == 21


def test_what_a_cleared_bin_holds():
    """Harvest size is harvested, pupae go to the tray, beetles to breeders, eggs are lost."""
    values = {"rack.clear_after_days": 50, "pupae.isolate": True, "harvest.fraction": 1.0,
              "pupae.inspection_days": 700, "harvest.interval_days": 700}  # fmt: skip
    model = growing_bins(values, [49, 20])
    put(model, Stage.EGG, 7, mass=450_000)
    put(model, Stage.LARVA, 20, mass=NG_PER_MG, first=100)
    put(model, Stage.LARVA, 30, mass=100 * NG_PER_MG, first=200)
    put(model, Stage.PUPA, 40, mass=NG_PER_MG, first=300)
    put(model, Stage.ADULT, 50, mass=NG_PER_MG, factor=1e9, first=400)
    daily = live(model, 1)
    assert daily[["eggs_lost_handling", "harvest_larvae"]].values.tolist() == [[7, 30]]
    assert in_bins(model, Stage.LARVA) == [0, 0, 20, 0, 0, 0, 0]
    assert in_bins(model, Stage.PUPA) == [0, 0, 0, 0, 0, 0, 40]
    assert in_bins(model, Stage.ADULT) == [60, 0, 0, 0, 0, 0, 0]


def test_without_isolation_pupae_move_on_with_the_larvae():
    model = growing_bins({"rack.clear_after_days": 50}, [49, 20])
    put(model, Stage.PUPA, 40, mass=NG_PER_MG)
    live(model, 1)
    assert in_bins(model, Stage.PUPA)[2] == 40


def test_the_last_growing_bin_leaves_its_larvae_to_the_breeding_bin():
    model = growing_bins({"rack.clear_after_days": 50}, [49])
    put(model, Stage.LARVA, 40, mass=NG_PER_MG)
    live(model, 1)
    assert in_bins(model, Stage.LARVA)[0] == 40
    assert log(model, "cleared as old")["heir"].tolist() == [1]


def test_a_cleared_bin_starts_dry():
    model = growing_bins({"rack.clear_after_days": 50, "rotation.interval_days": 2}, [49])
    model.bins[1].moist = True
    live(model, 2)
    assert phases(model)[:2] == ["growing", "breeding"] and not model.bins[1].moist


# -- books --------------------------------------------------------------------------------

BUSY = {
    "larva.duration_days": 40.0,
    "rack.bins": 5,
    "pupae.inspection_days": 3,
    "moisture.breeding_g_per_day": 2.0,
    "moisture.visible_skins_per_dm2": 5.0,
    "rotation.most_breeders_per_bin": 40,
    "rack.clear_after_days": 38,
    "rotation.interval_days": 9,
    "bran.start_g": 150.0,
    "bran.supply": "fixed",
    "bran.top_up_g": 60.0,
    "bran.top_up_below_g": 80.0,
    "predation.adult_egg": 0.0,
}
MINUTES = {
    "beetles out": "labour.move_minutes",
    "harvest": "labour.harvest_minutes",
    "bran added": "labour.top_up_minutes",
    "cleared as old": "labour.clear_minutes",
    "cleared as spent": "labour.clear_minutes",
    "cleared to make room": "labour.clear_minutes",
}


@pytest.fixture(scope="module")
def busy():
    model = make_colony(BUSY, breeders=60, larvae=400, record_bins=True)
    daily = live(model, 150)
    return model, daily, model.binlog.frame()


def test_minutes_add_up(busy):
    """The day's work: all of the log, and giving moisture, which is not logged bin by bin."""
    model, daily, frame = busy
    p = model.parameters
    # Moisture is given in breeding bins from the start, in growing bins once started.
    given = daily["moisture_given_g"].to_numpy()
    breeding = model.datacollector.get_agenttype_vars_dataframe(type(model.bins[0]))
    breeding = breeding[breeding["phase"] == "breeding"].groupby("day").size()
    breeding = breeding.reindex(daily["day"]).fillna(0).to_numpy()
    growing = (given - 2.0 * breeding) / 25.0
    assert growing == pytest.approx(np.round(growing), abs=1e-9) and growing.max() > 1
    expected = frame.groupby("day")["minutes"].sum().reindex(daily["day"]).fillna(0.0).to_numpy()
    expected = expected + p["labour.moisture_minutes"] * (breeding + growing)
    assert daily["work_minutes"].to_numpy() == pytest.approx(expected, abs=1e-9)


def test_minutes_of_each_action(busy):
    model, _, frame = busy
    p = model.parameters
    seen = set(done(frame))
    assert set(MINUTES) - {"cleared as spent"} <= seen
    # A bin whose last beetle has died is left without a move.
    frame = frame[(frame["action"] != "beetles out") | (frame["adults"] > 0)]
    for action, key in MINUTES.items():
        assert (frame.loc[done(frame) == action, "minutes"] == p[key]).all()
    second = p["labour.pick_seconds"] / 60
    from_tray = frame[frame["action"] == "beetles from tray to breeders"]
    surplus = frame[(frame["action"] == "surplus beetles removed") & frame["bin"].isna()]
    picked = from_tray.set_index("day")["adults"].add(
        surplus.set_index("day")["adults"], fill_value=0
    )
    assert from_tray["minutes"].to_numpy() == pytest.approx(picked.to_numpy(float) * second)
    pupae = frame[frame["action"] == "pupae to tray"]
    by_inspection = pupae["day"] % 3 == 0
    base = pupae["minutes"] - pupae["pupae"].astype(float) * second
    expected = np.where(by_inspection, p["labour.inspect_minutes"], 0.0)
    same = np.isclose(base, expected)
    # A bin cleared on an inspection day has a second row without the minutes of inspecting.
    assert (same | np.isclose(base, 0.0)).all() and same.mean() > 0.8
    for action in ("beetles in", "moisture started", "surplus beetles removed"):
        assert (frame.loc[frame["action"] == action, "minutes"] == 0.0).all()


def test_log_adds_up_to_the_daily_series(busy):
    _, daily, frame = busy

    def total(actions, column):
        rows = frame[done(frame).isin(actions)]
        return rows.groupby("day")[column].sum().reindex(daily["day"]).fillna(0).to_numpy(float)

    assert total(["harvest"], "larvae").tolist() == daily["harvest_larvae"].tolist()
    assert total(["harvest"], "grams") == pytest.approx(daily["harvest_g"].to_numpy())
    surplus = total(["surplus beetles removed"], "adults")
    assert surplus.tolist() == daily["adults_removed_surplus"].tolist() and surplus.sum() > 0
    clearing = [action for action in MINUTES if action.startswith("cleared")]
    lost = total(["beetles out", *clearing], "eggs")
    assert lost.tolist() == daily["eggs_lost_handling"].tolist() and lost.sum() > 0
    filled = frame[frame["action"] == "beetles in"].groupby("day").size()
    filled = filled.reindex(daily["day"]).fillna(0).to_numpy() * 150.0
    given = daily["bran_given_g"].to_numpy()
    assert total(["bran added"], "grams") + filled == pytest.approx(given)


def test_dates_of_the_log(busy):
    model, daily, frame = busy
    assert frame["day"].is_monotonic_increasing
    assert frame["day"].between(1, daily["day"].iloc[-1]).all()
    assert set(frame["bin"].dropna()) <= set(range(1, 6))
    labelled = frame.dropna(subset=["date_in"])
    assert (labelled["date_in"] <= labelled["day"]).all()
    out = labelled.dropna(subset=["date_out"])
    # Both dates are the same where what is left of the last bin goes back into it, washed.
    assert (out["date_in"] <= out["date_out"]).all() and (out["date_out"] <= out["day"]).all()
    for column in ("day", "bin", "date_in", "date_out", "eggs", "larvae", "pupae", "adults"):
        assert str(frame[column].dtype) == "Int64"
    # Each filling ends with its own date on the label when the beetles leave.
    for label in range(1, 6):
        rows = frame[(frame["bin"] == label) & frame["action"].isin(["beetles in", "beetles out"])]
        begun = None
        for row in rows.itertuples():
            if row.action == "beetles in":
                begun = row.day
                assert row.date_in == row.day
            else:
                assert row.date_out == row.day and row.date_in == (begun if begun else 0)


def test_bins_by_day(busy):
    model, daily, _ = busy
    bins = model.datacollector.get_agenttype_vars_dataframe(type(model.bins[0]))
    assert len(bins) == 150 * 5
    sums = bins.groupby("day")[["eggs", "larvae", "adults", "bran_g", "frass_g"]].sum()
    daily = daily.set_index("day")
    for name in sums:
        assert sums[name].to_numpy(float) == pytest.approx(daily[name].to_numpy(float))
    in_use = (bins["phase"] != "free").groupby(bins["day"]).sum()
    assert in_use.tolist() == daily["bins_in_use"].tolist()
    free = bins[bins["phase"] == "free"]
    assert (free[["eggs", "larvae", "pupae", "adults", "bran_g"]] == 0).all(axis=None)


def test_founder_larvae_fill_a_ladder_of_bins():
    values = {"larva.duration_days": 110.8, "larva.reference_c": 30.0}
    model = make_colony(values, breeders=300, larvae=6000, temperature_c=30.0)
    period, rungs = 110.8, founders.LADDER
    assert phases(model) == ["breeding"] + ["growing"] * rungs + ["free"] * (13 - rungs)
    larvae = in_bins(model, Stage.LARVA)[1 : rungs + 1]
    assert sum(larvae) == 6000
    for count in larvae:
        assert abs(z_binomial(count, 6000, 1 / rungs)) < 5
    for k, bin_ in enumerate(model.bins[1 : rungs + 1]):
        assert bin_.date_out == -round(k * period / rungs)
        rows = model.insects.rows(Stage.LARVA, bin_.index)
        clock = model.insects.progress[rows]
        assert k / rungs <= clock.min() and clock.max() <= (k + 1) / rungs
    drop(model, Stage.ADULT)
    assert model.table[:, 3].sum() == 0
