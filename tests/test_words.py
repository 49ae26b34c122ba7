"""Numbers and intervals as they are printed, the same everywhere and never claiming too much."""

import math
from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_study_slides import ORIGIN, made_tornado

from colony_sim.commands.show import difference_table, share
from colony_sim.measuring.catalogue import YIELD
from colony_sim.report import tables
from colony_sim.studies.comparison import assumptions
from colony_sim.studies.comparison.verdict import verdict
from colony_sim.studies.search import say as search_words
from colony_sim.studies.sensitivity import say as sensitivity_words
from colony_sim.studies.sensitivity import tornado
from colony_sim.words.estimate import Estimate, number, percent, probability, typeset
from colony_sim.words.finding import finding
from colony_sim.words.listing import listed

# Both limits lie inside what three digits round them to.
LOW, HIGH, OUTWARD = 2.386, 3.614, "2.38 to 3.62"
ROW = {
    "policy": "new", "baseline": "old", "measure": YIELD, "n_pairs": 8, "n_dropped": 0,
    "policy_mean": 13.0, "baseline_mean": 10.0, "difference": 3.0, "low": LOW, "high": HIGH,
    "relative_percent": 30.0, "relative_low": 23.86, "relative_high": 36.14, "p_t": 0.001,
    "p_holm": 0.001, "holm_family": 1, "level": 0.95,
}  # fmt: skip


def comparison(**other) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Summary and differences of two policies."""
    forth = ROW | other
    back = forth | {
        "policy": "old", "baseline": "new", "difference": -3.0, "low": -HIGH, "high": -LOW,
    }  # fmt: skip
    counts = {"n_runs": 8, "n_settled": 8, "n_unsettled": 0, "n_died_out": 0, "n_used": 8}
    summary = pd.DataFrame([
        {"policy": p, "measure": YIELD, **counts, "mean": m, "low": m - 1, "high": m + 1,
         "level": 0.95} for p, m in (("old", 10.0), ("new", 13.0))
    ])  # fmt: skip
    return summary, pd.DataFrame([forth, back])


def cells(table) -> list[str]:
    return [next(iter(column.cells)) for column in table.columns]


def test_one_interval_is_printed_alike_in_table_sentence_title_and_report():
    summary, differences = comparison()
    died = pd.DataFrame(columns=["policy", "baseline", "only_policy", "only_baseline"])
    shown = difference_table("new", differences.head(1))
    assert f"3.00 ({OUTWARD})" in cells(shown) and "30.0 (23.8 to 36.2)" in cells(shown)
    assert f"95 % interval {OUTWARD}" in verdict("", summary, differences, died)
    assert f"95 % interval {OUTWARD}" in finding(["old", "new"], summary, differences)
    report = tables.difference_tables(differences.head(1))[0]
    assert report.groups[0].rows[0].cells[:2] == (f"3.00 ({OUTWARD})", "30.0 (23.8 to 36.2)")


def test_limits_are_rounded_outward_in_every_study():
    assert assumptions._difference(3.0, LOW, HIGH) == f"3.00 g/day (95 % interval {OUTWARD})"
    assert search_words._limits(pd.Series({"yield_low": LOW, "yield_high": HIGH}), "yield") == (
        f" ({OUTWARD})"
    )
    made = replace(made_tornado(), central=(3.0, 0.2, LOW, HIGH))
    assert f"3.00 g/day (95 % interval {OUTWARD})" in tornado.slide(made, ORIGIN).say
    assert f"3.00 g/day (95 % interval {OUTWARD}) with nothing" in sensitivity_words.answer(made)
    table = made.table.assign(influence_low=LOW, influence_high=HIGH)
    assert f"95 % bootstrap interval {OUTWARD}" in sensitivity_words.answer(
        replace(made, table=table)
    )


@pytest.mark.parametrize(("p", "bold"), [(0.049, True), (0.051, False), (math.nan, False)])
def test_a_row_is_bold_only_where_the_sentence_separates(p, bold):
    summary, differences = comparison(p_holm=p, holm_family=3)
    shown = difference_table("new", differences.head(1))
    assert [row.style == "bold" for row in shown.rows] == [bold]
    assert ("yields more" in finding(["old", "new"], summary, differences)) == bold
    report = tables.difference_tables(differences.head(1))[0]
    assert bool(report.groups[0].rows[0].strong) == bold


def test_shares_are_never_rounded_to_none_or_all():
    assert [percent(x) for x in (0.0, 0.004, 0.15, 0.994, 0.996, 0.9996, 1.0)] == [
        "0 %", "0.4 %", "15 %", "99 %", "99.6 %", "99.96 %", "100 %",
    ]  # fmt: skip
    assert share(249, 250) == "249 of 250 (99.6 %)" and share(20, 20) == "20 of 20 (100 %)"


def test_a_number_that_is_none_is_said():
    assert [number(x) for x in (math.nan, math.inf, -math.inf, -0.0)] == ["–", "inf", "-inf", "0"]
    assert number(12345.6) == "12300"
    assert str(Estimate(math.nan)) == "not known" and Estimate(math.nan).cell == "–"
    assert str(Estimate(2.0, unit="g")) == "2.00 g" and Estimate(2.0).cell == "2.00"
    assert [probability(p) for p in (math.nan, 0.0, 0.0456)] == ["–", "< 0.001", "0.046"]
    assert typeset(Estimate(-0.5, -8.57e-5, 2).cell) == "−0.500 (−8.57\u202f×\u202f10⁻⁵ to 2.00)"


@given(st.floats(-1e9, 1e9), st.floats(-1e9, 1e9), st.floats(-1e9, 1e9))
def test_no_printed_limit_claims_more_than_was_found(first, second, third):
    low, mean, high = sorted((first, second, third))
    found = Estimate(mean, low, high)
    printed_low, printed_high = map(float, found.limits.split(" to "))
    assert printed_low <= low and high <= printed_high
    assert printed_low == pytest.approx(low, rel=0.0101)
    assert found.limits in str(found) and found.limits in found.cell


def test_names_in_a_row():
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    # One more is named, not counted.
    assert listed("abc", 2) == "a, b and c" and listed("abcd", 2) == "a, b and 2 more"
