"""Plans that begin from bins that are there, beetles that are bought, animals by name."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from inline import Inline
from made_up_plan import made_up
from scipy import stats
from small_log import LOG
from test_plan import ASKED, asked, fault

from colony_sim.assimilation import lived
from colony_sim.assimilation.ensemble import Ensemble
from colony_sim.biology.climate import Climate, constant
from colony_sim.colony.simulate import Scenario
from colony_sim.experiment.worlds import SHIPPED, read_worlds
from colony_sim.planning import phrases, words_page
from colony_sim.planning.animals import animals
from colony_sim.planning.buying import buyer, in_words
from colony_sim.planning.check import _welch
from colony_sim.planning.choose import Effort
from colony_sim.planning.cold import warm_room
from colony_sim.planning.facts import stored
from colony_sim.planning.forecast import Case
from colony_sim.planning.measuring import PlanMeasuring
from colony_sim.planning.planner import _from_rack, base_plan, make_plan
from colony_sim.planning.request import read_request
from colony_sim.planning.troughs import bought, buying_days

TINY = Effort(
    designed=2, first_seeds=2, seeds=2, fresh=6, parents=(), finalists=1, attempts=1, check=2,
    years=1,
)  # fmt: skip
LIST = """
[plan]
start = 2031-03-29
[want]
grams_per_day = 1.0
[have]
bins = 4
bin_area_dm2 = 2.0
[[have.bin]]
beetles = 40
[[have.bin]]
small_larvae = 300
[[have.bin]]
large_larvae = 60
larvae = 40
[climate]
kind = "constant"
temperature_c = 27.0
"""


def rack_of(folder, text=LOG, **changes):
    path = folder / "shed.csv"
    path.write_text(text, encoding="utf-8")
    given = {**ASKED, "start": None, "bins": 4, "log": path, "temperature": 27.0, **changes}
    return read_request(None, {key: value for key, value in given.items() if value is not None})


def listed(folder, text=LIST):
    path = folder / "list.toml"
    path.write_text(text, encoding="utf-8")
    return read_request(path, {})


# ---- Bins that are there


def test_a_plan_from_a_log_goes_on_from_the_colony_of_today(tmp_path):
    request = rack_of(tmp_path)
    rack, measuring = request.rack, _from_rack(request, "2031-03-29")
    assert request.start == date(2031, 3, 29) and rack.today == 27 and request.have.breeders == 0
    worlds = read_worlds(SHIPPED)
    plan = base_plan(request, worlds)
    rules = {**dict(measuring.logged), "rack.bins": 4, "rack.bin_area_dm2": 12.0}
    base = plan.policies[0].parameters.with_values(rules, "test")
    ensemble = Ensemble(rack.schedule, rack.today, base, plan.profile, (27.0,) * 40, 1)
    today = ensemble.today_of(3)
    there = lived.contents(today)[:, :6].sum(axis=0)
    scenario = Scenario(ensemble.values(3), constant(27.0), 20, ensemble.run_seed(3), 1)
    record = measuring.live(scenario)
    daily = record.daily
    assert daily["day"].tolist() == list(range(1, 21)) and record.died_out_day is None
    # A day changes little, and beetles only die: none emerges from larvae of a month.
    assert 0.8 * there[5] <= daily["adults"].iloc[0] <= there[5]
    assert daily["larvae"].iloc[0] == pytest.approx(there[1:4].sum(), rel=0.2)
    log = record.bin_log
    assert log["day"].min() >= 1 and log["date_in"].dropna().lt(1).any()
    # The same colony with other rules from today on, and with another log, is another run.
    other = replace(measuring, rack=replace(rack, today=28))
    assert other.digest != measuring.digest != PlanMeasuring("2031-03-29").digest
    again = measuring.live(scenario)
    pd.testing.assert_frame_equal(again.daily, daily)


def test_what_a_list_says_is_in_the_bins(tmp_path):
    request = listed(tmp_path)
    assert request.rack.bins == 3 and request.have.bins == 4 and request.years == 2
    measuring = _from_rack(request, "2031-03-29")
    plan = base_plan(request)
    totals = []
    for seed in range(12):
        scenario = plan.scenario(plan.policies[0], 1, seed)
        daily = measuring.live(replace(scenario, days=1)).daily
        totals.append(daily[["adults", "larvae"]].iloc[0].to_numpy(float))
    # Guesses with an error of a quarter each: 12 draws of their sums, within 5 standard errors.
    adults, larvae = np.mean(totals, axis=0)
    assert abs(adults - 40) < 5 * 10 / np.sqrt(12) + 2
    assert abs(larvae - 400) < 5 * 80 / np.sqrt(12) + 10
    assert len({tuple(row) for row in totals}) == 12


def test_a_plan_from_a_list_says_so(tmp_path):
    request = listed(tmp_path)
    folder = tmp_path / "results"
    folder.mkdir()
    executor = Inline(made_up)
    found = make_plan(request, folder, TINY, executor=executor)
    kept = stored(found, TINY)
    assert kept.facts["rack"]["source"] == "list" and kept.facts["breeders"] == 0
    first, more, _ = words_page.parts(kept)
    said = "\n".join([first, *more])
    assert "from your bins as listed: about 40 beetles and 400 larvae" in said
    assert "beetles into one bin" not in said and "Checked: " in said
    assert kept.facts["checked"]["runs"] == 2
    assert {task.scenario.parameters["rack.bins"] for task in executor.ran} >= {4}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("beetles = 40", "beetle = 40", "one [[have.bin]] a bin"),
        ("beetles = 40", "beetles = -1", "have.bin 1: beetles = -1"),
        ("bins = 4", "bins = 2", "at least the 3 bins"),
        ("bins = 4", "bins = 4\nbreeders = 9", "those in the bins"),
        ("start = 2031-03-29", "years = 2", "plan.start = nothing"),
    ],
)
def test_bad_lists_end_in_one_line(tmp_path, old, new, said):
    assert said in fault(text=LIST.replace(old, new, 1), tmp_path=tmp_path)


def test_bad_logs_end_in_one_line(tmp_path):
    path = tmp_path / "shed.csv"
    path.write_text(LOG.replace("2031-03-11,B", "2031-03-11,A"), encoding="utf-8")
    given = {**ASKED, "bins": 4, "log": path}
    assert "shed.csv" in fault(given)
    path.write_text(LOG, encoding="utf-8")
    assert "before the start" in fault({**given, "start": "2031-02-01"})
    assert "breeders" in fault({**given, "start": "2031-03-29", "breeders": 20})


# ---- Beetles that are bought


@pytest.mark.parametrize("source", ["beetles", "list"])
def test_bought_beetles_come_on_their_day_and_the_books_close(tmp_path, source):
    request = listed(tmp_path)
    measuring = (
        _from_rack(request, "2031-03-29") if source == "list" else PlanMeasuring("2031-01-01")
    )
    plan = replace(base_plan(request), breeders=40, days=12, keeper=buyer(((5, 70), (9, 30))))
    bare = replace(plan, keeper=None)
    # `live` raises where a ledger does not close.
    some, none = (measuring.live(p.scenario(p.policies[0], 1, 7)).daily for p in (plan, bare))
    more = (some["adults"] - none["adults"]).tolist()
    assert more[:4] == [0] * 4 and 60 <= more[4] <= 70 and 85 <= more[8] <= 100
    assert plan.keeper.digest != buyer(((5, 71), (9, 30))).digest and buyer(()) is None


def test_when_to_buy_is_a_growth_before_the_trough():
    start = date(2030, 3, 1)
    weeks = pd.DataFrame({
        "week": range(1, 121), "met_share": 0.5, "four_weeks_g_per_day": 1.0,
        "growth_temperature_c": 20.0,
        "date": [(start + timedelta(days=7 * i)).isoformat() for i in range(120)],
    })  # fmt: skip
    weeks["short"] = weeks["week"].isin([70, 71, 74, 100])
    days = buying_days(weeks, start, 100.0)
    # Week 70 tells of the weeks from 67 on: day 463, less 100 of growth and 14 of laying.
    first, second = (start + timedelta(days=day - 1) for day in days)
    assert (first, second) == (date(2031, 2, 1), date(2031, 9, 1))
    early = buying_days(weeks.assign(short=weeks["week"] == 8), start, 100.0)
    assert early == (1,)
    case = Case({}, constant(25.0))
    shares = iter([[0.8, 0.9], [0.8, 0.81]])
    assert bought(case, days, 100, lambda cases: next(shares)).buys == tuple((d, 200) for d in days)
    assert bought(case, days, 100, lambda cases: next(shares)).buys[0][1] == 100
    assert bought(case, (), 100, lambda cases: []) is None
    assert in_words(((32, 200), (400, 200)), start) == (
        "buy 200 beetles in April 2030 and in April 2031"
    )


# ---- One temperature


def test_the_warm_room_is_the_least_that_is_of_use():
    wave = Climate("yearly_wave", (18.0, 6.0, 20.0))

    def fed(cases):
        return [min(1.0, float(case.climate.daily(365).min()) / 20.0) for case in cases]

    found = warm_room(Case({}, wave), 730, fed)
    assert found.floor == 20.0 and found.case.climate.daily(365).min() == 20.0
    assert warm_room(Case({}, constant(18.0)), 730, fed) is None
    assert warm_room(Case({}, Climate("yearly_wave", (27.0, 1.0, 20.0))), 730, fed) is None


# ---- Animals, months, the check


def test_animals_by_name_add_up():
    want = asked(grams_per_day=None, animals="4 hens, 12 quail and 1 Duck").want
    known = animals()
    assert want.grams_per_day == pytest.approx(
        4 * known["hen"].grams + 12 * known["quail"].grams + known["duck"].grams
    )
    assert want.assumed and "4 hens x 0.85 g, 12 quail x 0.4 g, 1 duck" in want.in_words
    # A hen has what a bird has by default.
    assert asked(grams_per_day=None, birds=4).want.grams_per_day == pytest.approx(
        asked(grams_per_day=None, animals={"hens": 4}).want.grams_per_day
    )
    for text, said in (
        ("4 hen s", "did you mean hens"), ("hens", "such as 4 hens"), ("4 dragons", "one of hens"),
        ("0 hens", "a whole number from 1"),
    ):  # fmt: skip
        assert said in fault({**ASKED, "grams_per_day": None, "animals": text})
    assert "either animals" in fault({**ASKED, "birds": 3, "animals": "4 hens"})


def test_months_in_words():
    assert phrases.months([1, 2, 3]) == "January to March"
    assert phrases.months([12, 1, 7]) == "December to January and July"
    assert phrases.months([5]) == "May"


def test_the_interval_of_the_check_is_that_of_scipy():
    # Outside check: scipy.stats.ttest_ind with unequal variances.
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.8, 0.1, 20), rng.normal(0.9, 0.2, 12)
    difference, half = _welch(a, b)
    known = stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.95)
    assert (difference - half, difference + half) == pytest.approx((known.low, known.high))
    assert _welch(np.ones(4), np.ones(3)) == (0.0, 0.0)
