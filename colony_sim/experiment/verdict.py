"""The evidence of an experiment in plain words.

Every word follows from the numbers. Two policies are said to differ only where the paired
interval leaves out 0 and, in a family of comparisons, the Holm-adjusted p value is below
1 - level as well. Interval limits are rounded outward, so that no printed limit claims more
than was found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import pandas as pd

from colony_sim.experiment.measures import Measure, catalogue

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
    str : one paragraph: runs that died out or never settled (if any), the finding on `primary`,
        adult losses beside it (where measured), and that all of it is about the model.

    Raises
    ------
    ValueError : if `primary` is unknown, has no better side, or is not in `summary`.
    """
    measure = catalogue().get(primary)
    if measure is None or measure.better is None:
        raise ValueError(f"primary {primary!r} is not a measure with a better side")
    rows = summary[summary["measure"] == primary].set_index("policy")
    if rows.empty:
        raise ValueError(f"primary {primary!r} is not in the summary")
    compared = [p for p in rows.index if math.isfinite(rows.loc[p, "mean"])]
    if not compared:
        finding = f"No run gave a steady {_name(measure)}, so no policy can be compared."
    elif len(compared) == 1:
        finding = _only_one(compared[0], len(rows), measure, summary)
    elif len(rows) == 2:
        finding = _two(compared, measure, summary, differences)
    else:
        finding = _many(compared, measure, summary, differences)
    parts = [question.strip(), _failures(rows, died), finding, REMINDER]
    return " ".join(p for p in parts if p)


def _failures(rows: pd.DataFrame, died: pd.DataFrame) -> str:
    """Runs that died out or never settled, and whether dying out differs; empty if none."""
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
        text = f"The colony died out in {_list(died_out)}"
        text += f" ({'; '.join(tests)})." if tests else "."
    if never:
        text += f"{' It' if died_out else 'The colony'} never settled in {_list(never)}."
    if not text:
        return ""
    return f"{text} What follows is from settled runs alone."


def _died_test(row: pd.Series) -> str:
    policy, baseline, p = row["policy"], row["baseline"], row["p_holm"]
    if p < 1 - row["level"]:
        more = row["only_policy"] > row["only_baseline"]
        first, second = (policy, baseline) if more else (baseline, policy)
        words = f"more often under {first} than under {second}"
    else:
        words = f"{policy} and {baseline} not separated in this"
    return f"{words}, exact McNemar p = {_p(p)} on {row['n_pairs']} pairs"


def _only_one(policy: str, n_policies: int, measure: Measure, summary: pd.DataFrame) -> str:
    start = "" if n_policies == 1 else f"Only {policy} gave settled runs, so nothing is compared: "
    mean = _mean_text(summary, policy, measure.key)
    text = f"{start}{policy} had a mean {_name(measure)} of {mean} {measure.unit}"
    losses = _mean_text(summary, policy, LOSSES) if measure.key != LOSSES else ""
    return text + (f", with adult losses of {losses} {_loss_unit()}." if losses else ".")


def _two(
    compared: Sequence[str], measure: Measure, summary: pd.DataFrame, differences: pd.DataFrame
) -> str:
    row = _row(differences, *compared, measure.key)
    if row is None:
        first, second = compared
    else:
        first, second = row["policy"], row["baseline"]
    means = _means([first, second], measure, summary)
    if row is None or row["n_pairs"] < 2:
        return (
            f"{means}, but with {_count(row)} settled under both policies there is "
            f"no paired evidence that they differ or are alike{_losses([first, second], summary)}."
        )
    detail = (
        f"a paired difference ({first} minus {second}) of {_interval(row, measure.unit)} "
        f"over {row['n_pairs']} pairs{_dropped(row)}"
    )
    if _separated(row):
        side = "higher" if row["difference"] > 0 else "lower"
        body = f"{first} has the {side} {_name(measure)}: {means}, {detail}{_relative(row)}"
    else:
        body = (
            f"The evidence does not separate {first} from {second} in {_name(measure)}: "
            f"{means}, {detail}; {_excluded(row, measure)}"
        )
    return f"{body}; {_loss_clause(first, second, measure, summary, differences)}"


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
            reason = "" if row is None else f" ({_count(row)} settled under both)"
            unknown.append(other + reason)
            continue
        row = _turned(row, best)
        text = f"{other} ({_interval(row, measure.unit)}, {row['n_pairs']} pairs{_dropped(row)})"
        # A best mean over all runs may still be worse over the shared seeds.
        if _separated(row) and row["difference"] * sign > 0:
            behind.append(text)
        elif _separated(row):
            level_with.append(f"{text[:-1]}, {other} being better on the shared seeds)")
        else:
            level_with.append(f"{text[:-1]}, {_excluded(row, measure)})")
    adjective = "highest" if measure.better == "more" else "lowest"
    clauses = [f"{best} has the {adjective} mean {_name(measure)}: "
               f"{_means(ranked, measure, summary)}{_losses(ranked, summary)}"]
    difference = f"as paired difference, {best} minus each,"
    if behind:
        clauses.append(f"{difference} it is separated from {_list(behind)}")
    if level_with:
        clauses.append(f"{difference} the evidence does not put it ahead of {_list(level_with)}")
    if unknown:
        clauses.append(f"it could not be compared in pairs with {_list(unknown)}")
    clauses[-1] += "."
    return "; ".join(clauses)


def _loss_clause(
    first: str, second: str, measure: Measure, summary: pd.DataFrame, differences: pd.DataFrame
) -> str:
    if measure.key == LOSSES:
        return "no other measure was weighed against it."
    values = [_mean_text(summary, p, LOSSES) for p in (first, second)]
    if not all(values):
        return "adult losses were not measured under both."
    text = f"adult losses were {values[0]} and {values[1]} {_loss_unit()}"
    row = _row(differences, first, second, LOSSES)
    if row is None or row["n_pairs"] < 2:
        return f"{text}, without paired evidence on their difference."
    row = _turned(row, first)
    shown = _interval(row, "")
    if not _separated(row):
        return f"{text}, a difference the evidence does not separate from none ({shown})."
    side = "higher" if row["difference"] > 0 else "lower"
    return f"{text}, {side} under {first} ({shown})."


def _losses(policies: Sequence[str], summary: pd.DataFrame) -> str:
    shown = [(p, _mean_text(summary, p, LOSSES)) for p in policies]
    known = [f"{value} under {p}" for p, value in shown if value]
    return f", with adult losses of {_list(known)} ({_loss_unit()})" if known else ""


def _separated(row: pd.Series) -> bool:
    leaves_out_zero = row["low"] > 0 or row["high"] < 0
    return bool(leaves_out_zero and row["p_holm"] < 1 - row["level"])


def _excluded(row: pd.Series, measure: Measure) -> str:
    """How small a difference is excluded, if 0 lies inside the interval."""
    if row["low"] > 0 or row["high"] < 0:
        return (
            f"the interval leaves out 0, but not after Holm adjustment for "
            f"{row['holm_family']} comparisons (p = {_p(row['p_holm'])})"
        )
    bound = max((-row["low"], row["high"]))
    if bound == 0:
        return "the runs do not differ at all"
    size = _number(bound, ROUND_CEILING)
    return f"a difference of more than {size} {measure.unit} either way is excluded"


def _interval(row: pd.Series, unit: str) -> str:
    low, high = _number(row["low"], ROUND_FLOOR), _number(row["high"], ROUND_CEILING)
    unit = f" {unit}" if unit else ""
    return f"{_number(row['difference'])}{unit}, {row['level']:.3g} interval {low} to {high}".replace(
        f"{row['level']:.3g} interval", f"{100 * row['level']:.3g} % interval"
    )


def _relative(row: pd.Series) -> str:
    if not all(math.isfinite(row[k]) for k in ("relative_low", "relative_high")):
        return ""
    low = _number(row["relative_low"], ROUND_FLOOR)
    high = _number(row["relative_high"], ROUND_CEILING)
    return f", or {_number(row['relative_percent'])} % ({low} to {high} %) of {row['baseline']}"


def _dropped(row: pd.Series) -> str:
    return f" ({row['n_dropped']} dropped)" if row["n_dropped"] else ""


def _row(differences: pd.DataFrame, first: str, second: str, key: str) -> pd.Series | None:
    """The comparison of two policies, in the given direction if it is there."""
    here = differences[differences["measure"] == key]
    for policy, baseline in ((first, second), (second, first)):
        found = here[(here["policy"] == policy) & (here["baseline"] == baseline)]
        if len(found):
            return found.iloc[0]
    return None


def _turned(row: pd.Series, first: str) -> pd.Series:
    if row["policy"] == first:
        return row
    row = row.copy()
    row["policy"], row["baseline"] = row["baseline"], row["policy"]
    row["difference"] = -row["difference"]
    row["low"], row["high"] = -row["high"], -row["low"]
    return row


def _mean(summary: pd.DataFrame, policy: str, key: str) -> float:
    found = summary[(summary["policy"] == policy) & (summary["measure"] == key)]["mean"]
    return float(found.iloc[0]) if len(found) else math.nan


def _mean_text(summary: pd.DataFrame, policy: str, key: str) -> str:
    value = _mean(summary, policy, key)
    return _number(value) if math.isfinite(value) else ""


def _means(policies: Sequence[str], measure: Measure, summary: pd.DataFrame) -> str:
    values = [f"{_mean_text(summary, p, measure.key)} {measure.unit} under {p}" for p in policies]
    return f"mean {_name(measure)} {_list(values)}"


def _count(row: pd.Series | None) -> str:
    n = 0 if row is None else int(row["n_pairs"])
    return f"{n or 'no'} seed{'' if n == 1 else 's'}"


def _name(measure: Measure) -> str:
    return measure.label[0].lower() + measure.label[1:]


def _loss_unit() -> str:
    return catalogue()[LOSSES].unit


def _list(items: Sequence[str]) -> str:
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def _p(p: float) -> str:
    return f"{p:.2g}" if p >= 0.001 else "below 0.001"


def _number(value: float, rounding: str | None = None) -> str:
    """Three significant digits, trailing zeros kept; rounding as for `decimal`."""
    if value == 0:
        return "0"
    exact = Decimal(repr(float(value)))
    step = Decimal(1).scaleb(exact.adjusted() - 2)
    rounded = exact.quantize(step, **({"rounding": rounding} if rounding else {}))
    return f"{int(rounded) if step >= 1 else rounded:f}" if step < 1 else f"{int(rounded)}"
