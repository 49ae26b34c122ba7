"""A result from home: the possible colonies weighed by it, and the choice in its light.

Each possible colony has lived the trial and would have written numbers of its own; those nearest
what the keeper wrote count, by a kernel, and their gains and values are moved to it by regression
(approximate Bayesian computation: Beaumont, Zhang and Balding 2002, Genetics 162:2025), as those of
`colony-sim today` and `fit` are.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colony_sim.assimilation.conditioning import Kind, Scale, adjust, kernel, near_of
from colony_sim.assimilation.values import Values
from colony_sim.errors import InputError
from colony_sim.experiment import units
from colony_sim.experiment.worlds import Worlds
from colony_sim.fitting.posterior import Learner, drawn
from colony_sim.inputs import read_text
from colony_sim.trial.boxes import Trial
from colony_sim.trial.question import Question

COLUMNS = ("trial", "box", "what", "number")
MOST, MOST_BYTES = 1e6, 100_000
DOUBT = 0.02
"""Below this share on its side of all results the result is said to be none of theirs."""
DRAWS = 200
_GAIN = Kind(log=False, least=-np.inf)


@dataclass(frozen=True)
class Standing:
    """How the choice stands: shares of possible colonies, and the gain of the first policy.

    Attributes
    ----------
    first, second : float
        Shares in which one of the two gives more by more than the zone.
    gain, error : float
        Mean gain of the first (g/day) and its standard error.
    """

    first: float
    second: float
    gain: float
    error: float


@dataclass(frozen=True)
class Answer:
    """What a result says.

    Attributes
    ----------
    trial : Trial
    written : float64 array
        What the keeper wrote.
    before, after : Standing
    effective : float
        Effective number of possible colonies: 1 / sum of squared weights (Kish 1965).
    tail : float
        Share of the possible colonies whose result is as far out on its side, times the number
        of summaries it is looked at by (Bonferroni).
    profile : Worlds
        Equally likely colonies that are left.
    """

    trial: Trial
    written: np.ndarray
    before: Standing
    after: Standing
    effective: float
    tail: float
    profile: Worlds

    @property
    def strange(self) -> bool:
        """Whether hardly a possible colony gives such a result."""
        return self.tail < DOUBT


def empty(trial: Trial) -> str:
    """A log of a trial (CSV) whose numbers are still to come."""
    out = io.StringIO()
    out.write(f"# {trial.label}: write each number into the last column, save the file, then\n")
    out.write("# colony-sim trial FOLDER --result THIS_FILE\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for number in trial.numbers:
        writer.writerow([trial.name, number.box, number.asked, ""])
    return out.getvalue()


def read(path: Path, trials: Sequence[Trial]) -> tuple[Trial, np.ndarray]:
    """A log of one of some trials with its numbers.

    Raises
    ------
    InputError
        The first line that is not as `empty` wrote it, or a number that is missing or none.
    """
    whole = read_text(path, MOST_BYTES, "a result has one number for each box")
    lines = [line for line in whole.splitlines() if line.strip() and line[0] != "#"]
    try:
        rows = list(csv.reader(lines, delimiter=";" if lines and ";" in lines[0] else ","))
    except csv.Error as error:
        raise InputError(str(path), "rows", str(error), "rows as the empty log has them") from None
    if not rows or tuple(cell.strip() for cell in rows[0]) != COLUMNS:
        shown = "" if not rows else ",".join(rows[0])
        raise InputError(str(path), "header", shown, ",".join(COLUMNS))
    names = {row[0].strip() for row in rows[1:] if row}
    trial = next((trial for trial in trials if {trial.name} == names), None)
    if trial is None:
        allowed = f"one of {', '.join(trial.name for trial in trials)}, the same in every row"
        raise InputError(str(path), "trial", ", ".join(sorted(names)), allowed)
    found = {}
    for row in rows[1:]:
        cells = [cell.strip() for cell in (*row, "", "", "", "")][:4]
        if cells[1] in found:
            raise InputError(str(path), "box", cells[1], "each box once")
        found[cells[1]] = cells[3]
    values = []
    for number in trial.numbers:
        text = found.pop(number.box, None)
        if text is None:
            raise InputError(str(path), "box", "missing", f"a row of box {number.box}")
        unit = number.unit
        key, most = f"number of box {number.box}", min(number.most, MOST)
        if not unit:
            # Neither 1,250 nor 1_250: who counts writes digits.
            value = float(text) if re.fullmatch(r"[0-9]{1,9}(\.0*)?", text) else -1.0
            allowed = f"a whole number from 0 to {most:.0f}, digits alone"
        else:
            allowed = f"a number from 0 to {most:.0f}"
            try:
                value = float(text.replace(",", "."))
            except ValueError:
                value = units.read(text, unit, str(path), "number") if text else -1.0
        if not 0.0 <= value <= most:
            raise InputError(str(path), key, text, allowed)
        values.append(value)
    if found:
        allowed = ", ".join(number.box for number in trial.numbers)
        raise InputError(str(path), "box", next(iter(found)), allowed)
    return trial, np.array(values)


def answer(
    question: Question, trial: Trial, lived: np.ndarray, written: np.ndarray, seed: int, name: str
) -> Answer:
    """Weigh the possible colonies of a question by a result.

    Parameters
    ----------
    question : Question
    trial : Trial
    lived : float64 array, shape (worlds, numbers)
        What each of them would have written.
    written : float64 array, shape (numbers,)
        What the keeper wrote.
    seed : int
    name : str
        Of the profile.
    """
    said, mine = trial.summary(lived), trial.summary(written)
    scale = Scale.of(said)
    weights = kernel(np.linalg.norm(scale(said) - scale(mine), axis=1), near_of(len(said)))
    out = np.minimum((said <= mine).mean(axis=0), (said >= mine).mean(axis=0))
    even = np.full(len(said), 1 / len(said))
    gains = {"gain": question.gains}
    # Beyond what was lived nothing is known: a result out there counts as the last that was.
    reached = np.clip(mine, said.min(axis=0), said.max(axis=0))
    moved = adjust(said, gains, {"gain": _GAIN}, weights, reached)
    values = Values.of(question.worlds, question.numbers)
    posterior = Learner(said, values).of_log(reached)
    profile = drawn(values, posterior, DRAWS, question.base, seed, name)
    return Answer(
        trial, written, standing(question.gains, even, question.zone),
        standing(moved.values["gain"], moved.weights, question.zone),
        moved.effective, min(1.0, float(out.min() * out.size)), profile,
    )  # fmt: skip


def standing(gains: np.ndarray, weights: np.ndarray, zone: float) -> Standing:
    """How the choice stands with gains of these weights, which add to 1."""
    mean = float(weights @ gains)
    error = float(np.sqrt(np.sum(weights**2 * (gains - mean) ** 2)))
    return Standing(
        float(weights @ (gains > zone)), float(weights @ (gains < -zone)), mean, error
    )  # fmt: skip
