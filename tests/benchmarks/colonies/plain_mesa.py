"""The simple colony in plain Mesa: an object an insect.

As its guide advises: agents are made by the bulk constructor, activated by ``agents.do`` (the order
of a day does not matter here) and draw from the model's own generator.
"""

from __future__ import annotations

import math

import mesa

EGG, LARVA, PUPA, ADULT = 1, 2, 3, 4


class Insect(mesa.Agent):
    """An insect of any stage."""

    def __init__(self, model, stage, progress, factor, female):
        super().__init__(model)
        self.stage, self.progress, self.factor, self.female = stage, progress, factor, female

    def step(self):
        """A day by its stage."""
        _DAYS[self.stage](self)

    def egg(self):
        """Eaten, dead or hatched; `done` is the time of the day at which it is ready."""
        m = self.model
        pace = m.rules["egg_rate"] * self.factor
        done = (1.0 - self.progress) / pace
        if m.random.random() >= math.exp(-m.egg_hazard * min(done, 1.0)):
            m.lose(self)
        elif done > 1.0:
            self.progress += pace
        elif m.random.random() >= m.rules["viable"]:
            m.lose(self)
        else:
            self.stage, self.factor = LARVA, m.pace("larva_cv")
            self.progress = (1.0 - done) * m.rules["larva_rate"] * self.factor

    def larva(self):
        """Dead or older, and a pupa when its time is over."""
        m = self.model
        if m.random.random() >= m.larva_lives:
            m.lose(self)
            return
        pace = m.rules["larva_rate"] * self.factor
        self.progress += pace
        if self.progress >= 1.0:
            rest = (self.progress - 1.0) / pace
            self.stage, self.factor = PUPA, m.pace("pupa_cv")
            self.progress = rest * m.rules["pupa_rate"] * self.factor

    def pupa(self):
        """Dead, older or emerged."""
        m = self.model
        pace = m.rules["pupa_rate"] * self.factor
        done = (1.0 - self.progress) / pace
        if m.random.random() >= math.exp(-m.rules["pupa_hazard"] * min(done, 1.0)):
            m.lose(self)
        elif done > 1.0:
            self.progress += pace
        else:
            self.stage = ADULT
            self.factor = m.random.weibullvariate(1.0, m.rules["life_shape"])
            self.progress = (1.0 - done) * m.rules["age_rate"]
            m.adults += 1

    def adult(self):
        """Dead of age or otherwise, or laying."""
        m = self.model
        self.progress += m.rules["age_rate"]
        if self.progress >= self.factor or m.random.random() >= m.adult_lives:
            m.adults -= 1
            m.lose(self)
        elif self.female:
            for _ in range(m.poisson()):
                m.lay()


_DAYS = {EGG: Insect.egg, LARVA: Insect.larva, PUPA: Insect.pupa, ADULT: Insect.adult}


class Colony(mesa.Model):
    """All insects and what a day has in common."""

    def __init__(self, state, rules, seed):
        super().__init__(seed=seed)
        self.rules, self.births, self.deaths = rules, 0, 0
        columns = (state[name].tolist() for name in ("stage", "progress", "factor", "female"))
        Insect.create_agents(self, len(state["stage"]), *columns)
        self.adults = int((state["stage"] == ADULT).sum())
        self.larva_lives = math.exp(-rules["larva_hazard"])
        self.adult_lives = math.exp(-rules["adult_hazard"])
        self.none = math.exp(-rules["eggs"])

    def step(self):
        """A day of every insect; who is made today begins tomorrow."""
        self.egg_hazard = self.rules["egg_hazard"] + self.rules["eaten"] * self.adults
        self.agents.do("step")

    def pace(self, cv):
        """One over a lognormal factor of mean 1."""
        variance = math.log(1.0 + self.rules[cv] ** 2)
        return math.exp(0.5 * variance - math.sqrt(variance) * self.random.gauss(0.0, 1.0))

    def poisson(self):
        """Eggs of a female today, by inversion."""
        u, term, count = self.random.random(), self.none, 0
        total = term
        while u > total and count < 1000:
            count += 1
            term *= self.rules["eggs"] / count
            total += term
        return count

    def lay(self):
        """An egg, laid at some time of the day and exposed for what is left of it."""
        self.births += 1
        rest = self.random.random()
        if self.random.random() >= math.exp(-self.egg_hazard * rest):
            self.deaths += 1
            return
        factor = self.pace("egg_cv")
        female = self.random.random() < self.rules["female_share"]
        Insect(self, EGG, rest * self.rules["egg_rate"] * factor, factor, female)

    def lose(self, insect):
        """A death."""
        self.deaths += 1
        insect.remove()

    def counts(self):
        """Insects by stage."""
        found = [0, 0, 0, 0]
        for insect in self.agents:
            found[insect.stage - 1] += 1
        return found


def build(state, rules, seed, days):
    """A colony as `part` wants it."""
    return Colony(state, rules, seed)
