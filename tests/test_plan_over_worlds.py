"""Plans over worlds: what is luck, what nobody knows, in which worlds runs live, words."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, replace

import numpy as np
import pandas as pd
import pytest
from inline import Inline
from made_up_plan import made_up
from test_plan import SMALL, Backwards, asked

from colony_sim.biology.parameters import Parameters
from colony_sim.commands.main import app
from colony_sim.errors import InputError
from colony_sim.experiment.plan import named, replicate_seeds
from colony_sim.experiment.worlds import SHIPPED, Worlds, read_worlds
from colony_sim.planning import words, words_luck, words_page
from colony_sim.planning.choose import (
    OVER_WORLDS,
    QUICK_OVER_WORLDS,
    Effort,
    effort_of,
)
from colony_sim.planning.facts import StoredPlan, stored
from colony_sim.planning.forecast import Forecast
from colony_sim.planning.luck import FEWEST, TWICE, Luck, Part, luck
from colony_sim.planning.planner import base_plan, make_plan
from colony_sim.planning.request import read_request
from colony_sim.planning.wants import Want

AGAIN = replace(SMALL, fresh=20, attempts=1, again=12)
LEAST = Effort(designed=2, seeds=2, fresh=4, parents=(), finalists=1, attempts=1, check=2)
NEARLY = {"grams_per_day": 6.2}
"""A want that some of the worlds meet and some do not."""
KEY = "adult.life_mean_days"
LIVES = np.linspace(50.0, 80.0, 60)


def in_worlds(task):
    """Made-up harvests, more of them the longer beetles live: worlds count, and luck a little."""
    found = made_up(task)
    part = task.scenario.parameters[KEY] / 65.0
    found.outcome["harvest"] = [part * grams for grams in found.outcome["harvest"]]
    return found


def planned(folder, effort=AGAIN, profile=None, executor=None, **changes):
    folder.mkdir(exist_ok=True)
    executor = Inline(in_worlds) if executor is None else executor
    profile = Worlds("mine", (KEY,), LIVES[:, None]) if profile is None else profile
    found = make_plan(asked(**changes), folder, effort, profile=profile, executor=executor)
    return found, executor.ran


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    found, _ = planned(tmp_path_factory.mktemp("worlds"), **NEARLY)
    return stored(found, AGAIN)


# ---- The split, against closed forms


def test_what_is_luck_for_beta_binomial_worlds():
    # A world meets the want with p from Beta(a, b): var p / (P (1 - P)) = 1 / (a + b + 1)
    # (Johnson, Kotz & Kemp 1992, Univariate Discrete Distributions, ch. 6). 150 plans of 40 worlds
    # lived twice; the mean share is within 5 of its standard errors, and the ratio's own bias.
    rng = np.random.default_rng(1)
    for a, b in ((2.0, 1.0), (1.0, 1.0), (0.3, 0.3)):
        shares = []
        for _ in range(150):
            p = rng.beta(a, b, 40)
            met = rng.random((2, 40)) < p
            found = luck([*range(40), *range(40)], np.ones(80), met.ravel())
            shares.append(found.met.unknown)
            assert found.both == (met.all(axis=0)).sum() and found.twice == 40
            assert found.never == (~met.any(axis=0)).sum()
            assert found.both + found.once + found.never == 40
        error = np.std(shares) / np.sqrt(len(shares))
        assert abs(np.mean(shares) - 1 / (a + b + 1)) < 5 * error + 0.02


@pytest.mark.parametrize("again", [20, 40])
def test_what_is_luck_for_normal_worlds_and_how_far_the_error_goes(again):
    # Between 3, within 1: a share of 0.75. The stated error is that of repeated plans.
    rng = np.random.default_rng(2)
    found = []
    for _ in range(120):
        world = rng.normal(5.0, np.sqrt(3.0), 40)
        sure = np.concatenate([world, world[:again]]) + rng.normal(size=40 + again)
        found.append(luck([*range(40), *range(again)], sure, sure > 4.0).missing)
    shares = np.array([part.unknown for part in found])
    assert abs(shares.mean() - 0.75) < 5 * shares.std() / np.sqrt(120) + 0.015
    assert np.mean([part.error for part in found]) == pytest.approx(shares.std(), rel=0.25)
    assert all(part.clear for part in found)


def test_a_world_of_plenty_counts_no_more_than_one_that_meets_the_want():
    # Surplus does not part: what is missing is 0 or more.
    rng = np.random.default_rng(3)
    worlds = [*range(20), *range(20)]
    lack = np.maximum(rng.normal(0.5, 1.0, 40), 0.0)
    forecast = Forecast(None, (), tuple({"harvest": [2.0 - x] * 400} for x in lack))
    plenty = Forecast(None, (), tuple({"harvest": [2.0 - x if x else 99.0] * 400} for x in lack))
    want = Want(2.0, after_days=0)
    assert forecast.missing(want) == pytest.approx(lack)
    assert plenty.missing(want) == pytest.approx(lack)
    assert luck(worlds, lack, lack == 0).missing is not None


def test_nothing_is_parted_where_too_few_worlds_are_lived_twice_or_nothing_differs():
    once = luck(range(20), np.arange(20.0), np.arange(20) > 9)
    assert once.missing is None and once.met is None and once.twice == 0
    for twice in (TWICE - 1, TWICE):
        worlds = [*range(20), *range(twice)]
        found = luck(worlds, np.arange(20.0 + twice), np.arange(20 + twice) % 2 > 0)
        assert (found.missing is None) == (found.met is None) == (twice < TWICE)
    same = luck([*range(10), *range(10)], np.ones(20), np.ones(20, bool))
    assert same.missing is None and same.met is None and same.both == 10
    one = luck([7] * 5, np.arange(5.0), np.ones(5, bool))
    assert one.missing is None and one.worlds == 1
    # Runs that fall short in fewer worlds than tell.
    worlds = [*range(20), *range(20)]
    for few in (FEWEST - 1, FEWEST):
        lack = np.zeros(40)
        lack[:few] = np.arange(1.0, few + 1)
        found = luck(worlds, lack, lack == 0)
        assert (found.missing is None) == (found.met is None) == (few < FEWEST)


# ---- Where runs live


def test_every_candidate_lives_in_the_same_worlds_and_the_chosen_in_fresh_ones(tmp_path):
    found, ran = planned(tmp_path, **NEARLY)
    seeds = replicate_seeds(1, AGAIN.all_seeds + AGAIN.again)
    searched, fresh = seeds[: AGAIN.seeds], seeds[AGAIN.seeds : AGAIN.all_seeds]
    lived = {}
    for task in ran:
        world = int(np.argmin(np.abs(LIVES - task.scenario.parameters[KEY]))) + 1
        lived.setdefault(task.scenario.seed, set()).add(world)
    assert all(len(worlds) == 1 for worlds in lived.values())
    assert [lived[seed] for seed in searched] == [{i + 1} for i in range(AGAIN.seeds)]
    own = [lived[seed] for seed in fresh]
    assert own == [{AGAIN.seeds + i + 1} for i in range(AGAIN.fresh)]
    # The same worlds again, with seeds of their own.
    assert [lived[seed] for seed in seeds[AGAIN.all_seeds :]] == own[: AGAIN.again]
    assert found.plan.worlds == tuple(world for worlds in own for world in worlds)
    assert found.plan.seeds == fresh and found.luck.twice == AGAIN.again
    assert found.luck.runs == AGAIN.fresh + AGAIN.again and found.chosen.met.runs == AGAIN.fresh
    # Worlds differ by up to a third, luck by 2 %.
    assert found.luck.missing.unknown > 0.7


def test_fewer_worlds_than_runs_are_lived_more_than_once_by_themselves(tmp_path):
    profile = Worlds("few", (KEY,), LIVES[::6, None])
    found, ran = planned(tmp_path, profile=profile)
    assert found.luck.worlds == 10 and found.luck.runs == AGAIN.fresh and found.luck.twice == 10


def test_the_same_plan_over_worlds_whatever_the_order_of_the_runs(kept, tmp_path):
    # Two workers end runs in another order than one.
    found, _ = planned(tmp_path, executor=Backwards(in_worlds), **NEARLY)
    again = stored(found, AGAIN)
    assert again.facts == kept.facts
    for name, table in kept.tables.items():
        pd.testing.assert_frame_equal(table, again.tables[name])


def test_one_world_has_neither_worlds_nor_runs_again(tmp_path):
    effort = replace(LEAST, again=5)
    executor = Inline(made_up)
    found = make_plan(asked(), tmp_path, effort, executor=executor)
    assert found.luck is None and found.plan.profile is None and found.plan.worlds == ()
    assert {t.scenario.seed for t in executor.ran} <= {*replicate_seeds(1, 7 + LEAST.all_seeds)}
    assert {t.scenario.parameters[KEY] for t in executor.ran} == {Parameters.default()[KEY]}
    assert effort_of(False, over_worlds=False) == Effort()
    assert effort_of(True, over_worlds=True) == QUICK_OVER_WORLDS


def test_a_plan_over_worlds_takes_about_as_many_runs():
    # What it costs is told before it starts; the default is not to take longer than in one world.
    assert OVER_WORLDS.most_runs < 1.05 * Effort().most_runs
    assert QUICK_OVER_WORLDS.most_runs < 1.05 * effort_of(True, over_worlds=False).most_runs
    assert OVER_WORLDS.again <= OVER_WORLDS.fresh <= Effort().fresh


def test_values_of_the_plan_file_are_the_keepers_own_and_are_not_drawn(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(
        "[want]\ngrams_per_day = 3.0\n[have]\nbins = 14\n[plan]\nstart = 2030-03-01\n"
        '[climate]\nkind = "constant"\ntemperature_c = 25.0\n[biology]\n'
        "adult.life_mean_days = 77.0\n"
    )
    worlds = read_worlds(SHIPPED)
    plan = base_plan(read_request(file, {}), worlds)
    assert KEY in worlds.keys and KEY not in plan.profile.keys
    assert plan.name == f"{named('mine', worlds)}-plan"
    policy = plan.policies[0]
    assert {plan.scenario(policy, r, 1).parameters[KEY] for r in (1, 2)} == {77.0}
    minutes = {plan.scenario(policy, r, 1).parameters["labour.move_minutes"] for r in range(1, 9)}
    assert len(minutes) == 8


# ---- Words


def with_luck(plan, **changes):
    facts = {**plan.facts, **changes}
    return StoredPlan(facts, plan.tables)


def test_the_answer_says_over_what_it_counts(kept):
    share = kept.met
    assert 0 < share.met < share.runs
    counted = f"{share.met} of {share.runs} possible colonies"
    assert f"How sure: {counted}" in page(kept)
    assert counted in words.chances(kept)
    one = with_luck(kept, luck=None)
    assert f"{share.met} of {share.runs} runs" in words.chances(one)
    assert "luck alone" in words.what_is_uncertain(one)
    assert "colonies" not in words.headline(one)
    met = with_luck(kept, want={**kept.facts["want"], "probability": share.value})
    assert words.headline(met).endswith(f"in {counted}") or "too few" in words.headline(met)


def test_luck_and_ignorance_are_the_shares_of_the_facts(kept):
    part = kept.facts["luck"]["missing"]
    said = words_luck.parts(kept.facts)
    assert said in page(kept) and said in words.in_words(kept)
    assert f"how much is missing, some {100 * (1 - part['unknown']):.0f} % is luck" in said
    assert f"{100 * part['unknown']:.0f} % (give or take" in said
    assert "your log leaves open" in said and "longer log" in said
    shipped = words_luck.parts({**kept.facts, "profile": SHIPPED})
    assert "nobody knows about these insects" in shipped and "colony-sim fit" in shipped
    lived = kept.facts["luck"]
    assert (
        f"Of {lived['twice']} colonies lived twice with other luck, {lived['both']} meet the "
        f"want both times, {lived['once']} once and {lived['never']} never"
    ) in words.in_words(kept)


def test_a_split_that_is_not_clear_is_not_told(kept):
    unclear = Luck(8, 12, 4, 3, 1, 0, Part(0.6, 0.4), None)
    said = words_luck.parts({**kept.facts, "luck": asdict(unclear)})
    assert said.startswith("Too few") and "%" not in said
    # Where what is missing does not tell, whether it is enough may.
    other = asdict(replace(unclear, met=Part(0.6, 0.1)))
    assert "whether it is enough, some 40 %" in words_luck.parts({**kept.facts, "luck": other})


def page(plan):
    """All that a screen may have of a plan."""
    first, more, last = words_page.parts(plan)
    return "\n".join([first, *more, last])


def test_the_page_begins_with_the_answer_and_what_to_do(kept):
    first, more, _ = words_page.parts(kept)
    assert first == f"{words.headline(kept)}."
    assert more[0].startswith("What to do about it:") and more[1] == words_page.rules(kept)
    assert f"every {kept.facts['policy']['rotation.interval_days']} days" in more[1].lower()
    # The answer and both fit on a screen, whose last lines say where the rest is.
    lines = [part for line in "\n".join([first, *more[:2]]).split("\n")
             for part in textwrap.wrap(line, 80)]  # fmt: skip
    assert len(lines) <= 20


def test_one_world_and_a_profile_do_not_go_together(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    given = ["--bins", "9", "--temperature", "25", "--start", "2030-03-01", "--grams-per-day", "3"]
    with pytest.raises(InputError, match="not together with `profile`"):
        app(["plan", *given, "--one-world", "--profile", "mine.csv"], standalone_mode=False)
    assert list(tmp_path.iterdir()) == []
