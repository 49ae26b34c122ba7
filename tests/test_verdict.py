from decimal import ROUND_CEILING, ROUND_FLOOR

import numpy as np
import pandas as pd
import pytest

from colony_sim.statistics.paired import (
    all_paired_differences,
    died_out_comparison,
    paired_differences,
    policy_summary,
    separated,
)
from colony_sim.studies.comparison.verdict import LOSSES, REMINDER, verdict
from colony_sim.words.estimate import number

YIELD = "yield_g_per_day"
# Sums to 0: shifts a policy's seeds without changing its mean.
JITTER = np.array([0.5, -0.5, 1.0, -1.0, 0.25, -0.25, 0.75, -0.75])
COLONY = np.array([40.0, 45, 50, 55, 60, 65, 70, 75])


def make(yields, losses=None, bad=None):
    rows = []
    for policy, values in yields.items():
        for seed, value in enumerate(values):
            status = (bad or {}).get(policy, {}).get(seed, "settled")
            row = {"policy": policy, "seed": seed, "status": status, YIELD: float(value)}
            if losses is not None:
                row[LOSSES] = float(losses[policy][seed])
            if status == "died_out":
                row |= {YIELD: 0.0} | ({LOSSES: np.nan} if LOSSES in row else {})
            rows.append(row)
    return pd.DataFrame(rows)


def say(table, baseline=None, primary=YIELD, question="", every_pair=True):
    baseline = baseline or table["policy"].iloc[0]
    differences = (
        all_paired_differences(table) if every_pair else paired_differences(table, baseline)
    )
    died = died_out_comparison(table, baseline)
    return verdict(question, policy_summary(table), differences, died, primary)


def two(shift, **options):
    return make({"slow": COLONY, "fast": COLONY + shift + JITTER}, **options)


@pytest.mark.parametrize("every_pair", [True, False])
@pytest.mark.parametrize("baseline", ["slow", "fast"])
def test_two_separated(baseline, every_pair):
    losses = {"slow": 1 + JITTER / 10, "fast": 1.5 - JITTER / 10}
    text = say(two(3, losses=losses), baseline, question="Which is it?", every_pair=every_pair)
    assert text.startswith("Which is it? fast has the higher yield: ")
    assert "60.5 g/day under fast and 57.5 g/day under slow" in text
    # By hand: sd of JITTER 0.7319, t(7) 2.3646, half-width 0.6119; limits rounded outward.
    assert "(fast minus slow) of 3.00 g/day, 95 % interval 2.38 to 3.62 over 8 pairs," in text
    assert "5.22 %" in text and "of slow" in text
    assert (
        "adult losses were 1.50 and 1.00 per 100 adults per day, higher under fast (0.500" in text
    )
    assert text.endswith(REMINDER)
    assert "died out" not in text and "settled" not in text


def test_relative_limits_are_the_same_from_either_baseline():
    table = two(3)
    assert say(table, "slow", every_pair=False) == say(table, "fast", every_pair=False)


def test_two_not_separated():
    losses = {"slow": 1 + JITTER / 10, "fast": 1.01 - JITTER / 10}
    text = say(two(0.2, losses=losses))
    assert text.startswith("The evidence does not separate fast from slow in yield: ")
    # Interval -0.412 to 0.812.
    assert "95 % interval -0.412 to 0.812 over 8 pairs" in text
    assert "a difference of more than 0.812 g/day either way is excluded at 95 %" in text
    assert "a difference the evidence does not separate from none" in text
    assert "higher" not in text and "lower" not in text and "ahead" not in text


def test_two_not_separated_where_less_is_better():
    losses = {"slow": 10 + JITTER, "fast": np.full(8, 10.2)}
    text = say(two(0.2, losses=losses), primary=LOSSES)
    assert "does not separate slow from fast in adult losses" in text
    assert "95 % interval -0.812 to 0.412" in text
    assert "a difference of more than 0.812 per 100 adults per day either way is excluded" in text


def test_interval_and_adjusted_p_must_both_leave_out_zero():
    row = {"low": 0.1, "high": 1.0, "p_holm": 0.01, "level": 0.95}
    assert separated(pd.Series(row))
    for change in (
        {"low": -0.1},
        {"p_holm": 0.06},
        {"p_holm": np.nan},
        {"low": np.nan, "high": np.nan},
    ):
        assert not separated(pd.Series(row | change))


def test_two_identical():
    text = say(make({"a": COLONY, "b": COLONY}))
    assert "does not separate a from b" in text and "the runs do not differ at all" in text
    assert "adult losses could not be compared in pairs." in text


def test_two_alike_differences_of_too_few_pairs():
    text = say(make({"a": [1, 2, 3], "b": [2, 3, 4]}))
    assert "does not separate b from a" in text
    assert "all pairs differ alike, but 3 pairs are too few to tell (p = 0.25)" in text


def test_less_is_better_for_losses():
    losses = {"slow": 1 + JITTER / 10, "fast": 1.5 - JITTER / 10}
    text = say(two(3, losses=losses), primary=LOSSES)
    assert text.startswith("slow has the lower adult losses: ")
    assert "(slow minus fast) of -0.500 per 100 adults per day" in text
    assert "yield was not weighed against it" in text


def test_failures_come_first_with_their_test():
    bad = {"slow": dict.fromkeys(range(6), "died_out"), "fast": {7: "unsettled"}}
    text = say(two(3, bad=bad), question="Q?")
    assert text.startswith(
        "Q? The colony died out in 6 of 8 runs under slow (more often under slow than under fast, "
        "exact McNemar p = 0.031 on 8 pairs), which count with no harvest from then on. It was not "
        "steady even when lived on in 1 of 8 runs under fast, measured over the last half of the "
        "days. fast has the higher yield: "
    )
    assert "over 8 pairs" in text and "dropped" not in text


def test_dying_out_not_separated():
    text = say(two(3, bad={"fast": {0: "died_out", 1: "died_out"}}))
    assert (
        "The colony died out in 2 of 8 runs under fast (fast and slow are not separated in "
        "this, exact McNemar p = 0.5 on 8 pairs), which count with no harvest from then on." in text
    )
    assert "over 8 pairs" in text and "dropped" not in text


def test_dying_out_alike_needs_no_test():
    died = {0: "died_out"}
    text = say(two(3, bad={"fast": died, "slow": died}))
    assert text.startswith(
        "The colony died out in 1 of 8 runs under slow and 1 of 8 runs under fast, which count "
        "with no harvest from then on. "
    )


def test_never_steady_counts_and_is_told():
    text = say(two(3, bad={"fast": {0: "unsettled"}}))
    assert text.startswith(
        "The colony was not steady even when lived on in 1 of 8 runs under fast, measured over the "
        "last half of the days. fast has the higher yield: "
    )


def test_no_seed_with_a_value_under_both():
    bad = {
        "slow": dict.fromkeys(range(4), "died_out"),
        "fast": dict.fromkeys(range(4, 8), "died_out"),
    }
    losses = {"slow": 1 + JITTER / 10, "fast": 1.5 - JITTER / 10}
    text = say(two(3, losses=losses, bad=bad), primary=LOSSES)
    assert "with no seeds with a value under both policies there is no paired evidence" in text


def test_only_one_policy_persisted():
    losses = {"slow": 1 + JITTER, "fast": 2 + JITTER}
    text = say(two(3, losses=losses, bad={"slow": dict.fromkeys(range(8), "died_out")}))
    assert "The colony died out in 8 of 8 runs under slow" in text
    assert (
        "No other policy is left to compare: fast had a mean yield of 60.5 "
        "g/day, with adult losses of 2.00 per 100 adults per day." in text
    )


def test_no_run_persisted():
    bad = {p: dict.fromkeys(range(8), "died_out") for p in ("slow", "fast")}
    text = say(two(3, bad=bad))
    assert "There is no yield to compare." in text
    assert text.endswith(REMINDER)


def test_one_policy():
    assert say(make({"only": COLONY})) == f"only had a mean yield of 57.5 g/day. {REMINDER}"


def many(**options):
    return make(
        {
            "base": COLONY,
            "near": COLONY + 4.9 + JITTER[::-1] * 2,
            "best": COLONY + 5 + JITTER,
            "dead": COLONY,
        },
        **options,
    )


def test_many_names_best_ties_and_failures():
    losses = {
        p: np.full(8, v) for p, v in (("base", 1.0), ("near", 1.1), ("best", 1.2), ("dead", 1.3))
    }
    text = say(many(losses=losses, bad={"dead": dict.fromkeys(range(8), "died_out")}))
    assert text.startswith("The colony died out in 8 of 8 runs under dead (more often under dead")
    assert (
        "best has the highest mean yield (g/day): 62.5 under best (adult losses 1.20 per 100 "
        "adults per day), 62.4 under near" in text
    )
    ahead, level = text.split("the evidence puts it ahead of ")[1].split(
        "; the evidence does not put it ahead of "
    )
    assert "base (5.00 g/day" in ahead and "near" not in ahead
    assert "near (0.100 g/day" in level and "is excluded at 95 %" in level and "base" not in level
    assert "could not be compared" not in text


def test_many_without_the_pairs_of_the_best():
    text = say(many(), "base", every_pair=False)
    assert "the evidence puts it ahead of base (" in text
    assert "it could not be compared in pairs with near and dead." in text


def test_many_with_too_few_shared_seeds():
    bad = {
        "best": dict.fromkeys(range(4), "died_out"), "dead": dict.fromkeys(range(4, 8), "died_out")
    }  # fmt: skip
    losses = {p: v + JITTER / 10 for p, v in (("base", 2), ("near", 2.5), ("best", 1), ("dead", 3))}
    text = say(many(losses=losses, bad=bad), primary=LOSSES)
    assert "could not be compared in pairs with dead (no seeds with a value under both)" in text


def test_many_holm_holds_back_what_the_interval_alone_would_say():
    # 8 pairs, mean 0.7, sd 0.7319: t = 2.70, p = 0.031 alone and 0.092 among three.
    table = make({"a": COLONY, "b": COLONY + 0.7 + JITTER, "c": COLONY - JITTER[::-1] * 9})
    text = say(table)
    assert "the interval leaves out 0, but not once Holm-adjusted for 3 comparisons" in text
    assert "puts it ahead" not in text


def test_many_best_mean_may_be_worse_on_shared_seeds():
    # Under 'a' beetles are left on the last seeds alone, where losses are few; 'b' loses fewer.
    bad = {"a": dict.fromkeys(range(3), "died_out")}
    yields = dict.fromkeys("abc", COLONY)
    losses = {"a": 90 - COLONY, "b": 88 - COLONY + JITTER / 10, "c": 130 - COLONY}
    text = say(make(yields, losses=losses, bad=bad), primary=LOSSES)
    assert "a has the lowest mean adult losses" in text
    assert "the evidence does not put it ahead of b (" in text
    assert "b being better on the shared seeds" in text


def test_many_ties_share_the_best():
    text = say(make({"a": COLONY, "b": COLONY, "c": COLONY - 9}))
    assert "a and b share the highest mean yield" in text


@pytest.mark.parametrize("primary", ["nonsense", "breeders_alive", "yield_larvae_per_day"])
def test_primary_must_be_a_summarised_measure_with_a_better_side(primary):
    with pytest.raises(ValueError, match="primary"):
        say(two(3), primary=primary)


def test_numbers_have_three_digits_and_round_outward():
    assert [number(v) for v in (0, 0.1, 0.09999999, 12.345, 99.96, 1234.0, -0.00123456, 2e-7)] == [
        "0",
        "0.100",
        "0.100",
        "12.3",
        "100",
        "1230",
        "-0.00123",
        "2.00e-7",
    ]
    assert number(0.12301, ROUND_CEILING) == "0.124"
    assert number(-0.12301, ROUND_FLOOR) == "-0.124"
    assert number(-0.12399, ROUND_CEILING) == "-0.123"
