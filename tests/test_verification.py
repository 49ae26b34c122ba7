"""The fast subset of the verification program, and that the program can say no."""

from __future__ import annotations

import pytest
from verification import report
from verification.breaks import MUTANTS
from verification.claim import Check, Claim, chi2_check, mean_check, t_check, z_check
from verification.lpa_map import S1, parse
from verification.mutants import _ROOT
from verification.registry import discover
from verification.runner import Outcome, run_claim

#: Quick claims that between them reach every kernel; the program runs the rest.
SUBSET = (
    "durations",
    "egg_predation",
    "growth_law",
    "limits",
    "lpa_step",
    "random_numbers",
    "rotation_share",
    "survival",
    "twin",
)


@pytest.mark.parametrize("name", SUBSET)
def test_claim_holds(name):
    outcome = run_claim(name, fast=True, seed=1, options={}, draw=False)
    assert not outcome.error
    assert [c for c in outcome.checks if not c.passed] == []
    assert outcome.checks


def test_every_claim_states_itself():
    for name, claim in discover().items():
        assert issubclass(claim, Claim)
        assert name and claim.statement and claim.source, name
        assert claim.kind in ("check", "calibration")


def test_a_check_can_fail():
    assert not Check("x", 1.1, 1.0, 0.05, "").passed
    assert not Check("x", float("nan"), 1.0, 0.5, "").passed
    assert Check("x", 9.0, 1.0, 0.0, "", kind="shown").passed
    assert not z_check("x", 5.0, 0.0, 1.0).passed
    assert z_check("x", 3.0, 0.0, 1.0).passed
    assert not chi2_check("x", [100, 0], [50, 50]).passed
    assert not t_check("x", [1.0, 1.1, 0.9, 1.0], [5.0, 5.1, 4.9, 5.0]).passed
    assert not mean_check("x", [1.0, 1.01, 0.99, 1.0, 1.0], 2.0).passed
    with pytest.raises(ValueError):
        Check("x", 1.0, 1.0, 0.0, "", kind="maybe")


def test_an_outcome_without_checks_or_with_an_error_fails(tmp_path):
    def outcome(checks, error=""):
        return Outcome("a", "s", "t", "check", checks, b"", 0.0, error)

    good, bad = Check("x", 1, 1, 0, ""), Check("x", 2, 1, 0, "")
    assert outcome([good]).passed
    assert not outcome([]).passed
    assert not outcome([good], "Traceback").passed
    assert not outcome([good, bad]).passed
    path = report.write(tmp_path / "r", [outcome([good, bad])], 1, True, 1)
    text = path.read_text()
    assert "failed: a" in text and "**FAIL**" in text
    assert [p.name for p in path.parent.iterdir()] == ["report.md"]


def test_lpa_sets_are_read_and_refused():
    assert parse("b=7, cpa=.35").b == 7.0
    assert parse("b=7").cel == S1.cel
    for text in ("b", "q=1", "b=x", "b=-1", "mua=1.5", "b=nan"):
        with pytest.raises(ValueError):
            parse(text)


def test_mutants_still_apply():
    known = discover()
    for mutant in MUTANTS:
        source = (_ROOT / "colony_sim" / mutant.file).read_text("utf-8")
        assert mutant.old in source, mutant.name
        assert mutant.old != mutant.new
        assert set(mutant.claims) <= known.keys(), mutant.name
