"""Make the worlds anew: bank, fit, a second bank where the fit looks, what is shown, calibration.

Two waves, as in history matching (Craig et al. 1997): the first bank is drawn from the prior, the
second from worlds that surfaces of the first do not rule out (a power of the likelihood), so that
the surfaces are right where it counts. Then worlds are drawn and lived.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from colony_sim.biology.parameters import Value
from colony_sim.evidence.conditions import key, seed_of
from colony_sim.evidence.numbers import Standing
from colony_sim.experiment.worlds import SHIPPED, Worlds
from colony_sim.running.runner import Progress
from colony_sim.running.store import open_store
from colony_sim.running.task import peak_mb
from colony_sim.worlds import agreement, literature, prior, reliability, verdicts
from colony_sim.worlds.bank import Bank, fill, outputs, strains
from colony_sim.worlds.calibration import Sizes as CalibrationSizes
from colony_sim.worlds.calibration import calibrate
from colony_sim.worlds.conditioning import Conditioning, condition
from colony_sim.worlds.digest import digest
from colony_sim.worlds.likelihood import Likelihood, emulator_of, likelihood_of
from colony_sim.worlds.predictions import SEEN
from colony_sim.worlds.predictive import predictive
from colony_sim.worlds.prior import Scores

#: Digits kept of a value.
DIGITS = 5
#: Power of the likelihood from which the second wave is drawn.
WIDE = 0.3
#: Rows of the bank of kept worlds are numbered from here on.
_LIVED_FROM = 100_000


@dataclass(frozen=True)
class Sizes:
    """How much is lived and drawn.

    Attributes
    ----------
    rows, wave : int
        Rows of the bank from the prior, and of the second wave.
    worlds : int
        Kept worlds.
    runs, moves : int
        Independent runs of the sampler, of as many worlds each, and moves at the end of each.
    halves : int
        Random halves of the bank for errors.
    lived : int
        Kept worlds under which everything published is lived.
    lived_gains : int
        Of those, with the comparison of rotations.
    calibration : calibration.Sizes or None
        None: not calibrated.
    repeat : bool
        Whether all is drawn again with the next seed, to see whether quantiles agree.
    studies : tuple of str or None
        Replications that count; None: all.
    """

    rows: int = 1000
    wave: int = 500
    worlds: int = 1024
    runs: int = 4
    moves: int = 240
    halves: int = 8
    lived: int = 256
    lived_gains: int = 100
    calibration: CalibrationSizes | None = CalibrationSizes(128, 128, 80, 768, 240, 20)
    repeat: bool = True
    studies: tuple[str, ...] | None = None

    @property
    def bins(self) -> int:
        """Rows of the bank with a keeper's first bin."""
        return self.rows if self.calibration and self.calibration.predicted else 0

    @property
    def gains(self) -> int:
        """Rows of the bank with the comparison of rotations."""
        predicted = self.calibration.gains if self.calibration else 0
        return 2 * predicted + 40 if predicted else 0

    def wanted(self, *standings: Standing) -> tuple[str, ...]:
        """Outputs of the replications that count."""
        every = outputs(*standings)
        return tuple(name for name in every if self.studies is None or _study(name) in self.studies)


def _study(name: str) -> str:
    return name.partition(".")[0]


@dataclass(frozen=True, eq=False)
class Remade:
    """Worlds and what is known of them, by name of a table."""

    worlds: Worlds
    tables: dict[str, pd.DataFrame]


@dataclass(frozen=True, eq=False)
class _Fit:
    """Runs of the sampler on one bank, and on its halves."""

    bank: Bank
    runs: list[Scores]
    halves: list[Scores]
    evidence: float
    accepted: float

    @property
    def pooled(self) -> Scores:
        return Scores.join(*self.runs)


def remake(
    seed: int,
    folder: Path | None = None,
    sizes: Sizes | None = None,
    *,
    workers: int = 1,
    tell: Callable[[str, Progress], None] = lambda stage, progress: None,
) -> Remade:
    """Draw worlds from the literature.

    Parameters
    ----------
    seed : int
    folder : Path, optional
        Results folder in whose store what is lived and drawn is kept; a remake that was stopped
        goes on from there. Default: nowhere.
    sizes : Sizes, optional
        Default: the full sizes.
    workers : int
        Processes; they do not change what comes out.
    tell : callable
        Told the stage and how far it is.

    Raises
    ------
    runner.Interrupted, runner.WorkerDied
        On Ctrl-C, and if a worker is killed.
    """
    sizes = sizes or Sizes()
    rng = np.random.default_rng(key(seed, "worlds"))

    def stage(words: str) -> Callable[[Progress], None]:
        return lambda progress: tell(words, progress)

    fit = _fit(seed, folder, sizes, workers, stage, predict=True)
    pooled = fit.pooled
    kept = pooled.take(rng.permutation(len(pooled))[: sizes.worlds])
    lived = fill(
        kept.take(slice(0, sizes.lived)),
        seed,
        folder,
        wanted=sizes.wanted(Standing.USED, Standing.JUDGED),
        first=_LIVED_FROM,
        bins=_LIVED_FROM + sizes.lived,
        gains=_LIVED_FROM + sizes.lived_gains,
        workers=workers,
        on_progress=stage("living the kept worlds"),
    )
    tables = {
        "numbers": predictive(lived, rng),
        "values": agreement.narrowing(pooled, fit.halves),
        "ties": agreement.ties(pooled, fit.halves),
        "structures": agreement.structures(pooled, fit.halves),
        "surfaces": surfaces(fit.bank),
        "seen": seen(lived),
    }
    facts: dict[str, object] = {
        "digest": digest(),
        "seed": seed,
        "rows": sizes.rows,
        "wave": sizes.wave,
        "effective_size": round(agreement.effective_size(fit.runs)),
        "accepted": round(fit.accepted, 3),
        "log_evidence": round(fit.evidence, 2),
    }
    if sizes.calibration is not None:
        found = calibrate(
            fit.bank, seed, sizes.calibration, folder, workers=workers,
            on_progress=stage("fitting made-up literatures"),
        )  # fmt: skip
        tables |= {"held": found.held, "told_apart": found.told_apart, "power": found.power}
        tables |= _verdicts(fit.bank, found.fits, seed, folder, sizes.calibration, workers, stage)
        own = fit.evidence / len(fit.bank.outputs)
        facts["less_probable_made_up"] = round(float((found.surprise < own).mean()), 3)
    if sizes.repeat:
        again = _fit(seed + 1, folder, sizes, workers, stage)
        tables["repeat"] = repeated(fit, again)
    facts |= _cost(folder)
    return Remade(worlds_of(kept, strains(kept, 1, rng)[:, 0], facts), tables)


def _fit(
    seed: int,
    folder: Path | None,
    sizes: Sizes,
    workers: int,
    stage: Callable[[str], Callable[[Progress], None]],
    predict: bool = False,
) -> _Fit:
    """Both waves, and the runs of the sampler."""
    wanted = sizes.wanted(Standing.USED)
    first = prior.draw(sizes.rows, np.random.default_rng(key(seed, "prior")))
    bank = fill(
        first, seed, folder, wanted=wanted, workers=workers,
        bins=sizes.bins if predict else 0, gains=sizes.gains if predict else 0,
        on_progress=stage("living the published experiments"),
    )  # fmt: skip
    data = literature.published(wanted)
    wide = Conditioning(likelihood_of(bank, data), sizes.wave, seed, power=WIDE)
    (second,) = condition([wide], folder)
    wave = fill(
        second.scores, seed, folder, wanted=wanted, first=sizes.rows, workers=workers,
        on_progress=stage("living them where the worlds lie"),
    )  # fmt: skip
    bank = Bank.join(bank, wave)
    like = likelihood_of(bank, data)

    def job(of: Likelihood, what: str, k: int) -> Conditioning:
        return Conditioning(of, sizes.worlds, seed_of(seed, what, k), last=sizes.moves)

    jobs = [job(like, "run", k) for k in range(sizes.runs)]
    for k in range(sizes.halves):
        rng = np.random.default_rng(key(seed, "half", k))
        half = rng.permutation(len(bank))[: len(bank) // 2]
        jobs.append(job(likelihood_of(bank, data, half), "half", k))
    found = condition(jobs, folder, workers=workers, on_progress=stage("drawing worlds"))
    runs, halves = found[: sizes.runs], found[sizes.runs :]
    return _Fit(
        bank,
        [run.scores for run in runs],
        [half.scores for half in halves],
        float(np.mean([run.evidence for run in runs])),
        float(np.mean([run.accepted for run in runs])),
    )


def _verdicts(
    bank: Bank,
    fits: list[verdicts.Fit],
    seed: int,
    folder: Path | None,
    sizes: CalibrationSizes,
    workers: int,
    stage: Callable[[str], Callable[[Progress], None]],
) -> dict[str, pd.DataFrame]:
    """Tables of how reliable verdicts are."""
    if not sizes.lived:
        return {}
    lived = verdicts.live(
        bank, fits, seed, sizes.seeds, sizes.lived, folder, workers=workers,
        on_progress=stage("living both rotations"),
    )  # fmt: skip
    table = verdicts.forecasts(bank, fits, lived, sizes.literatures, seed)
    return {"reliability": reliability.bins(table), "verdicts": reliability.scores(table)}


def _cost(folder: Path | None) -> dict[str, object]:
    """Minutes of one core that all jobs took, those of an earlier run that was stopped as well.

    And most memory of a process (MB).
    """
    with open_store(folder) as store:
        cost = store.cost()
    if cost is None:  # Nothing was kept.
        return {}
    memory = max(cost.peak_mb or 0.0, peak_mb() or 0.0)
    return {"core_minutes": round(cost.runs * cost.seconds / 60.0), "memory_mb": round(memory)}


def worlds_of(kept: Scores, strain: np.ndarray, facts: dict[str, object]) -> Worlds:
    """Kept worlds as draws of the biology, each with a strain (worlds x strains) of its own."""
    keys = (*prior.numbers(), *prior.STRUCTURES)
    draws = []
    for k in range(len(kept)):
        values = kept.values_of(k, strain[k])
        draws.append([_rounded(values[name]) for name in keys])
    return Worlds.from_dict({"name": SHIPPED, "keys": keys, "draws": draws, "facts": facts})


def _rounded(value: Value) -> Value:
    """A number to `DIGITS` digits; structures as they are."""
    return float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value


def surfaces(bank: Bank) -> pd.DataFrame:
    """One row an output: id, explained (share of its variance by the surface), error and rows."""
    emulator = emulator_of(bank)
    return pd.DataFrame({
        "id": list(emulator.names),
        "explained": [s.explained for s in emulator.surfaces],
        "error": [float(np.nanstd(s.residuals)) for s in emulator.surfaces],
        "rows": [int(np.isfinite(s.residuals).sum()) for s in emulator.surfaces],
    })  # fmt: skip


def seen(lived: Bank) -> pd.DataFrame:
    """What keepers see under the worlds: what, unit, worlds, low, middle, high, above (nought)."""
    rows = []
    for k, (what, (_, unit)) in enumerate(SEEN.items()):
        found = lived.seen[:, k][np.isfinite(lived.seen[:, k])]
        if not found.size:
            continue
        low, middle, high = np.percentile(found, [5.0, 50.0, 95.0])
        rows.append({
            "what": what, "unit": unit, "worlds": found.size,
            "low": low, "middle": middle, "high": high, "above": float((found > 0.0).mean()),
        })  # fmt: skip
    return pd.DataFrame(rows)


def repeated(fit: _Fit, again: _Fit) -> pd.DataFrame:
    """Quantiles of all scores from two seeds: key, quantile, first, second, error, apart.

    `error` is that of the difference, from the halves of both; `apart` counts in it.
    """
    found = [agreement.quantiles(one.pooled) for one in (fit, again)]
    variance = sum(
        np.var([agreement.quantiles(half) for half in one.halves], axis=0, ddof=1)
        for one in (fit, again)
    )
    error = np.sqrt(variance)
    table = pd.DataFrame({
        "key": np.tile(agreement.names(), len(agreement.QUANTILES)),
        "quantile": np.repeat(agreement.QUANTILES, len(agreement.names())),
        "first": found[0].ravel(), "second": found[1].ravel(), "error": np.ravel(error),
    })  # fmt: skip
    table["apart"] = (table["second"] - table["first"]) / table["error"]
    return table
