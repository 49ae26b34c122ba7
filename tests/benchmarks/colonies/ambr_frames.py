"""The simple colony in AMBER: a row of a Polars data frame an insect.

As its guide advises for many agents: the vectorized lane, columns read together by
``agents.numpy`` and written together by ``agents.set``, rows added by ``add_agents``. There is no
call that takes rows away, so that the frame without them is put in place of the old.
"""

from __future__ import annotations

import ambr as am
import numpy as np
import polars as pl

DEAD, EGG, LARVA, PUPA, ADULT = 0, 1, 2, 3, 4


class Colony(am.Model):
    """All insects as columns."""

    def setup(self):
        """The insects that there are on the first day."""
        self.births = self.deaths = 0
        state = self.p["state"]
        self.rules = self.p["rules"]
        columns = {name: state[name] for name in ("stage", "progress", "factor", "female")}
        self.add_agents(len(state["stage"]), **columns)

    def step_vectorized(self):
        """A day, stages from the last to the first, by the morning's number of adults."""
        rules, rng = self.rules, self.rng
        columns = self.agents.numpy("stage", "progress", "factor", "female")
        stage, progress, factor, female = map(np.array, columns)
        eggs, larvae, pupae, adults = (
            np.flatnonzero(stage == kind) for kind in (EGG, LARVA, PUPA, ADULT)
        )
        hazard = rules["egg_hazard"] + rules["eaten"] * adults.size

        progress[adults] += rules["age_rate"]
        lives = progress[adults] < factor[adults]
        lives &= rng.random(adults.size) < np.exp(-rules["adult_hazard"])
        stage[adults[~lives]] = DEAD
        mothers = np.count_nonzero(female[adults[lives]])
        laid = int(rng.poisson(rules["eggs"], mothers).sum())

        done = (1.0 - progress[pupae]) / (rules["pupa_rate"] * factor[pupae])
        ready = self._days(pupae, done, rules["pupa_hazard"], "pupa_rate", stage, progress, factor)
        out = pupae[ready]
        stage[out] = ADULT
        factor[out] = rng.weibull(rules["life_shape"], out.size)
        progress[out] = (1.0 - done[ready]) * rules["age_rate"]

        lives = rng.random(larvae.size) < np.exp(-rules["larva_hazard"])
        stage[larvae[~lives]] = DEAD
        larvae = larvae[lives]
        pace = rules["larva_rate"] * factor[larvae]
        progress[larvae] += pace
        over = progress[larvae] >= 1.0
        out = larvae[over]
        rest = (progress[out] - 1.0) / pace[over]
        stage[out] = PUPA
        factor[out] = self._paces("pupa_cv", out.size)
        progress[out] = rest * rules["pupa_rate"] * factor[out]

        done = (1.0 - progress[eggs]) / (rules["egg_rate"] * factor[eggs])
        ready = self._days(eggs, done, hazard, "egg_rate", stage, progress, factor)
        whole = rng.random(ready.sum()) < rules["viable"]
        out, rest = eggs[ready], 1.0 - done[ready]
        stage[out[~whole]] = DEAD
        out, rest = out[whole], rest[whole]
        stage[out] = LARVA
        factor[out] = self._paces("larva_cv", out.size)
        progress[out] = rest * rules["larva_rate"] * factor[out]

        self.deaths += np.count_nonzero(stage == DEAD)
        self.agents.set(stage=stage, progress=progress, factor=factor)
        self.agents_df = self.agents_df.filter(pl.col("stage") != DEAD)
        self._lay(laid, hazard)

    def _days(self, rows, done, hazard, rate, stage, progress, factor):
        """Deaths and progress of eggs or pupae; who is ready today."""
        lives = self.rng.random(rows.size) < np.exp(-hazard * np.minimum(done, 1.0))
        stage[rows[~lives]] = DEAD
        progress[rows] += self.rules[rate] * factor[rows]
        return lives & (done <= 1.0)

    def _lay(self, count, hazard):
        self.births += count
        rest = self.rng.random(count)
        rest = rest[self.rng.random(count) < np.exp(-hazard * rest)]
        self.deaths += count - rest.size
        if rest.size:
            factor = self._paces("egg_cv", rest.size)
            self.add_agents(
                rest.size, stage=np.full(rest.size, EGG), factor=factor,
                progress=rest * self.rules["egg_rate"] * factor,
                female=self.rng.random(rest.size) < self.rules["female_share"],
            )  # fmt: skip

    def _paces(self, cv, count):
        """One over a lognormal factor of mean 1."""
        variance = np.log(1.0 + self.rules[cv] ** 2)
        return np.exp(0.5 * variance - np.sqrt(variance) * self.rng.standard_normal(count))

    def step(self):
        """A day, recorded as its runner does."""
        self.run_step()

    def counts(self):
        """Insects by stage."""
        return np.bincount(self.agents.stage.to_numpy(), minlength=5)[1:].tolist()


def build(state, rules, seed, days):
    """A colony as `part` wants it."""
    colony = Colony({"state": state, "rules": rules, "seed": seed, "steps": days})
    colony.cpu(mode="vectorized")
    colony._ensure_setup()
    return colony
