"""The simple colony in Starsim: an array a property.

As its guide advises: a module with states and distributions of its own, that asks people to grow
and to die; ``crn`` off, its faster way to draw where scenarios need not share their chance.
"""

from __future__ import annotations

import numpy as np
import starsim as ss

ss.options(crn=False, verbose=0)
EGG, LARVA, PUPA, ADULT = 1, 2, 3, 4


class Life(ss.Module):
    """Birth, ageing, death and eating."""

    def __init__(self, rules, state):
        super().__init__(name="life")
        self.rules, self.start, self.births, self.deaths = rules, state, 0, 0
        self.define_states(
            ss.FloatArr("stage", default=EGG),
            ss.FloatArr("progress", default=0.0),
            ss.FloatArr("factor", default=1.0),
            ss.BoolArr("mother", default=False),
        )
        self.chance = ss.random()
        self.hatches = ss.bernoulli(p=rules["viable"])
        self.daughter = ss.bernoulli(p=rules["female_share"])
        self.eggs = ss.poisson(lam=rules["eggs"])
        self.life = ss.weibull(c=rules["life_shape"], scale=1.0)
        self.durations = {
            cv: ss.lognorm_ex(mean=1.0, std=rules[cv]) for cv in ("egg_cv", "larva_cv", "pupa_cv")
        }

    def init_post(self):
        """The insects that there are on the first day."""
        super().init_post()
        for name in ("stage", "progress", "factor"):
            getattr(self, name)[:] = self.start[name]
        self.mother[:] = self.start["female"].astype(bool)
        self.start = None

    def step(self):
        """A day, stages from the last to the first, by the morning's number of adults."""
        eggs, larvae, pupae, adults = ((self.stage == s).uids for s in (EGG, LARVA, PUPA, ADULT))
        hazard = self.rules["egg_hazard"] + self.rules["eaten"] * len(adults)
        mothers = self._adults(adults)
        for uids, rate, risk, turn in (
            (pupae, "pupa_rate", self.rules["pupa_hazard"], self._emerge),
            (eggs, "egg_rate", hazard, self._hatch),
        ):
            pace = self.rules[rate] * self.factor[uids]
            done = (1.0 - self.progress[uids]) / pace
            lives = self.chance.rvs(uids) < np.exp(-risk * np.minimum(done, 1.0))
            self._lose(uids[~lives])
            self.progress[uids] = self.progress[uids] + pace
            ready = lives & (done <= 1.0)
            turn(uids[ready], 1.0 - done[ready])
        self._larvae(larvae)
        self._lay(int(self.eggs.rvs(mothers).sum()), hazard)

    def _adults(self, uids):
        self.progress[uids] = self.progress[uids] + self.rules["age_rate"]
        young = self.progress[uids] < self.factor[uids]
        lives = young & (self.chance.rvs(uids) < np.exp(-self.rules["adult_hazard"]))
        self._lose(uids[~lives])
        left = uids[lives]
        return left[self.mother[left]]

    def _larvae(self, uids):
        lives = self.chance.rvs(uids) < np.exp(-self.rules["larva_hazard"])
        self._lose(uids[~lives])
        uids = uids[lives]
        pace = self.rules["larva_rate"] * self.factor[uids]
        now = self.progress[uids] + pace
        self.progress[uids] = now
        over = now >= 1.0
        uids, rest = uids[over], (now[over] - 1.0) / pace[over]
        self.stage[uids] = PUPA
        self._begin(uids, rest * self.rules["pupa_rate"], "pupa_cv")

    def _emerge(self, uids, rest):
        self.stage[uids] = ADULT
        self.factor[uids] = self.life.rvs(uids)
        self.progress[uids] = rest * self.rules["age_rate"]

    def _hatch(self, uids, rest):
        whole = self.hatches.rvs(uids)
        self._lose(uids[~whole])
        uids, rest = uids[whole], rest[whole]
        self.stage[uids] = LARVA
        self._begin(uids, rest * self.rules["larva_rate"], "larva_cv")

    def _lay(self, count, hazard):
        self.births += count
        if count == 0:
            return
        rest = self.chance.rvs(count)
        rest = rest[self.chance.rvs(count) < np.exp(-hazard * rest)]
        self.deaths += count - len(rest)
        if len(rest) == 0:
            return
        uids = self.sim.people.grow(len(rest))
        self._begin(uids, rest * self.rules["egg_rate"], "egg_cv")
        self.mother[uids] = self.daughter.rvs(uids)

    def _begin(self, uids, progress, cv):
        """A stage with a pace of its own: one over a lognormal factor of mean 1."""
        factor = 1.0 / self.durations[cv].rvs(uids)
        self.factor[uids] = factor
        self.progress[uids] = progress * factor

    def _lose(self, uids):
        self.deaths += len(uids)
        self.sim.people.request_death(uids)


class Colony:
    """A simulation, day by day."""

    def __init__(self, state, rules, seed, days):
        self.life = Life(rules, state)
        self.sim = ss.Sim(
            n_agents=len(state["stage"]), modules=self.life, dt=ss.days(1), dur=ss.days(days),
            start=ss.date("2030-01-01"), rand_seed=seed, use_aging=False, verbose=0,
        )  # fmt: skip
        self.sim.init()
        self.life = next(m for m in self.sim.modules if isinstance(m, Life))

    def step(self):
        """A day."""
        self.sim.run_one_step()

    def counts(self):
        """Insects by stage."""
        return np.bincount(self.life.stage.values.astype(int), minlength=5)[1:].tolist()

    @property
    def births(self):
        """Eggs laid so far."""
        return self.life.births

    @property
    def deaths(self):
        """Insects lost so far."""
        return self.life.deaths


def build(state, rules, seed, days):
    """A colony as `part` wants it."""
    return Colony(state, rules, seed, days)
