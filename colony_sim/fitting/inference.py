"""Neural posterior estimation: one network, trained on simulated logs of one schedule.

First, each fitted key is regressed on the features of a log (ridge regression, penalty by
leave-one-out error; Fearnhead and Prangle 2012, J. R. Stat. Soc. B 74:419: the posterior means are
the summaries that lose least). On these summaries a normalizing flow learns the joint posterior
(Papamakarios and Murray 2016, arXiv:1605.06376; Greenberg, Nonnenmacher and Macke 2019,
arXiv:1905.07488; package sbi), as what is left over them: where a key stands to its regression.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from typing import Any

import numpy as np

from colony_sim.extras import require
from colony_sim.fitting import observe
from colony_sim.fitting.schedule import Schedule
from colony_sim.statistics.ridge import ridge

#: Flows, each from another start, that take turns in the draws.
FLOWS = 1
_BATCH, _PATIENCE, _RATE, _HIDDEN, _TRANSFORMS = 200, 30, 5e-4, 50, 5
_PENALTIES = 10.0 ** np.arange(0.0, 5.5, 0.5)
#: A standardised feature counts no further than this.
_MOST_STANDARD = 5.0
#: Scores beyond this are the end of a range to ten digits.
_MOST_SCORE = 6.0


@dataclass(frozen=True)
class Summaries:
    """Regressions of the scores of the keys on the features of a log.

    Attributes
    ----------
    mean, spread : float64 arrays, shape (features,)
        Of the simulated logs; features without spread have weight 0.
    linear : float64 array, shape (features, keys)
        Weights of the first regression.
    pair_mean : float64 array, shape (pairs,)
    scale : float64 array, shape (keys,)
        Spread of the first summaries, from whose products the pairs are made.
    weights : float64 array, shape (features + pairs, keys)
        Weights of the second regression.
    shares : float64 array, shape (keys,)
        Share of the variance of each score that the regression explains, left-out logs.
    """

    mean: np.ndarray
    spread: np.ndarray
    linear: np.ndarray
    pair_mean: np.ndarray
    scale: np.ndarray
    weights: np.ndarray
    shares: np.ndarray

    def of(self, features: np.ndarray) -> np.ndarray:
        """Summaries of logs (logs x keys)."""
        standard = self.standard(features)
        pairs = _pairs(standard @ self.linear / self.scale) - self.pair_mean
        return np.concatenate([standard, pairs], axis=1) @ self.weights

    def standard(self, features: np.ndarray) -> np.ndarray:
        """Standardised features of logs."""
        far = (np.atleast_2d(features) - self.mean) / self.spread
        return np.clip(far, -_MOST_STANDARD, _MOST_STANDARD)


def learn_summaries(features: np.ndarray, scores: np.ndarray) -> tuple[Summaries, np.ndarray]:
    """Regress scores (logs x keys) on features (logs x features), then on squares as well.

    Also returns the summaries of these logs (logs x keys), each by a regression that left the
    log out: summaries of logs that a regression has seen are better than those of the keeper's
    log will be, and a flow trained on them would be too sure.
    """
    mean, spread = features.mean(axis=0), features.std(axis=0)
    spread = np.where(spread > 1e-9, spread, np.inf)
    standard = np.clip((features - mean) / spread, -_MOST_STANDARD, _MOST_STANDARD)
    # Without an intercept: scores have mean 0 by the prior. A mean over the logs would hold the
    # score of the log that is left out.
    first = ridge(standard, scores, centred=False, penalties=_PENALTIES)
    scale = np.maximum(first.left_out.std(axis=0), 1e-9)
    pairs = _pairs(first.left_out / scale)
    pair_mean = pairs.mean(axis=0)
    both = np.concatenate([standard, pairs - pair_mean], axis=1)
    second = ridge(both, scores, centred=False, penalties=_PENALTIES)
    shares = 1 - second.errors / np.mean(scores**2, axis=0)
    learnt = Summaries(
        mean, spread, first.coefficients, pair_mean, scale, second.coefficients, shares
    )  # fmt: skip
    return learnt, second.left_out


def _pairs(values: np.ndarray) -> np.ndarray:
    """Products of all pairs of columns, squares among them."""
    i, j = np.triu_indices(values.shape[1])
    return values[:, i] * values[:, j]


class Posterior:
    """What logs of one schedule say about the fitted keys.

    Parameters
    ----------
    schedule : Schedule
    summaries : Summaries
    root : float64 array, shape (keys, keys)
        Root of the covariance of scores about their summaries; the flows give multiples of it.
    flows : list
        Trained density estimators of sbi.
    epochs : list of int
        Passes over the logs that each took.
    """

    def __init__(
        self,
        schedule: Schedule,
        summaries: Summaries,
        root: np.ndarray,
        flows: list[Any],
        epochs: list[int],
    ) -> None:
        self.schedule, self.summaries, self.root = schedule, summaries, root
        self.flows, self.epochs = flows, epochs

    def draws(self, values: np.ndarray, count: int, seed: int) -> np.ndarray:
        """Joint posterior draws for logs.

        Parameters
        ----------
        values : float64 array, shape (logs, observed)
            Numbers as written.
        count : int
            Draws for each log, a multiple of `FLOWS` rounded up.
        seed : int

        Returns
        -------
        float64 array, shape (logs, count, keys)
            Standard normal scores of the prior.
        """
        torch = _torch()
        inputs = self.summaries.of(observe.features(self.schedule, values))
        each = -(-count // len(self.flows))
        with _seeded(torch, seed), torch.no_grad():
            condition = torch.tensor(inputs, dtype=torch.float32)
            parts = [flow.sample((each,), condition=condition).numpy() for flow in self.flows]
        # Flows take turns, so that the first draws hold all of them.
        mixed = np.stack(parts, axis=1).reshape(each * len(parts), *parts[0].shape[1:])
        about = np.moveaxis(mixed[:count], 0, 1).astype(float) @ self.root.T
        return np.clip(inputs[:, None, :] + about, -_MOST_SCORE, _MOST_SCORE)


def _robust_root(about: np.ndarray) -> np.ndarray:
    """Root of the covariance of the bulk of some rows (logs x keys).

    Far ones are pulled in to three spreads, by the median of absolute deviations.
    """
    spread = np.median(np.abs(about), axis=0) / 0.6745
    bulk = np.clip(about, -3 * spread, 3 * spread)
    return np.linalg.cholesky(np.atleast_2d(np.cov(bulk.T)) + 1e-12 * np.eye(about.shape[1]))


def check_installed() -> None:
    """Raise `MissingExtra` if sbi is not installed, before hours of simulation."""
    _torch()


def train(schedule: Schedule, scores: np.ndarray, values: np.ndarray, seed: int) -> Posterior:
    """Learn the posterior from simulated logs.

    Parameters
    ----------
    schedule : Schedule
    scores : float64 array, shape (logs, keys)
        Standard normal scores of the values the logs were simulated with.
    values : float64 array, shape (logs, observed)
        Numbers as written.
    seed : int
        Of the starts and the order of training; one thread, so that it repeats.

    Raises
    ------
    MissingExtra
        If sbi is not installed.
    """
    torch = _torch()
    sbi = require("sbi.inference", "sbi", "fit")
    nets = require("sbi.neural_nets", "sbi", "fit")
    features = observe.features(schedule, values)
    summaries, left_out = learn_summaries(features, scores)
    about = scores - left_out
    count = scores.shape[1]
    root = _robust_root(about)
    inputs = torch.tensor(left_out, dtype=torch.float32)
    targets = torch.tensor(np.linalg.solve(root, about.T).T, dtype=torch.float32)
    # In one round, training does not use it; the prior is in the simulated logs.
    prior = torch.distributions.MultivariateNormal(torch.zeros(count), torch.eye(count))
    flows, epochs = [], []
    for number in range(FLOWS):
        with _seeded(torch, seed + number), _quiet():
            build = nets.posterior_nn(
                # A flow in one dimension has no order to mask; there a mixture does.
                model="maf" if count > 1 else "mdn",
                z_score_theta="none",  # Done, with a spread that a few far logs do not widen.
                hidden_features=_HIDDEN,
                num_transforms=_TRANSFORMS,
            )
            learner = sbi.NPE(
                prior=prior, density_estimator=build, tracker=_Silent(), show_progress_bars=False
            )
            flow = learner.append_simulations(targets, inputs).train(
                training_batch_size=min(_BATCH, max(10, len(targets) // 6)),
                learning_rate=_RATE,
                stop_after_epochs=_PATIENCE,
            )
        flow.eval()
        flows.append(flow)
        epochs.append(int(learner.summary["epochs_trained"][-1]))
    return Posterior(schedule, summaries, root, flows, epochs)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep sbi's remarks on its training off the screen."""
    with warnings.catch_warnings(), redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        yield


class _Silent:
    """A tracker that keeps nothing: sbi would write a folder of logs into the working directory."""

    log_dir = None

    def log_metric(self, name: str, value: float, step: int | None = None) -> None: ...

    def log_metrics(self, metrics: dict[str, float], step: int | None = None) -> None: ...

    def log_params(self, params: dict[str, Any]) -> None: ...

    def add_figure(self, name: str, figure: Any, step: int | None = None) -> None: ...

    def flush(self) -> None: ...


def _torch() -> Any:
    # sbi brings torch; without either, the line names the one to install.
    require("sbi", "sbi", "fit")
    return require("torch", "torch", "fit")


@contextmanager
def _seeded(torch: Any, seed: int) -> Iterator[None]:
    """One thread and a state of its own for torch's draws; the caller's come back."""
    threads = torch.get_num_threads()
    with torch.random.fork_rng(devices=[]):
        torch.manual_seed(seed)
        torch.set_num_threads(1)
        try:
            yield
        finally:
            torch.set_num_threads(threads)
