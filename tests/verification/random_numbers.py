"""Claims: the keyed generator is Philox, uniform, and independent across keys."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats

from colony_sim.population import draws
from colony_sim.population.draws import Block
from colony_sim.population.insects import FIELDS, Stage

from . import philox as plain
from .bench import Bench
from .claim import ALPHA, Check, Claim, chi2_check, exact, z_check

#: Known answers of philox4x32-10 (Random123, file kat_vectors): counter, key, result.
KNOWN = (
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    (
        (0xFFFFFFFF,) * 4,
        (0xFFFFFFFF,) * 2,
        (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD),
    ),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
)


class RandomNumbers(Claim):
    """Known answers, uniformity, independence."""

    name = "random_numbers"
    statement = (
        "Draws are Philox4x32-10 of (seed, process, individual, day): known answers hold; words are"
        " uniform and uncorrelated across lanes, individuals, days, processes and seeds; derived"
        " normal and Poisson numbers have their laws; identities do not collide."
    )
    source = "Salmon et al. 2011, SC11, doi 10.1145/2063384.2063405; Random123 kat_vectors"

    def run(self, fast: bool) -> list[Check]:
        n = 100_000 if fast else 1_000_000
        checks = self._known()
        ident = np.arange(1, n + 1, dtype=np.uint64)
        base = draws.blocks(self.seed, Block.EGG_FATE, ident, 10)
        self.counts = np.bincount(base[:, 0] >> np.uint32(24), minlength=256)
        for lane in range(4):
            for name, shift in (("high", 24), ("low", 0)):
                byte = (base[:, lane] >> np.uint32(shift)) & np.uint32(255)
                checks.append(
                    chi2_check(
                        f"lane {lane}, {name} byte",
                        np.bincount(byte, minlength=256),
                        np.full(256, n / 256),
                    )
                )
        checks += self._independent(base, ident, n)
        checks += self._laws(base, n)
        lineage = {
            int(draws.identity(np.uint64(self.seed), np.uint64(m), k))
            for m in range(1, n // 100)
            for k in range(20)
        }
        checks.append(
            exact(
                "identities of eggs that collide",
                20 * (n // 100 - 1) - len(lineage),
                0,
                f"{len(lineage)} of 2**64: the chance of any is below 1e-8",
            )
        )
        checks.append(self._order())
        return checks

    def _known(self) -> list[Check]:
        checks = []
        for k, (counter, key, answer) in enumerate(KNOWN, start=1):
            # The engine spreads individual, day and process over the counter.
            c = counter
            got = (
                draws.blocks(
                    key[0] | key[1] << 32, c[3], np.array([c[0] | c[1] << 32], np.uint64), c[2]
                )[0]
                if c[2] < 2**31 and c[3] < 2**31
                else None
            )
            if got is None:
                got = [int(w) for w in draws.philox(*map(np.uint32, (*counter, *key)))]
            wrong = sum(int(a) != b for a, b in zip(got, answer, strict=True))
            ours = plain.philox(counter, key)
            checks += [
                exact(f"known answer {k}: wrong words of the engine", wrong, 0),
                exact(
                    f"known answer {k}: wrong words of the twin",
                    sum(a != b for a, b in zip(ours, answer, strict=True)),
                    0,
                ),
            ]
        return checks

    def _independent(self, base, ident, n) -> list[Check]:
        others = {
            "lanes 0 and 1": (base[:, 0], base[:, 1]),
            "lanes 2 and 3": (base[:, 2], base[:, 3]),
            "neighbouring individuals": (base[:-1, 0], base[1:, 0]),
            "today and tomorrow": (
                base[:, 0],
                draws.blocks(self.seed, Block.EGG_FATE, ident, 11)[:, 0],
            ),
            "two processes": (
                base[:, 0],
                draws.blocks(self.seed, Block.LARVA_FATE, ident, 10)[:, 0],
            ),
            "neighbouring seeds": (
                base[:, 0],
                draws.blocks(self.seed + 1, Block.EGG_FATE, ident, 10)[:, 0],
            ),
            "seeds 2**32 apart": (
                base[:, 0],
                draws.blocks(self.seed + 2**32, Block.EGG_FATE, ident, 10)[:, 0],
            ),
        }
        checks = []
        for name, (a, b) in others.items():
            r = float(np.corrcoef(a.astype(float), b.astype(float))[0, 1])
            checks.append(z_check(f"correlation, {name}", r, 0.0, 1 / math.sqrt(a.size)))
            cell = (a >> np.uint32(28)) * np.uint32(16) + (b >> np.uint32(28))
            checks.append(
                chi2_check(
                    f"16 by 16 cells, {name}",
                    np.bincount(cell, minlength=256),
                    np.full(256, a.size / 256),
                )
            )
        return checks

    def _laws(self, base, n) -> list[Check]:
        some = min(n, 100_000)
        z = np.array([draws.normals(a, b)[0] for a, b in base[:some, :2]])
        d = float(stats.kstest(z, "norm").statistic)
        limit = float(stats.kstwo.isf(ALPHA, some))
        checks = [
            Check(
                "normal numbers, Kolmogorov-Smirnov",
                d,
                0.0,
                limit,
                f"upper {ALPHA:g} point of the statistic",
                ALPHA,
            )
        ]
        for mean in (0.4, 6.0):
            u = (base[:some, 2].astype(float) + 0.5) / 2**32
            counts = np.bincount([draws.poisson(x, mean) for x in u])
            law = stats.poisson(mean).pmf(np.arange(counts.size))
            law[-1] += 1 - law.sum()
            checks.append(chi2_check(f"Poisson numbers, mean {mean:g}", counts, some * law))
        return checks

    def _order(self) -> Check:
        """Lives do not depend on the order of rows in memory."""
        ends = []
        for flip in (False, True):
            bench = Bench({}, self.seed)
            bench.add_beetles(60, age=20)
            bench.add(300, Stage.LARVA, mass=60_000_000, progress=0.9, tally=11)
            if flip:
                order = np.random.default_rng(self.seed).permutation(bench.insects.n)
                for name in FIELDS:
                    bench.insects.view(name)[:] = bench.insects.view(name)[order]
            for _ in range(25):
                bench.step(27.0)
            rows = [
                tuple(bench.insects.view(name)[k] for name in FIELDS)
                for k in np.argsort(bench.insects.view("ident"))
            ]
            ends.append(rows)
        differ = sum(a != b for a, b in zip(*ends, strict=False)) + abs(len(ends[0]) - len(ends[1]))
        return exact(f"insects that differ when rows are shuffled, of {len(ends[0])}", differ, 0)

    def figure(self, ax) -> None:
        ax.hist(self.counts, bins=30)
        ax.set(
            xlabel="draws per class of 256 (high byte of lane 0)",
            ylabel="classes",
            title="Uniformity",
        )
