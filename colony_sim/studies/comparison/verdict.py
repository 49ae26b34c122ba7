"""The evidence of an experiment in plain words.

Every word follows from the numbers. Two policies are said to differ only where the paired
interval leaves out 0 and, in a family of comparisons, the Holm-adjusted p value is below
1 - level as well. Interval limits are rounded outward, so that no printed limit claims more
than was found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from decimal import ROUND_CEILING

import pandas as pd

from colony_sim.measuring.catalogue import Measure, catalogue
from colony_sim.statistics.paired import separated
from colony_sim.words.estimate import Estimate, number, percent_of, probability
from colony_sim.words.finding import measures_in_house
from colony_sim.words.listing import listed
from colony_sim.words.units import named

LOSSES = "adult_losses_per_100_per_day"
REMINDER = "This is a statement about the model under its assumptions, not about a real colony."


def verdict(
    question: str,
    summary: pd.DataFrame,
    differences: pd.DataFrame,
    died: pd.DataFrame,
    primary: str = "yield_g_per_day",
) -> str:
    """Say what the evidence does and does not support.

    Parameters
    ----------
    question : put first as it stands; may be empty.
    summary : from `policy_summary`.
    differences : from `all_paired_differences`, or from `paired_differences`; a pair of policies
        not in it is called not compared.
    died : from `died_out_comparison`.
    primary : key of a measure in `measures.catalogue()` that is better as more or less.

    Returns
    -------
    str : one paragraph: runs that died out or were never steady (if any), the finding on `primary`,
        adult losses beside it (where measured), and that all of it is about the model.

    Raises
    ------
    ValueError : if `primary` is unknown, has no better side, or is not in `summary`.
    """
    measure = catalogue().get(primary)
    if measure is None or measure.better is None:
        raise ValueError(f"primary {primary!r} is not a measure with a better side")
    summary, differences = (
        measures_in_house(table, {primary: measure.unit}) for table in (summary, differences)
    )
    measure = replace(measure, unit=named(measure.unit))
    rows = summary[summary["measure"] == primary].set_index("policy")
    if rows.empty:
        raise ValueError(f"primary {primary!r} is not in the summary")
    lived = rows["n_died_out"] < rows["n_runs"]
    compared = [p for p in rows.index if lived[p] and math.isfinite(rows.loc[p, "mean"])]
    if not compared:
        finding = f"There is no {_name(measure)} to compare."
    elif len(compared) == 1:
        finding = _only_one(compared[0], len(rows), measure, summary)
    elif len(rows) == 2:
        finding = _two(compared, measure, summary, differences)
    else:
        finding = _many(compared, measure, summary, differences)
    parts = [question.strip(), _failures(rows, died), finding, REMINDER]
    return " ".join(p for p in parts if p)


def _failures(rows: pd.DataFrame, died: pd.DataFrame) -> str:
    """Runs that died out or were never steady, and how they count; empty if none."""
    died_out = [
        f"{r.n_died_out} of {r.n_runs} runs under {p}" for p, r in rows.iterrows() if r.n_died_out
    ]
    never = [
        f"{r.n_unsettled} of {r.n_runs} runs under {p}" for p, r in rows.iterrows() if r.n_unsettled
    ]
    text = ""
    if died_out:
        tests = [
            _died_test(row)
            for _, row in died.iterrows()
            if row["policy"] != row["baseline"] and row["only_policy"] + row["only_baseline"] > 0
        ]
        text = f"The colony died out in {listed(died_out)}"
        text += f" ({'; '.join(tests)})" if tests else ""
        text += ", which count with no harvest from then on."
    if never:
        text += f"{' It' if died_out else 'The colony'} was not steady even when lived on in "
        text += f"{listed(never)}, measured over the last half of the days."
    return text


def _died_test(row: pd.Series) -> str:
    policy, baseline, p = row["policy"], row["baseline"], row["p_holm"]
    if p < 1 - row["level"]:
        more = row["only_policy"] > row["only_baseline"]
        first, second = (policy, baseline) if more else (baseline, policy)
        words = f"more often under {first} than under {second}"
    else:
        words = f"{policy} and {baseline} are not separated in this"
    return f"{words}, exact McNemar {_p(p)} on {row['n_pairs']} pairs"


def _only_one(policy: str, n_policies: int, measure: Measure, summary: pd.DataFrame) -> str:
    start = "" if n_policies == 1 else "No other policy is left to compare: "
    mean = _mean_text(summary, policy, measure.key)
    text = f"{start}{policy} had a mean {_name(measure)} of {mean} {measure.unit}"
    losses = _mean_text(summary, policy, LOSSES) if measure.key != LOSSES else ""
    return text + (f", with adult losses of {losses} {_loss_unit()}." if losses else ".")


def _two(
    compared: Sequence[str], measure: Measure, summary: pd.DataFrame, differences: pd.DataFrame
) -> str:
    first, second = compared
    row = _row(differences, first, second, measure.key)
    if row is None or row["n_pairs"] < 2:
        each = [_mean_with_losses(p, measure, summary) for p in compared]
        return (
            f"Mean {_name(measure)} ({measure.unit}) was {listed(each)}, but with {_count(row)} "
            f"with a value under both policies there is no paired evidence of a difference "
            "or of none."
        )
    # The policy the difference favours comes first.
    sign = 1 if measure.better == "more" else -1
    if row["difference"] * sign < 0:
        return _two((second, first), measure, summary, differences)
    # Means over the pairs, so that they and their difference agree.
    means = (
        f"mean {_name(measure)} {number(row['policy_mean'])} {measure.unit} under {first} and "
        f"{number(row['baseline_mean'])} {measure.unit} under {second}"
    )
    detail = (
        f"a paired difference ({first} minus {second}) of {_interval(row, measure.unit)} "
        f"over {row['n_pairs']} pairs{_dropped(row)}"
    )
    if separated(row):
        side = "higher" if measure.better == "more" else "lower"
        body = f"{first} has the {side} {_name(measure)}: {means}, {detail}{_relative(row)}"
    else:
        body = (
            f"The evidence does not separate {first} from {second} in {_name(measure)}: "
            f"{means}, {detail}; {_excluded(row, measure)}"
        )
    return f"{body}; {_loss_clause(first, second, measure, differences)}"


def _many(
    compared: Sequence[str], measure: Measure, summary: pd.DataFrame, differences: pd.DataFrame
) -> str:
    sign = 1 if measure.better == "more" else -1
    ranked = sorted(compared, key=lambda p: -sign * _mean(summary, p, measure.key))
    best = ranked[0]
    behind, level_with, unknown = [], [], []
    for other in ranked[1:]:
        row = _row(differences, best, other, measure.key)
        if row is None or row["n_pairs"] < 2:
            reason = "" if row is None else f" ({_count(row)} with a value under both)"
            unknown.append(other + reason)
            continue
        text = f"{other} ({_interval(row, measure.unit)}, {row['n_pairs']} pairs{_dropped(row)})"
        # A best mean over all runs may still be worse over the shared seeds.
        if separated(row) and row["difference"] * sign > 0:
            behind.append(text)
        elif separated(row):
            level_with.append(f"{text[:-1]}, {other} being better on the shared seeds)")
        else:
            level_with.append(f"{text[:-1]}, {_excluded(row, measure)})")
    adjective = "highest" if measure.better == "more" else "lowest"
    top = [p for p in ranked if _mean(summary, p, measure.key) == _mean(summary, best, measure.key)]
    verb = "has" if len(top) == 1 else "share"
    text = (
        f"{listed(top)} {verb} the {adjective} mean {_name(measure)} ({measure.unit}): "
        f"{listed([_mean_with_losses(p, measure, summary) for p in ranked])}."
    )
    clauses = []
    if behind:
        clauses.append(f"the evidence puts it ahead of {listed(behind)}")
    if level_with:
        clauses.append(f"the evidence does not put it ahead of {listed(level_with)}")
    if behind or level_with:
        clauses[0] = f"in paired differences ({best} minus the other) {clauses[0]}"
    if unknown:
        clauses.append(f"it could not be compared in pairs with {listed(unknown)}")
    found = "; ".join(clauses)
    return f"{text} {found[0].upper()}{found[1:]}."


def _mean_with_losses(policy: str, measure: Measure, summary: pd.DataFrame) -> str:
    losses = _mean_text(summary, policy, LOSSES) if measure.key != LOSSES else ""
    losses = f" (adult losses {losses} {_loss_unit()})" if losses else ""
    return f"{_mean_text(summary, policy, measure.key)} under {policy}{losses}"


def _loss_clause(first: str, second: str, measure: Measure, differences: pd.DataFrame) -> str:
    if measure.key == LOSSES:
        return "yield was not weighed against it."
    row = _row(differences, first, second, LOSSES)
    if row is None or row["n_pairs"] < 2:
        return "adult losses could not be compared in pairs."
    values = number(row["policy_mean"]), number(row["baseline_mean"])
    text = f"adult losses were {values[0]} and {values[1]} {_loss_unit()}"
    shown = _interval(row, "")
    if not separated(row):
        return f"{text}, a difference the evidence does not separate from none ({shown})."
    side = "higher" if row["difference"] > 0 else "lower"
    return f"{text}, {side} under {first} ({shown})."


def _excluded(row: pd.Series, measure: Measure) -> str:
    """How small a difference is excluded, if 0 lies inside the interval."""
    if row["low"] > 0 or row["high"] < 0:
        p = _p(row["p_holm"])
        if row["holm_family"] > 1:
            family = f"{row['holm_family']} comparisons"
            return f"the interval leaves out 0, but not once Holm-adjusted for {family} ({p})"
        return f"all pairs differ alike, but {row['n_pairs']} pairs are too few to tell ({p})"
    bound = max((-row["low"], row["high"]))
    if bound == 0:
        return "the runs do not differ at all"
    size = number(bound, ROUND_CEILING)
    size = f"{size} {measure.unit}"
    return f"a difference of more than {size} either way is excluded at {percent_of(row['level'])}"


def _interval(row: pd.Series, unit: str) -> str:
    found = Estimate.of(row, "difference", unit=unit)
    return f"{found.value}, {found.interval}"


def _relative(row: pd.Series) -> str:
    found = Estimate.of(row, "relative_percent", "relative_{}", "%")
    if not found.bounded:
        return ""
    return f", or {found.value} ({found.limits} %) of {row['baseline']}"


def _dropped(row: pd.Series) -> str:
    return f" and {row['n_dropped']} dropped" if row["n_dropped"] else ""


def _row(differences: pd.DataFrame, first: str, second: str, key: str) -> pd.Series | None:
    """The comparison of two policies, in the given direction if it is there."""
    here = differences[differences["measure"] == key]
    for policy, baseline in ((first, second), (second, first)):
        found = here[(here["policy"] == policy) & (here["baseline"] == baseline)]
        if len(found):
            return _turned(found.iloc[0], first)
    return None


def _turned(row: pd.Series, first: str) -> pd.Series:
    """The same comparison as `first` minus the other; relative limits turn by reciprocals."""
    if row["policy"] == first:
        return row
    row = row.copy()
    for one, other in (("policy", "baseline"), ("policy_mean", "baseline_mean")):
        row[one], row[other] = row[other], row[one]
    row["difference"] = -row["difference"]
    row["low"], row["high"] = -row["high"], -row["low"]
    percent, low, high = row[["relative_percent", "relative_low", "relative_high"]]
    # The Fieller interval of b/p is that of p/b inverted, as long as both limits are positive.
    clear = low > -100 and percent > -100
    row["relative_percent"] = _inverse(percent) if clear else math.nan
    row["relative_low"] = _inverse(high) if clear else math.nan
    row["relative_high"] = _inverse(low) if clear else math.nan
    return row


def _inverse(percent: float) -> float:
    return 100 * (1 / (1 + percent / 100) - 1)


def _mean(summary: pd.DataFrame, policy: str, key: str) -> float:
    found = summary[(summary["policy"] == policy) & (summary["measure"] == key)]["mean"]
    return float(found.iloc[0]) if len(found) else math.nan


def _mean_text(summary: pd.DataFrame, policy: str, key: str) -> str:
    value = _mean(summary, policy, key)
    return number(value) if math.isfinite(value) else ""


def _count(row: pd.Series | None) -> str:
    n = 0 if row is None else int(row["n_pairs"])
    return f"{n or 'no'} seed{'' if n == 1 else 's'}"


def _name(measure: Measure) -> str:
    return measure.label[0].lower() + measure.label[1:]


def _loss_unit() -> str:
    return catalogue()[LOSSES].unit


def _p(p: float) -> str:
    text = probability(p)
    return f"p {text}" if text.startswith("<") else f"p = {text}"
